"""`python -m patterns` and `evenhold`: the way in, where Ctrl-C is quiet from the first moment."""

from __future__ import annotations

import gc
import os
import sys
from io import TextIOWrapper

STOPPED = 130  # as shells count: 128 and the number of the signal
_DROPPED: list[type[BaseException]] = []


def settle() -> None:
    """Keep numpy's matrix products to one thread: ours are small, and the encoder needs the rest.

    And its arrays to small pages of memory (Linux): large ones are taken whole where a part is
    written to, 20 MB in an orbit. Read when numpy is loaded, so call it before. What the user has
    set stays.
    """
    for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    os.environ.setdefault("NUMPY_MADVISE_HUGEPAGE", "0")


def main() -> int:
    """Run the command line; returns the exit code."""
    settle()
    _print_anything()
    sys.unraisablehook = _note_dropped
    try:
        from patterns.cli import main as run  # inside, so that its import can be interrupted

        if _DROPPED:
            raise KeyboardInterrupt
        code = run()
    except ModuleNotFoundError as error:  # a checkout that was never installed
        if error.name is None or error.name.partition(".")[0] == "patterns":
            raise
        sys.stderr.write(
            f"evenhold: the package {error.name} is missing: run  python -m pip install .  "
            f"in Evenhold's folder\n"
        )
        code = 1
    except KeyboardInterrupt:
        sys.stderr.write("evenhold: stopped\n")
        code = STOPPED
    if code == STOPPED:
        _forget_interrupt()
    gc.freeze()  # or the interpreter looks through all that was loaded before it ends
    return code


def _print_anything() -> None:
    """Print what the code page of a pipe lacks as an escape, instead of failing over it."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _note_dropped(lost: sys.UnraisableHookArgs) -> None:
    """Say nothing of a stop that Python drops, as one that came in a callback of its own.

    Before the command runs it is raised again above, then by `patterns.cli.console.Stopping`.
    """
    if issubclass(lost.exc_type, (KeyboardInterrupt, SystemExit)):
        _DROPPED.append(lost.exc_type)
    else:
        sys.__unraisablehook__(lost)


def _forget_interrupt() -> None:
    """Let the exit code be ours.

    Where Ctrl-C fell into text that Python was executing (a dataclass being defined, say),
    the interpreter remembers it, although it was caught, and ends itself by a signal instead
    of with an exit code. Executing any text makes it forget.
    """
    exec("")


if __name__ == "__main__":
    sys.exit(main())
