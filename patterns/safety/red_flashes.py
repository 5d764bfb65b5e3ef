"""Red flashes: changes to and from saturated red.

Current rule (WCAG 2.2, from ISO 9241-391): one of the two states has R/(R+G+B) >= 0.8 in
linear light and the states differ by more than 0.2 in CIE 1976 u'v'. The older text of
the same guideline, given as an extra: that ratio, and a change of more than 20 in
(R - G - B) x 320 with negative values set to zero.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from patterns.safety.luminance import FloatGrid
from patterns.safety.regions import Mask

__all__ = ["DARK_SUM", "OlderRedSwings", "RedSwings", "chromaticity", "red_ratio"]

SATURATED = 0.8
CHROMATICITY_STEP = 0.2
OLDER_STEP = 20.0
OLDER_SCALE = 320.0

# R+G+B below this (of 3) is black and has no colour of its own: it counts as white does.
# 0.2 cd/m2 of red on a 200 cd/m2 screen; our choice, no source.
DARK_SUM = 0.005

# XYZ of linear R, G, B as WCAG 2.2 prints them.
TO_XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
U_TOP = (4 * TO_XYZ[0]).astype(np.float32)
V_TOP = (9 * TO_XYZ[1]).astype(np.float32)
UV_BOTTOM = (TO_XYZ[0] + 15 * TO_XYZ[1] + 3 * TO_XYZ[2]).astype(np.float32)
WHITE = np.array([U_TOP.sum() / UV_BOTTOM.sum(), V_TOP.sum() / UV_BOTTOM.sum()], np.float32)


def red_ratio(rgb: npt.ArrayLike) -> FloatGrid:
    """R / (R + G + B) of linear light, shape (..., 3) to (...); 0 where there is next to none."""
    light = np.asarray(rgb, np.float32)
    total = light.sum(axis=-1)
    ratio = light[..., 0] / np.maximum(total, DARK_SUM)
    return np.where(total < DARK_SUM, np.float32(0), ratio)


def chromaticity(rgb: npt.ArrayLike) -> FloatGrid:
    """CIE 1976 u', v' of linear light, shape (..., 3) to (..., 2); that of white for black."""
    light = np.asarray(rgb, np.float32)
    bottom = light @ UV_BOTTOM
    safe = np.maximum(bottom, np.float32(1e-6))
    uv = np.stack([(light @ U_TOP) / safe, (light @ V_TOP) / safe], axis=-1)
    dark = light.sum(axis=-1) < DARK_SUM
    return np.asarray(np.where(dark[..., np.newaxis], WHITE, uv), np.float32)


class RedSwings:
    """Changes to and from saturated red at every place, by the current rule.

    Away from red the least red colour since the last change is remembered, in red the
    reddest, so that a slow change adds up over its frames.
    """

    def __init__(self, shape: tuple[int, int]) -> None:
        self._in_red = np.zeros(shape, np.bool_)
        self._extreme_ratio = np.full(shape, np.inf, np.float32)
        self._extreme_uv = np.broadcast_to(WHITE, (*shape, 2)).copy()
        self._started = False

    def see(self, rgb: FloatGrid | None) -> tuple[Mask, Mask]:
        """Take linear light (rows, columns, 3), None for grey; returns to-red and from-red."""
        shape = self._in_red.shape
        ratio = np.full(shape, 1 / 3, np.float32) if rgb is None else red_ratio(rgb)
        uv = np.broadcast_to(WHITE, (*shape, 2)) if rgb is None else chromaticity(rgb)
        saturated = ratio >= SATURATED
        if not self._started:
            self._started = True
            self._in_red = saturated.copy()
            self._remember(ratio, uv, np.ones(shape, np.bool_))
        further = np.where(self._in_red, ratio > self._extreme_ratio, ratio < self._extreme_ratio)
        self._remember(ratio, uv, further)
        moved = np.hypot(*np.moveaxis(uv - self._extreme_uv, -1, 0)) > CHROMATICITY_STEP
        to_red = ~self._in_red & saturated & moved
        from_red = self._in_red & ~saturated & moved
        changed = to_red | from_red
        if changed.any():
            self._in_red ^= changed
            self._remember(ratio, uv, changed)
        return to_red, from_red

    def _remember(self, ratio: FloatGrid, uv: FloatGrid, where: Mask) -> None:
        np.copyto(self._extreme_ratio, ratio, where=where)
        np.copyto(self._extreme_uv, uv, where=where[..., np.newaxis])


class OlderRedSwings:
    """Changes to and from saturated red at every place, by the older text."""

    def __init__(self, shape: tuple[int, int]) -> None:
        self._shape = shape
        self._low: FloatGrid | None = None
        self._high: FloatGrid
        self._high_saturated: Mask
        self._direction = np.zeros(shape, np.int8)

    def see(self, rgb: FloatGrid | None) -> tuple[Mask, Mask]:
        """Take linear light (rows, columns, 3), None for grey; returns to-red and from-red."""
        if rgb is None:
            value, saturated = np.zeros(self._shape, np.float32), np.zeros(self._shape, np.bool_)
        else:
            excess = rgb[..., 0] - rgb[..., 1] - rgb[..., 2]
            value = np.asarray(np.maximum(excess, 0) * np.float32(OLDER_SCALE), np.float32)
            saturated = np.asarray(red_ratio(rgb) >= SATURATED, np.bool_)
        if self._low is None:
            self._low, self._high = value.copy(), value.copy()
            self._high_saturated = saturated.copy()
        np.minimum(self._low, value, out=self._low)
        higher = value >= self._high
        up = (value - self._low > OLDER_STEP) & saturated & (self._direction <= 0)
        np.copyto(self._high, value, where=higher | up)
        np.copyto(self._high_saturated, saturated, where=higher | up)
        down = (self._high - value > OLDER_STEP) & self._high_saturated & (self._direction >= 0)
        down &= ~up
        self._direction[up], self._direction[down] = 1, -1
        np.copyto(self._low, value, where=down)
        return up, down
