"""Whether a picture shows rows of cells as the strip has, where the strip as a whole is not found.

A strip whose ends lie outside of the picture, or are lost in a reflection, cannot be placed. Its
cells still stand in two parallel rows: those of the number, and those of the identity, in fixed
proportion of heights and distance in either arrangement.
"""

from __future__ import annotations

import numpy as np

from patterns.picture.arrays import BoolArray, Float32Array, UInt8Array
from patterns.strip.camera_blobs import Blobs, find_blobs, lit_pixels

__all__ = ["shows_cell_rows"]

LOOKED_AT_PX = 1100  # pictures are thinned to about this on their longer side
LIT = 0.58  # of the range of codes around
LEAST_AREA, LEAST_PX, MOST_BLOBS = 6, 4.0, 250
SLOPES = np.linspace(-0.15, 0.15, 31, dtype=np.float32)  # of the rows, tried
LOWER = 3.5 / 5.5  # height of identity cells over that of number cells
MIDDLE_APART, APART_WITHIN = 2.135, 0.33  # of the rows, in the same: 11.5 or 12 to 5.5 units
SAME_HEIGHT, ON_LINE = 0.14, 0.2
BESIDE, ALONE = 0.5, 0.75  # what lies so near is mostly cells
LEAST_CELLS, LEAST_IDENTITY = 5, 6  # in a row
LEAST_LENGTH = 8.0  # of both rows, over the height of number cells


def shows_cell_rows(luma: UInt8Array) -> bool:
    """Whether rows of number and of identity cells are seen, lying or standing.

    Parameters
    ----------
    luma
        uint8 (height, width).
    """
    thin = max(1, round(max(luma.shape) / LOOKED_AT_PX))
    blobs = find_blobs(lit_pixels(np.ascontiguousarray(luma[::thin, ::thin]), LIT), LEAST_AREA)
    return any(_rows(*_spans(blobs, axis)) for axis in (0, 1))


def _spans(blobs: Blobs, axis: int) -> tuple[Float32Array, ...]:
    """Places along rows that lie along `axis`, places across them, and heights across them."""
    across = 1 - axis
    height = np.hypot(blobs.length * blobs.axis[:, across], blobs.width * blobs.axis[:, axis])
    kept = np.flatnonzero(height >= LEAST_PX)
    kept = kept[np.argsort(height[kept], kind="stable")][:MOST_BLOBS]
    spans = (blobs.centre[kept, axis], blobs.centre[kept, across], height[kept])
    return tuple(values.astype(np.float32) for values in spans)


def _rows(along: Float32Array, across: Float32Array, height: Float32Array) -> bool:
    if len(along) < LEAST_CELLS + LEAST_IDENTITY:
        return False
    relative = height[None] / height[:, None]
    as_high = np.abs(relative - 1) < SAME_HEIGHT
    lower = np.abs(relative - LOWER) < SAME_HEIGHT
    likely = (as_high.sum(axis=1) >= LEAST_CELLS) & (lower.sum(axis=1) >= LEAST_IDENTITY)
    as_high, lower, own = as_high[likely], lower[likely], height[likely]
    for slope in SLOPES:
        level = across - slope * along
        off = (level[None] - level[likely, None]) / own[:, None]
        number = as_high & (np.abs(off) < ON_LINE)
        far = np.abs(np.abs(off) - MIDDLE_APART)
        identity = lower & (far < APART_WITHIN)
        enough = (number.sum(axis=1) >= LEAST_CELLS) & (identity.sum(axis=1) >= LEAST_IDENTITY)
        for at in np.flatnonzero(enough):
            rows = ((number[at], np.abs(off[at]) < BESIDE), (identity[at], far[at] < BESIDE))
            if all(_alone(along, own[at], *row) for row in rows):
                return True
    return False


def _alone(along: Float32Array, height: float, cells: BoolArray, near: BoolArray) -> bool:
    """Whether cells make a long row, with hardly anything of another height between them."""
    first, last = along[cells].min(), along[cells].max()
    between = near & (along >= first) & (along <= last)
    return bool(last - first > LEAST_LENGTH * height and cells.sum() >= ALONE * between.sum())
