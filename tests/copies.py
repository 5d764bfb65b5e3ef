"""Renderers with a copy of the process that helps them, and renderers that are interrupted."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Sequence

import numpy as np
import pytest

from patterns.rendering.orbit import OrbitRenderer
from patterns.rendering.planes import Planes
from patterns.rendering.terrain import TerrainRenderer

__all__ = ["COPIES", "check_help_changes_nothing", "interrupt_keeping", "same"]

COPIES = sys.platform == "linux" and len(os.sched_getaffinity(0)) > 1
Renderer = OrbitRenderer | TerrainRenderer


def same(one: Planes, other: Planes) -> bool:
    """Whether two pictures have the same bytes."""
    pairs = ((one.y, other.y), (one.cb, other.cb), (one.cr, other.cr))
    return all(np.array_equal(a, b) for a, b in pairs)


def check_help_changes_nothing(
    alone: Renderer,
    helped: Renderer,
    size: tuple[int, int],
    counts: Sequence[int],
    ended: int | None,
) -> None:
    """Draw batches of a whole clip without a copy and with one, which ends before a frame."""
    helped.paint_ahead()
    assert helped._shared.ahead.live == COPIES
    n = 0
    for count in counts:
        pair = [[Planes.blank(*size) for _ in range(count)] for _ in range(2)]
        alone.draw_together(n, pair[0])
        helped.draw_together(n, pair[1])
        for one, other in zip(*pair, strict=True):
            assert same(one, other), n
        n += count
        if n == ended and COPIES:
            os.kill(helped._shared.ahead.pid, signal.SIGKILL)
    if ended is None and COPIES:
        assert helped._shared.ahead.live  # all that it made was asked for, in its order
    helped.close()


def interrupt_keeping(monkeypatch: pytest.MonkeyPatch, keeper: object) -> list[int]:
    """Have `keeper.keep` raise Ctrl-C once the number in the list is counted down to 0."""
    keep, until = keeper.keep, [0]  # type: ignore[attr-defined]

    def interrupted(*arguments: object) -> None:
        until[0] -= 1
        if until[0] == 0:
            raise KeyboardInterrupt
        keep(*arguments)

    monkeypatch.setattr(keeper, "keep", interrupted)
    return until
