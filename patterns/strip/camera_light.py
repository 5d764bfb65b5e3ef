"""Light of the strip's cells, and their levels between the references near them.

Codes become light (power 2.2, near what cameras write) before they are averaged: blur, leaks
between cells and mixtures of frames add up in light, not in codes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from statistics import median

import numpy as np

from patterns.picture.arrays import FloatArray, UInt8Array
from patterns.strip.camera_decode import Cells
from patterns.strip.grid import StripGrid, grid, hold_cells
from patterns.strip.placement import Placement, References, cell_points

POINTS, INNER = 4, 0.45  # along each side of a cell, over this share of it
SIGNALS = np.clip((np.arange(256) - 16) / 219, 0, 1)  # of narrow-range luma codes
LIGHT = SIGNALS.astype(np.float32) ** np.float32(2.2)


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


def gather_light(luma: UInt8Array, at: FloatArray) -> FloatArray:
    """Light at picture coordinates (..., 2), between the pixels; NaN outside."""
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
    upper = LIGHT[flat[index]] * (1 - fx) + LIGHT[flat[index + 1]] * fx
    index += width
    lower = LIGHT[flat[index]] * (1 - fx) + LIGHT[flat[index + 1]] * fx
    found = (upper + (lower - upper) * fy).astype(np.float64)
    found[~inside] = np.nan
    return np.asarray(found)


@lru_cache(maxsize=32)
def _all_points(arrangement: str, hold: int) -> tuple[FloatArray, tuple[int, ...]]:
    on = grid(arrangement)
    parts = [on.number, on.white, on.black, on.posts, on.flags, on.dark, on.identity]
    parts.append(hold_cells(on, hold) if hold else ())
    sizes = tuple(np.cumsum([len(p) for p in parts])[:-1].tolist())
    return np.concatenate([cell_points(p, POINTS, INNER) for p in parts]), sizes


def sample_cells(luma: UInt8Array, placement: Placement, hold: int) -> CellLight:
    """Mean light of every cell; `hold` is the number of hold cells, 0 if it is not known."""
    points, sizes = _all_points(placement.arrangement, hold)
    at = placement.to_picture(points)
    parts = np.split(gather_light(luma, at).mean(axis=1), sizes)
    rows = np.split(at[..., 1].mean(axis=1), sizes)
    return CellLight(*(*parts, rows[0], rows[-1]))  # in the order of its fields


LEAST_WHITE = 0.012  # light: about 14 % of the full signal
LEAST_CLEAR = 0.3  # share of a mark's light that the dark places beside it stay below
LEAST_STEP = 0.15  # of white, between the darkest white and the lightest black reference
CLIPPED_BLACK = 0.55
CLIPPED_WHITE = 0.97  # of the brightest code: noise keeps the mean of clipped white below 1
BLURRED = "blurred or uneven: black and white cells look alike"
TOO_DARK = "too dark"
NO_STRIP = "no strip"


def check_light(light: CellLight) -> str | None:
    """Why the marks and references are not those of a readable strip; None if they are."""
    if np.isnan(light.white).any() or np.isnan(light.black).any():
        return "the strip is not wholly in view"
    if median(light.black.tolist()) > CLIPPED_BLACK:
        return "clipped: the picture is over-exposed"
    if light.white.min() - light.black.max() < LEAST_WHITE and median(light.white.tolist()) < 0.05:
        return TOO_DARK
    if light.white.min() - light.black.max() < LEAST_STEP * light.white.max():
        return BLURRED
    for side in (0, 1):
        # a post may be cut off by the picture's border; it was seen when the strip was found
        lit = np.nanmin([light.posts[side], light.flags[side]])
        dark = light.dark[4 * side : 4 * side + 4].max()
        if not lit - dark >= LEAST_CLEAR * lit:
            return NO_STRIP
    return None


def levels(on: StripGrid, light: CellLight) -> tuple[Cells, FloatArray]:
    """Levels of number and hold cells, and of the identity cells, (64,)."""
    between = References(on, light.white, light.black)
    hold = light.hold
    if len(hold):
        hold = between.levels(hold, hold_cells(on, len(hold)))
    number = between.levels(light.number, on.number)
    cells = Cells(number, light.number_rows, hold, light.hold_rows)
    return cells, between.levels(light.identity, on.identity)
