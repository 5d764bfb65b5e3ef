"""Whether a picture shows rows of cells as the strip has, where the strip as a whole is not found.

A strip whose ends lie outside of the picture, or are lost in a reflection, cannot be placed. Its
cells still stand in two parallel rows: those of the number, and those of the identity, in fixed
proportion of heights and distance in either arrangement. Where a strip is cut along its length,
by the picture's border or by another picture over it, one row may be left, which is a code's.
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
SAME_WIDTH, LEAST_ALONE = 0.2, 9  # of cells in a row that stands alone
PITCHES = np.linspace(1.05, 1.5, 46)  # of cells, over their width: 1.125 to 1.33 as drawn
OFF_PITCH = 0.25  # of it, by which a step may be off where groups of cells are set apart
LEAST_GAPS, LONGEST_GAP = 3, 8  # places of a row without light
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
    spans = [_spans(blobs, axis) for axis in (0, 1)]
    return any(_rows(*span[:3]) or _cut_row(*span) for span in spans)


def _spans(blobs: Blobs, axis: int) -> tuple[Float32Array, ...]:
    """Places along rows that lie along `axis` and across them, heights across, widths along."""
    across = 1 - axis
    height = np.hypot(blobs.length * blobs.axis[:, across], blobs.width * blobs.axis[:, axis])
    width = np.hypot(blobs.length * blobs.axis[:, axis], blobs.width * blobs.axis[:, across])
    kept = np.flatnonzero(height >= LEAST_PX)
    kept = kept[np.argsort(height[kept], kind="stable")][:MOST_BLOBS]
    spans = (blobs.centre[kept, axis], blobs.centre[kept, across], height[kept], width[kept])
    return tuple(values.astype(np.float32) for values in spans)


def _cut_row(
    along: Float32Array, across: Float32Array, height: Float32Array, width: Float32Array
) -> bool:
    """Whether there is a row of number or identity cells alone, the strip's other half cut off.

    Cells of one size, at one pitch, some places of it empty: as a code has it, and no row of
    windows or letters.
    """
    for at in range(len(along)):
        as_high, as_wide = np.abs(height / height[at] - 1), np.abs(width / width[at] - 1)
        like = (as_high < SAME_HEIGHT) & (as_wide < SAME_WIDTH)
        if like.sum() < LEAST_ALONE:
            continue
        level = across - across[at] - SLOPES[:, None] * (along - along[at])
        off = np.abs(level) / height[at]
        rows = like & (off < ON_LINE)
        best = int(rows.sum(axis=1).argmax())
        # a flag or a figure may stand in line with the row
        far = LONGEST_GAP * PITCHES[-1] * width[at]
        places = np.sort(along[rows[best]])
        longest = max(np.split(places, np.flatnonzero(np.diff(places) > far) + 1), key=len)
        row = rows[best] & (along >= longest[0]) & (along <= longest[-1])
        coded = len(longest) >= LEAST_ALONE and _coded(np.diff(longest) / width[at])
        if coded and _alone(along, height[at], row, off[best] < BESIDE):
            return True
    return False


def _coded(steps: Float32Array) -> bool:
    """Whether steps, over a cell's width, are whole multiples of one pitch, of several lengths."""
    turns = steps / PITCHES[:, None]
    off = np.abs(turns - np.rint(turns)).max(axis=1)
    gaps = np.rint(turns[off.argmin()])
    gaps = gaps[gaps > 1]
    coded = len(gaps) >= LEAST_GAPS and len(np.unique(gaps)) > 1
    return bool(off.min() < OFF_PITCH) and coded and len(turns[0]) - len(gaps) >= LEAST_GAPS


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
