"""What Ctrl-C and a request to end do: an exception that unwinds all, and a note that it came.

Python drops an exception that falls into the few lines of a callback of its own (one runs
for every module that is loaded). The command would then go on as if nothing had been said;
so long work asks after each piece whether something had.
"""

from __future__ import annotations

import signal
from types import FrameType

__all__ = ["Stopping"]


class Stopping:
    """Handler of SIGINT and SIGTERM."""

    def __init__(self) -> None:
        self._number = 0

    @classmethod
    def install(cls) -> None:
        """Take over both signals; call it in the main thread."""
        handler = cls()
        signal.signal(signal.SIGINT, handler)
        signal.signal(signal.SIGTERM, handler)

    @staticmethod
    def check() -> None:
        """Raise again what was asked for and dropped."""
        handler = signal.getsignal(signal.SIGTERM)
        if isinstance(handler, Stopping):
            handler._raise()

    def __call__(self, number: int, frame: FrameType | None) -> None:  # noqa: ARG002 - as signal calls it
        """Note the signal and unwind through every `with` and `finally`."""
        self._number = number
        self._raise()

    def _raise(self) -> None:
        if self._number == signal.SIGINT:
            raise KeyboardInterrupt
        if self._number:
            raise SystemExit(128 + self._number)
