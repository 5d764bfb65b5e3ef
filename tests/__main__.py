"""Run all tests: `python -m tests`, in parallel what may be, then what needs the machine alone.

Words that follow go to pytest, for both parts.
"""

from __future__ import annotations

import os
import subprocess
import sys

from tests.conftest import ALONE

NO_TESTS = 5  # pytest's exit code where nothing was to be run


def main() -> int:
    """Run both parts; returns the worse exit code."""
    words = sys.argv[1:]
    # without words the second part looks only into the files that it is about
    files = [] if words else sorted({place.partition("::")[0] for place in ALONE})
    # of those that are alone, the screens of their own and the shared browser wait side by side
    parts = (["-n", "auto", "-m", "not alone"], ["-n", "2", "-m", "alone", *files])
    # a hundred processes start on the way: what one has compiled, no other does again
    environment = os.environ | {"PYTHONDONTWRITEBYTECODE": ""}
    codes = [
        subprocess.run(
            [sys.executable, "-m", "pytest", *part, *words], check=False, env=environment
        ).returncode
        for part in parts
    ]
    return max(code for code in codes if code != NO_TESTS) if set(codes) != {NO_TESTS} else NO_TESTS


if __name__ == "__main__":
    sys.exit(main())
