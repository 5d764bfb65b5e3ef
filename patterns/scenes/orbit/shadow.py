"""The shadow that a solid of revolution throws on the ground about it."""

from __future__ import annotations

from itertools import pairwise
from math import cos, log2, radians, sin, tan

import numpy as np

from patterns.picture.arrays import Float32Array, FloatingArray, IndexArray
from patterns.scenes.ground.palette import SUN_AZIMUTH_DEG, SUN_ELEVATION_DEG
from patterns.scenes.orbit.outlines import Profile

SUN_WIDTH = 0.0093  # radians that the sun's disc spans: how soft shadows are
SLICES = 72  # discs that stand for the solid
FINEST_STEP_M = 0.08  # of the map that is kept; no shadow is sharper


class Shadow:
    """How much of the sun (0 to 1) a solid keeps from places on the ground.

    Maps of one half, the other being its mirror image, are kept for each softness.
    """

    def __init__(self, profile: Profile) -> None:
        self._outline = np.array(profile.points)
        self._stretch = 1 / tan(radians(SUN_ELEVATION_DEG))
        self._base_m = profile.base_radius_m + 1
        self._top_m = float(self._outline[:, 1].max())
        self._maps: dict[int, tuple[Float32Array, float]] = {}

    @property
    def reach_m(self) -> float:
        """Distance from the axis beyond which there is no shadow."""
        return self._top_m * self._stretch + self._base_m + 4

    def rays(self, x_m: FloatingArray, y_m: FloatingArray, blur_m: float) -> slice:
        """Of rays from the axis that begin at places, those from first to last in the shadow."""
        away, aside = _turned(x_m, y_m)
        drawn, step = self._map(blur_m)
        met = np.flatnonzero((away > -self._base_m) & (aside < drawn.shape[1] * step))
        return slice(int(met[0]), int(met[-1]) + 1) if len(met) else slice(0, 0)

    def share(self, x_m: FloatingArray, y_m: FloatingArray, blur_m: float) -> Float32Array:
        """Shadow at places x (to the right) and y (away)."""
        away, aside = _turned(x_m, y_m)
        drawn, step = self._map(blur_m)
        i, fi = _between(away / step + self._base_m / step, len(drawn))
        j, fj = _between(aside / step, drawn.shape[1])
        place = i * drawn.shape[1] + j
        flat = drawn.ravel()
        low, high = flat.take(place), flat.take(place + drawn.shape[1])
        low += (flat.take(place + 1) - low) * fj
        high += (flat.take(place + drawn.shape[1] + 1) - high) * fj
        return np.asarray(low + (high - low) * fi, np.float32)

    def _map(self, blur_m: float) -> tuple[Float32Array, float]:
        octave = round(log2(max(blur_m, FINEST_STEP_M)))
        if octave not in self._maps:
            blur = 2.0**octave
            step = max(FINEST_STEP_M, blur / 2)
            long_m = self._top_m * self._stretch + 2 * self._base_m + 3 * blur
            away = np.arange(int(long_m / step) + 3, dtype=np.float32) * np.float32(step)
            aside = np.arange(int((self._base_m + 2 * blur) / step) + 3, dtype=np.float32)
            grid = away - np.float32(self._base_m), aside * np.float32(step)
            self._maps[octave] = (self._draw(*grid, blur), step)
        return self._maps[octave]

    def _draw(self, away: Float32Array, aside: Float32Array, blur_m: float) -> Float32Array:
        """The deepest of all discs' shadows (away, aside)."""
        shade = np.zeros((len(away), len(aside)), np.float32)
        for height in np.linspace(0, self._top_m, SLICES):
            radius, middle = self._radius_at(float(height)), height * self._stretch
            soft = np.float32(0.06 + blur_m + height * SUN_WIDTH)
            first, last = np.searchsorted(away, (middle - radius - soft, middle + radius + soft))
            from_disc = np.hypot(away[first:last, np.newaxis] - np.float32(middle), aside)
            share = np.clip(np.float32(0.5) - (from_disc - np.float32(radius)) / soft, 0, 1)
            np.maximum(shade[first:last], share, out=shade[first:last])
        # Places beyond the map are read from its rim.
        shade[-2:] = shade[:, -2:] = shade[0] = 0
        return shade

    def _radius_at(self, height: float) -> float:
        """Widest radius at a height: the outline may turn back on itself."""
        widest = 0.0
        for (r0, z0), (r1, z1) in pairwise(self._outline.tolist()):
            if min(z0, z1) <= height <= max(z0, z1):
                part = 0.0 if z1 == z0 else (height - z0) / (z1 - z0)
                widest = max(widest, r0 + part * (r1 - r0), min(r0, r1) if z1 == z0 else 0)
        return widest


def _turned(x_m: FloatingArray, y_m: FloatingArray) -> tuple[FloatingArray, FloatingArray]:
    """How far places lie away from the sun, and beside the shadow's middle."""
    azimuth = radians(SUN_AZIMUTH_DEG)
    c, s = cos(azimuth), sin(azimuth)
    return -x_m * c - y_m * s, np.abs(x_m * s - y_m * c)


def _between(place: FloatingArray, count: int) -> tuple[IndexArray, Float32Array]:
    """Sample at or before places, and how far beyond it, within `count` samples."""
    inside = np.clip(place, 0, count - 2)
    whole = inside.astype(np.intp)
    return whole, (inside - whole).astype(np.float32)
