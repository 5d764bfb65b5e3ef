"""`python -m patterns` and `evenhold`: the way in, where Ctrl-C is quiet from the first moment."""

from __future__ import annotations

import sys

__all__ = ["main"]


def main() -> int:
    """Run the command line; returns the exit code."""
    try:
        from patterns.cli import main as run  # inside, so that its import can be interrupted

        return run()
    except KeyboardInterrupt:
        sys.stderr.write("evenhold: stopped\n")
        return 130


if __name__ == "__main__":
    sys.exit(main())
