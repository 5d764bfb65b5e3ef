"""Frames that follow each other, drawn some at a time.

They read nearly the same memory, and waiting for that is half of the work of reading texels.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence

from patterns.picture.planes import Planes

TOGETHER = 6  # frames drawn at once, if they come in order; as many may wait for the encoder


class TogetherRenderer(ABC):
    """Renderer that draws several frames at once, as soon as they are asked for in order.

    `frames`: how many are likely to be asked for, from 0; beyond them none is drawn ahead.
    """

    def __init__(self, frames: int) -> None:
        self._frames, self._last = frames, -2
        self._kept: list[Planes] = []  # what was drawn
        self._drawn = range(0)  # of which frames

    def draw(self, n: int, picture: Planes) -> None:
        """Write frame `n` (any integer from 0) into `picture`."""
        if n not in self._drawn:
            in_order = 0 < n == self._last + 1
            end = min(n + TOGETHER, self._frames) if in_order else 0
            self._draw_ahead(range(n, max(n + 1, end)), picture)
        drawn = self._kept[n - self._drawn.start]
        picture.fill(drawn.y, drawn.cb, drawn.cr)
        self._last = n

    def _draw_ahead(self, wanted: range, like: Planes) -> None:
        self._drawn = range(0)  # should this be interrupted
        while len(self._kept) < len(wanted):
            self._kept.append(Planes.blank(like.width, like.height))
        count = self._draw_some(wanted, self._kept[: len(wanted)])
        self._drawn = wanted[:count]

    @abstractmethod
    def _draw_some(self, numbers: range, pictures: Sequence[Planes]) -> int:
        """Draw the first of these frames, as many as can be drawn at once; returns how many."""
