"""Pixels of a photo around cells of the strip, and how much of a cell each of them sees.

An edge is taken as a step blurred by a Gaussian; how wide, the posts at the ends show.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import erf, sqrt

import numpy as np

from patterns.picture.arrays import FloatArray, UInt8Array
from patterns.strip.grid import Rect
from patterns.strip.placement import Placement

__all__ = ["Window", "blur_px", "corners", "coverage", "look"]

BLURS_PX = (0.5, 0.65, 0.8, 0.95, 1.1, 1.3, 1.6, 2.0, 2.5)
REACH = np.linspace(-6, 6, 2401)
STEP = np.array([(1 + erf(x / sqrt(2))) / 2 for x in REACH])


@dataclass(frozen=True)
class Window:
    """Pixels of an upright piece of a picture, all arrays of one shape (rows, columns).

    Attributes
    ----------
    codes
        Luma codes.
    x, y
        Middles of the pixels in the picture.
    u, v
        The same in fractions of the band.
    per_px
        How much u and v change over a pixel, each across its own lines.
    """

    codes: UInt8Array
    x: FloatArray
    y: FloatArray
    u: FloatArray
    v: FloatArray
    per_px: tuple[FloatArray, FloatArray]

    def depth_px(self, rect: Rect) -> FloatArray:
        """How deep each pixel lies inside of a cell, pixels; negative outside."""
        across = np.minimum(self.u - rect.left, rect.right - self.u) / self.per_px[0]
        down = np.minimum(self.v - rect.top, rect.bottom - self.v) / self.per_px[1]
        return np.asarray(np.minimum(across, down), np.float64)


def corners(placement: Placement, rect: Rect) -> FloatArray:
    """Corners of a cell in the picture, (4, 2)."""
    x, y = (rect.left, rect.right), (rect.top, rect.bottom)
    return placement.to_picture([(x[i], y[j]) for i, j in ((0, 0), (1, 0), (1, 1), (0, 1))])


def look(luma: UInt8Array, placement: Placement, rect: Rect, beyond_px: float = 0.0) -> Window:
    """Pixels of the upright box around a cell and `beyond_px` more, as far as there is picture."""
    seen, size = corners(placement, rect), np.array(luma.shape[::-1])
    low = np.clip(np.floor(seen.min(axis=0) - beyond_px).astype(int), 0, size)
    high = np.clip(np.ceil(seen.max(axis=0) + beyond_px).astype(int), low, size)
    x, y = np.meshgrid(np.arange(low[0], high[0]) + 0.5, np.arange(low[1], high[1]) + 0.5)
    back = np.linalg.inv(placement.matrix)
    u, v, w = (row[0] * x + row[1] * y + row[2] for row in back)
    u, v = u / w, v / w

    def slope(row: FloatArray, value: FloatArray) -> FloatArray:
        across, down = row[0] - back[2, 0] * value, row[1] - back[2, 1] * value
        return np.asarray(np.hypot(across, down) / np.abs(w), np.float64)

    codes = luma[low[1] : high[1], low[0] : high[0]]
    return Window(codes, x, y, u, v, (slope(back[0], u), slope(back[1], v)))


def _covered(at: FloatArray, low: float, high: float, wide: FloatArray) -> FloatArray:
    rising = np.interp((at - low) / wide, REACH, STEP)
    return np.asarray(rising - np.interp((at - high) / wide, REACH, STEP), np.float64)


def coverage(window: Window, rect: Rect, blur: float) -> FloatArray:
    """Share of each pixel's light that comes from a cell, through a blur of `blur` pixels."""
    across = _covered(window.u, rect.left, rect.right, blur * window.per_px[0])
    return across * _covered(window.v, rect.top, rect.bottom, blur * window.per_px[1])


def blur_px(luma: UInt8Array, placement: Placement, light: FloatArray) -> float:
    """Blur of the picture as a Gaussian's sigma, from the long edges of both posts.

    `light` (256,) is the light of each code.
    """
    on = placement.grid
    misfit = np.zeros(len(BLURS_PX))
    ends = ((0.0, on.flags[0].left), (on.flags[1].right, 1.0))
    for post, (left, right) in zip(on.posts, ends, strict=True):
        high = post.bottom - post.top
        around = Rect(post.name, left, post.top + 0.25 * high, right, post.bottom - 0.2 * high)
        window = look(luma, placement, around)
        inside = window.depth_px(around) > 0
        seen = light[window.codes[inside]]
        if len(seen) < len(BLURS_PX):
            continue
        slope = window.v[inside] - window.v[inside].mean()
        at, wide = window.u[inside], window.per_px[0][inside]
        for i, blur in enumerate(BLURS_PX):
            lit = _covered(at, post.left, post.right, blur * wide)
            terms = np.stack([lit, np.ones_like(lit), slope, lit * slope], 1)
            rest = seen - terms @ np.linalg.lstsq(terms, seen, rcond=None)[0]
            misfit[i] += (rest @ rest) / max(float(seen.max()), 1e-6) ** 2
    return BLURS_PX[int(misfit.argmin())]
