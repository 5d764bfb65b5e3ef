"""Light of the strip's cells through a homography, and the light curve that is assumed.

Codes are turned to light (a power of 2.2, near what cameras write) before anything is
averaged: blur, leaks between cells and mixtures of frames add up in light, not in codes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np

from patterns.picture.arrays import Float32Array, FloatArray, UInt8Array
from patterns.strip.grid import Rect, grid, hold_cells
from patterns.strip.placement import Placement

__all__ = ["LIGHT", "CellLight", "centres", "gather_light", "sample_cells"]

POINTS = 4  # along each side of a cell
INNER = 0.45  # share of a cell's sides that is looked at: its rim belongs to the blur
LIGHT = np.clip((np.arange(256) - 16) / 219, 0, 1).astype(np.float32) ** np.float32(2.2)


@dataclass(frozen=True)
class CellLight:
    """Light of the cells of one picture (1 = the brightest code) and their picture rows.

    NaN where a cell lies outside of the picture. `hold` is empty when the number of hold
    cells is not known.
    """

    number: FloatArray
    white: FloatArray
    black: FloatArray
    posts: FloatArray
    flags: FloatArray
    dark: FloatArray
    identity: FloatArray
    hold: FloatArray
    number_rows: FloatArray
    hold_rows: FloatArray


def centres(rects: tuple[Rect, ...]) -> FloatArray:
    """Middles of cells, (cells, 2), in fractions of the band."""
    return np.array([((r.left + r.right) / 2, (r.top + r.bottom) / 2) for r in rects])


def gather_light(luma: UInt8Array, at: FloatArray, curve: Float32Array = LIGHT) -> FloatArray:
    """Light at picture coordinates (..., 2), between the pixels; NaN outside.

    `curve` (256,) is the light of each code.
    """
    height, width = luma.shape
    x, y = at[..., 0] - 0.5, at[..., 1] - 0.5
    # a NaN counts as outside
    inside = (x > -0.5) & (y > -0.5) & (x < width - 0.5) & (y < height - 0.5)
    x = np.clip(np.where(inside, x, 0), 0, width - 1.001)
    y = np.clip(np.where(inside, y, 0), 0, height - 1.001)
    column, row = x.astype(np.intp), y.astype(np.intp)
    fx, fy = (x - column).astype(np.float32), (y - row).astype(np.float32)
    flat = luma.reshape(-1)
    index = row * width + column
    upper = curve[flat[index]] * (1 - fx) + curve[flat[index + 1]] * fx
    index += width
    lower = curve[flat[index]] * (1 - fx) + curve[flat[index + 1]] * fx
    found = (upper + (lower - upper) * fy).astype(np.float64)
    found[~inside] = np.nan
    return np.asarray(found)


def _points(rects: tuple[Rect, ...]) -> FloatArray:
    sides = np.array([(r.left, r.top, r.right, r.bottom) for r in rects])
    at = 0.5 + INNER * ((np.arange(POINTS) + 0.5) / POINTS - 0.5)
    x = sides[:, :1] + at * (sides[:, 2:3] - sides[:, :1])
    y = sides[:, 1:2] + at * (sides[:, 3:4] - sides[:, 1:2])
    shape = (len(rects), POINTS, POINTS)
    xs, ys = np.broadcast_to(x[:, None, :], shape), np.broadcast_to(y[:, :, None], shape)
    return np.stack([xs, ys], -1).reshape(len(rects), POINTS * POINTS, 2)


@cache
def _parts(arrangement: str) -> tuple[tuple[Rect, ...], ...]:
    on = grid(arrangement)
    return on.number, on.white, on.black, on.posts, on.flags, on.dark, on.identity


@lru_cache(maxsize=32)
def _all_points(arrangement: str, hold: int) -> tuple[FloatArray, tuple[int, ...]]:
    parts = list(_parts(arrangement))
    if hold:
        parts.append(hold_cells(grid(arrangement), hold))
    sizes = tuple(np.cumsum([len(p) for p in parts])[:-1].tolist())
    return np.concatenate([_points(p) for p in parts]), sizes


def sample_cells(luma: UInt8Array, placement: Placement, hold: int) -> CellLight:
    """Mean light of every cell; `hold` is the number of hold cells, 0 if it is not known."""
    points, sizes = _all_points(placement.arrangement, hold)
    at = placement.to_picture(points)
    means = gather_light(luma, at).mean(axis=1)
    rows = at[..., 1].mean(axis=1)
    parts, part_rows = np.split(means, sizes), np.split(rows, sizes)
    if not hold:
        parts, part_rows = [*parts, np.empty(0)], [*part_rows, np.empty(0)]
    number, white, black, posts, flags, dark, identity, held = parts
    return CellLight(
        number, white, black, posts, flags, dark, identity, held, part_rows[0], part_rows[7]
    )
