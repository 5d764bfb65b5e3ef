"""How much each picture of a sequence differs from the one before, and from its neighbours.

Four measures, the last made of the pictures' detail (what is left when a blurred copy is
taken away), so that slow changes of light do not count:

- `step`: RMS difference to the picture before, in codes; of a coarse copy of the picture,
  in which grain averages out and motion is small, so that the difference grows with it.
- `fine`: the same of the picture itself, for the noise floor.
- `floor`: the same as `step` in the quietest places of the picture: what grain alone gives.
- `own`: share of the picture's detail that its two neighbours do not have between them,
  from a least-squares fit of both. A mixture of the two has next to none of its own.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

import numpy as np

from patterns.picture.arrays import Float32Array, UInt8Array

__all__ = ["COARSE", "Changes", "PictureChange", "working_copy"]

WORKING_WIDTH = 400  # pixels across, to about which larger pictures are averaged down
COARSE = 4  # pixels of the working picture to a side of a pixel of the coarse copy
QUIET_PERCENT = 4  # of the places are taken to be still
LAG = 8  # pictures apart, for the slowest motion that is told from stillness


def working_copy(luma: UInt8Array) -> UInt8Array:
    """Picture at which footage is looked at: means of blocks, about 400 pixels along."""
    side = max(1, round(max(luma.shape) / WORKING_WIDTH))
    if side == 1:
        return luma
    rows, columns = luma.shape[0] // side, luma.shape[1] // side
    total = np.zeros((rows, columns), np.uint16)
    for y in range(side):
        for x in range(side):
            total += luma[y : rows * side : side, x : columns * side : side]
    return np.asarray(total // (side * side), np.uint8)


@dataclass
class Changes:
    """Measures of all pictures; the first has no step, the first and last no `own`."""

    step: list[float] = field(default_factory=list)
    floor: list[float] = field(default_factory=list)
    fine: list[float] = field(default_factory=list)
    own: list[float] = field(default_factory=list)
    detail: list[float] = field(default_factory=list)
    far: list[float] = field(default_factory=list)


def _coarse(picture: Float32Array) -> Float32Array:
    rows, columns = picture.shape[0] // COARSE, picture.shape[1] // COARSE
    cut = picture[: rows * COARSE, : columns * COARSE]
    return np.asarray(cut.reshape(rows, COARSE, columns, COARSE).mean((1, 3)), np.float32)


def _detail(luma: UInt8Array) -> Float32Array:
    """Picture less its own mean over 5 x 5 pixels, the edge left out."""
    down = luma.cumsum(0, np.int32)
    down = np.concatenate([down[4:5], down[5:] - down[:-5]])
    across = down.cumsum(1, dtype=np.int32)
    total = np.concatenate([across[:, 4:5], across[:, 5:] - across[:, :-5]], axis=1)
    return np.asarray(luma[2:-2, 2:-2] - total * np.float32(1 / 25), np.float32)


def _product(a: Float32Array, b: Float32Array) -> float:
    # no matrix product: for arrays this small it would start threads that only wait
    return float(np.multiply(a, b).sum(dtype=np.float64))


def _rms(difference: Float32Array) -> float:
    return float(np.sqrt(_product(difference, difference) / difference.size))


def _quietest(difference: Float32Array) -> float:
    """RMS of a difference in the quietest places, of about 16 by 9."""
    rows, columns = (
        max(1, side // parts) for side, parts in zip(difference.shape, (9, 16), strict=True)
    )
    down, across = difference.shape[0] // rows, difference.shape[1] // columns
    cut = difference[: down * rows, : across * columns].astype(np.float64) ** 2
    blocks = np.sqrt(cut.reshape(down, rows, across, columns).mean((1, 3)))
    return float(np.percentile(blocks, QUIET_PERCENT))


def _own_share(before: Float32Array, own: Float32Array, after: Float32Array) -> float:
    """Share of `own`'s energy that no mixture of its neighbours explains."""
    energy = _product(own, own)
    if energy == 0:
        return 1.0
    aa, ab, bb = _product(before, before), _product(before, after), _product(after, after)
    slack = 1e-6 * max(aa, bb, 1e-9)
    gram = np.array([[aa + slack, ab], [ab, bb + slack]])
    right = np.array([_product(before, own), _product(after, own)])
    explained = float((right * np.linalg.solve(gram, right)).sum())
    return max(0.0, 1 - explained / energy)


class PictureChange:
    """Takes pictures in their order; keeps the last few only, and a few numbers of each."""

    def __init__(self) -> None:
        self.changes = Changes()
        self._near: deque[tuple[Float32Array, Float32Array]] = deque(maxlen=3)
        self._far: deque[Float32Array] = deque(maxlen=LAG + 1)

    def take(self, luma: UInt8Array) -> None:
        """Add the next picture, uint8 (height, width), a `working_copy`."""
        fine = luma.astype(np.float32)
        coarse = _coarse(fine)
        found = self.changes
        if self._near:
            difference = coarse - self._far[-1]
            found.step.append(_rms(difference))
            found.floor.append(_quietest(difference))
            found.fine.append(_rms(fine[2:-2, 2:-2] - self._near[-1][0][2:-2, 2:-2]))
        else:
            found.step.append(float("nan"))
            found.floor.append(float("nan"))
            found.fine.append(float("nan"))
        detail = _detail(luma)
        found.detail.append(_rms(detail))
        self._near.append((fine, detail))
        self._far.append(coarse)
        found.far.append(_rms(coarse - self._far[0]) if len(self._far) > LAG else float("nan"))
        found.own.append(float("nan"))
        if len(self._near) == 3:
            found.own[-2] = _own_share(*(detail for _, detail in self._near))
