"""Pipes to other processes: wider than usual, and written to the last byte."""

from __future__ import annotations

import contextlib
import sys
from typing import IO

__all__ = ["push", "widen"]

PIPE_BYTES = 1 << 20  # fewer switches between the two processes than with the usual 64 KiB


def widen(pipe: IO[bytes]) -> None:
    """Let a pipe hold more, where the system allows."""
    if sys.platform == "linux":
        import fcntl

        # F_SETPIPE_SZ; refused where the user's quota of pipe memory is used up
        with contextlib.suppress(OSError):
            fcntl.fcntl(pipe.fileno(), 1031, PIPE_BYTES)


def push(pipe: IO[bytes], rest: memoryview) -> None:
    """Write all to an unbuffered pipe, which may take it in parts.

    Raises
    ------
    OSError
        The other end has gone (EPIPE; EINVAL on Windows).
    """
    while rest:
        rest = rest[pipe.write(rest) :]
