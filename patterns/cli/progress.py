"""A progress bar on a terminal, silence in a pipe."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

__all__ = ["progress"]


@contextmanager
def progress(label: str, *, quiet: bool = False) -> Iterator[Callable[[int, int], None] | None]:
    """Give a function (done, total) that draws a bar on stderr; None where none is wanted."""
    if quiet or not sys.stderr.isatty():
        yield None
        return
    with click.progressbar(length=1, label=label, file=sys.stderr, show_eta=True) as bar:

        def show(done: int, total: int) -> None:
            bar.length = total
            bar.update(done - bar.pos)

        yield show
