"""Bright blobs of a picture and their moments: connected pixels gathered from row runs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from patterns.picture.arrays import BoolArray, FloatArray, IndexArray, UInt8Array

__all__ = ["Blobs", "find_blobs", "lit_pixels"]

BLOCK_PX = 12
REACH_BLOCKS = 2  # light and dark are compared over so many blocks to every side
LEAST_RANGE = 14  # codes between the lightest and darkest: flatter places hold nothing
MOST_RUNS = 200_000


@dataclass(frozen=True)
class Blobs:
    """Bright regions as rectangles of equal moments.

    Attributes
    ----------
    centre
        (n, 2): column and row, pixel (i, j) covering i to i + 1 and j to j + 1.
    length, width
        (n,): sides of the rectangle with the same second moments, in pixels.
    axis
        (n, 2): unit vector along the long side.
    area
        (n,): pixels.
    """

    centre: FloatArray
    length: FloatArray
    width: FloatArray
    axis: FloatArray
    area: FloatArray


def _spread(blocks: UInt8Array, lightest: bool) -> UInt8Array:
    """Lightest or darkest of each block and its neighbours."""
    best = np.maximum if lightest else np.minimum
    padded = np.pad(blocks, REACH_BLOCKS, mode="edge")
    side = 2 * REACH_BLOCKS + 1
    rows = padded[: blocks.shape[0]].copy()
    for i in range(1, side):
        best(rows, padded[i : i + blocks.shape[0]], out=rows)
    found = rows[:, : blocks.shape[1]].copy()
    for i in range(1, side):
        best(found, rows[:, i : i + blocks.shape[1]], out=found)
    return found


def lit_pixels(luma: UInt8Array, share: float) -> BoolArray:
    """Pixels above `share` of the range of codes of their surroundings, (height, width)."""
    height, width = luma.shape
    down, across = -(-height // BLOCK_PX), -(-width // BLOCK_PX)
    padded = np.pad(luma, ((0, down * BLOCK_PX - height), (0, across * BLOCK_PX - width)), "edge")
    blocks = padded.reshape(down, BLOCK_PX, across, BLOCK_PX)
    high = _spread(blocks.max(axis=(1, 3)), True).astype(np.float32)
    low = _spread(blocks.min(axis=(1, 3)), False).astype(np.float32)
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
