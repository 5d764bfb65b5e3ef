"""Run all tests: `python -m tests`, in parallel what may be, then what needs the machine alone.

Words that follow go to pytest, for both parts.
"""

from __future__ import annotations

import subprocess
import sys

NO_TESTS = 5  # pytest's exit code where nothing was to be run


def main() -> int:
    """Run both parts; returns the worse exit code."""
    words = sys.argv[1:]
    parts = (["-n", "auto", "--dist", "loadgroup", "-m", "not alone"], ["-m", "alone"])
    codes = [
        subprocess.run([sys.executable, "-m", "pytest", *part, *words], check=False).returncode
        for part in parts
    ]
    return max(code for code in codes if code != NO_TESTS) if set(codes) != {NO_TESTS} else NO_TESTS


if __name__ == "__main__":
    sys.exit(main())
