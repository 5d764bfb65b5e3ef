"""Bright blobs of a picture, and whether they stand in rows as the strip's cells do.

Where the strip's ends are out of the picture, or lost in a reflection, its cells still stand in two
parallel rows, number and identity, in fixed proportion; cut along its length, one may be left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from patterns.picture.arrays import BoolArray, Float32Array, FloatArray, IndexArray, UInt8Array

LOOKED_AT_PX = 1100  # pictures are thinned to about this on their longer side
BLOCK_PX = 12
REACH_BLOCKS = 2  # light and dark are compared over so many blocks to every side
LEAST_RANGE = 14  # codes between the lightest and darkest: flatter places hold nothing
MOST_RUNS = 200_000


@dataclass(frozen=True)
class Blobs:
    """Bright regions as rectangles of equal moments."""

    centre: FloatArray  # (n, 2): column and row, pixel (i, j) covering i to i + 1 and j to j + 1
    length: FloatArray  # (n,): longer side of the rectangle of equal second moments, pixels
    width: FloatArray  # (n,): the other side
    axis: FloatArray  # (n, 2): unit vector along the long side
    area: FloatArray  # (n,): pixels


def thinned(luma: UInt8Array) -> tuple[UInt8Array, int]:
    """Every n-th pixel of every n-th row, and n."""
    step = max(1, round(max(luma.shape) / LOOKED_AT_PX))
    return np.ascontiguousarray(luma[::step, ::step]), step


def _around(blocks: UInt8Array) -> UInt8Array:
    """Each block with its neighbours, (down, across, side, side)."""
    side = 2 * REACH_BLOCKS + 1
    padded = np.pad(blocks, REACH_BLOCKS, mode="edge")
    return np.lib.stride_tricks.sliding_window_view(padded, (side, side))


def lit_pixels(luma: UInt8Array, share: float) -> BoolArray:
    """Pixels above `share` of the range of codes of their surroundings, (height, width)."""
    height, width = luma.shape
    down, across = -(-height // BLOCK_PX), -(-width // BLOCK_PX)
    padded = np.pad(luma, ((0, down * BLOCK_PX - height), (0, across * BLOCK_PX - width)), "edge")
    blocks = padded.reshape(down, BLOCK_PX, across, BLOCK_PX)
    high = _around(blocks.max(axis=(1, 3))).max(axis=(2, 3)).astype(np.float32)
    low = _around(blocks.min(axis=(1, 3))).min(axis=(2, 3)).astype(np.float32)
    level = np.where(high - low > LEAST_RANGE, low + share * (high - low), 255)
    lit = blocks > level[:, None, :, None]
    return np.asarray(lit.reshape(padded.shape)[:height, :width])


def _runs(lit: BoolArray) -> tuple[IndexArray, IndexArray, IndexArray]:
    """Row, first column and column after the last of each run of lit pixels, in order."""
    padded = np.zeros((lit.shape[0], lit.shape[1] + 2), np.int8)
    padded[:, 1:-1] = lit
    step = np.diff(padded, axis=1)
    row, start = np.nonzero(step == 1)
    end = np.nonzero(step == -1)[1]
    return row, start, end


def _labels(row: IndexArray, start: IndexArray, end: IndexArray, width: int) -> IndexArray:
    """Number of the blob to which each run belongs."""
    stride = width + 2
    first = np.searchsorted(row * stride + end, (row + 1) * stride + start, side="right")
    last = np.searchsorted(row * stride + start, (row + 1) * stride + end, side="left")
    count = np.maximum(last - first, 0)
    upper = np.repeat(np.arange(len(row)), count)
    offset = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    lower = first[upper] + offset
    parent = np.arange(len(row))
    while True:
        a, b = parent[upper], parent[lower]
        if (a == b).all():
            break
        np.minimum.at(parent, np.maximum(a, b), np.minimum(a, b))
        while not (parent == parent[parent]).all():
            parent = parent[parent]
    return np.asarray(np.unique(parent, return_inverse=True)[1], np.intp)


def find_blobs(lit: BoolArray, least_area: int) -> Blobs:
    """Gather lit pixels that touch along their sides into blobs of `least_area` or more."""
    row, start, end = _runs(lit)
    if not 0 < len(row) <= MOST_RUNS:
        empty = np.empty((0, 2))
        return Blobs(empty, np.empty(0), np.empty(0), empty, np.empty(0))
    label = _labels(row, start, end, lit.shape[1])

    def total(of_run: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(label, of_run), np.float64)

    n = (end - start).astype(float)
    x, y = (start + end) / 2, row + 0.5
    area = total(n)
    cx, cy = total(n * x) / area, total(n * y) / area
    xx = total(n * (x * x + n * n / 12)) / area - cx**2
    yy = total(n * (y * y + 1 / 12)) / area - cy**2
    xy = total(n * x * y) / area - cx * cy
    keep = area >= least_area
    cx, cy, xx, yy, xy, area = (v[keep] for v in (cx, cy, xx, yy, xy, area))
    middle, half = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    angle = 0.5 * np.arctan2(2 * xy, xx - yy)
    return Blobs(
        np.stack([cx, cy], 1),
        np.sqrt(12 * (middle + half)),
        np.sqrt(12 * np.maximum(middle - half, 1e-6)),
        np.stack([np.cos(angle), np.sin(angle)], 1),
        area,
    )


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

    `luma`: uint8 (height, width).
    """
    blobs = find_blobs(lit_pixels(thinned(luma)[0], LIT), LEAST_AREA)
    spans = [_spans(blobs, axis) for axis in (0, 1)]
    return any(_rows(*span[:3]) or _cut_row(*span) for span in spans)


def _spans(blobs: Blobs, axis: int) -> tuple[Float32Array, ...]:
    """Places along rows that lie along `axis` and across them, heights across, widths along."""
    across = 1 - axis
    height = np.hypot(blobs.length * blobs.axis[:, across], blobs.width * blobs.axis[:, axis])
    width = np.hypot(blobs.length * blobs.axis[:, axis], blobs.width * blobs.axis[:, across])
    kept = np.flatnonzero(height >= LEAST_PX)
    # noise and leaves are ragged, cells fill their rectangles
    filled = blobs.area[kept] / (blobs.length[kept] * blobs.width[kept])
    kept = kept[np.argsort(-filled, kind="stable")][:MOST_BLOBS]
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
