"""A progress bar on a terminal, silence in a pipe; and where long work can be stopped."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

from patterns.cli.stopping import Stopping

__all__ = ["progress"]


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
