"""Renderers that Ctrl-C stops in the middle of their work."""

from __future__ import annotations

import numpy as np
import pytest

from patterns.picture.planes import Planes

__all__ = ["interrupt", "same"]


def same(one: Planes, other: Planes) -> bool:
    """Whether two pictures have the same bytes."""
    pairs = ((one.y, other.y), (one.cb, other.cb), (one.cr, other.cr))
    return all(np.array_equal(a, b) for a, b in pairs)


def interrupt(
    monkeypatch: pytest.MonkeyPatch, worker: object, method: str, *, after: bool = False
) -> list[int]:
    """Have a method raise Ctrl-C in place of its work, or after it.

    It comes once the number in the list that is returned is down to 0.
    """
    usual, until = getattr(worker, method), [0]

    def interrupted(*arguments: object) -> None:
        until[0] -= 1
        if until[0] or after:
            usual(*arguments)
        if until[0] == 0:
            raise KeyboardInterrupt

    monkeypatch.setattr(worker, method, interrupted)
    return until
