"""A progress bar on a terminal, silence in a pipe; and how long work is stopped.

Ctrl-C and a request to end raise an exception that unwinds all, and leave a note that they
came. Python drops an exception that falls into the few lines of a callback of its own (one
runs for every module that is loaded). The command would then go on as if nothing had been
said; so long work asks after each piece whether something had.
"""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

import click

_INTERRUPTS = [signal.SIGINT]
if sys.platform == "win32":
    _INTERRUPTS.append(signal.SIGBREAK)  # Ctrl-Break, and a console window that is closed


class Stopping:
    """Handler of Ctrl-C, Ctrl-Break and SIGTERM."""

    def __init__(self) -> None:
        self._number = 0

    @classmethod
    def install(cls) -> None:
        """Take over these signals; call it in the main thread."""
        handler = cls()
        for number in (*_INTERRUPTS, signal.SIGTERM):
            signal.signal(number, handler)

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
        if self._number in _INTERRUPTS:
            raise KeyboardInterrupt
        if self._number:
            raise SystemExit(128 + self._number)


@contextmanager
def progress(label: str, *, quiet: bool = False) -> Iterator[Callable[[int, int], None]]:
    """Give a function (done, total) that draws a bar on stderr where that is wanted.

    It also raises what Ctrl-C raises, if that was asked for and did not come through.
    """
    if quiet or sys.stderr is None or not sys.stderr.isatty():
        yield lambda done, total: Stopping.check()  # noqa: ARG005
        return
    with click.progressbar(length=1, label=label, file=sys.stderr, show_eta=True) as bar:

        def show(done: int, total: int) -> None:
            Stopping.check()
            bar.length = total
            bar.update(done - bar.pos)

        yield show
