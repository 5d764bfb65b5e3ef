"""An orbit's subject: its light, with its details in the sun, and the shadow that it throws."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import cos, log2, radians, sin, tan

import numpy as np

from patterns.picture.arrays import Float32Array, FloatingArray
from patterns.scenes.ground.noise import between, ring_fractal
from patterns.scenes.ground.palette import (
    SHADE,
    SUN_AZIMUTH_DEG,
    SUN_BEARING,
    SUN_ELEVATION_DEG,
    mixed,
)
from patterns.scenes.orbit.details import FITTINGS, Patch, joint, repeat
from patterns.scenes.orbit.motion import Subject
from patterns.scenes.orbit.outlines import OUTLINES, Profile

FITTING_REACH_M = 3.0  # above and below its own height that a fitting still changes a wall
OUTLINE_PLACES = 4001  # along a subject's outline, a centimetre or so apart
SUN_UP = radians(SUN_ELEVATION_DEG)
SUN_WIDTH = 0.0093  # radians that the sun's disc spans: how soft shadows are
SLICES = 72  # discs that stand for a solid that throws a shadow
FINEST_STEP_M = 0.08  # of a shadow's map that is kept; no shadow is sharper


@dataclass(frozen=True)
class _Stone:
    """Colour of a material, its blocks in metres, and how much they differ."""

    colour: Float32Array
    block_m: tuple[float, float]
    varied: float
    weather: float


MATERIALS = {
    "base": _Stone(mixed(132, 124, 110), (1.3, 0.55), 0.34, 0.5),
    "masonry": _Stone(mixed(158, 147, 125), (0.85, 0.40), 0.26, 0.4),
    "dressed": _Stone(mixed(174, 164, 143), (1.5, 0.60), 0.12, 0.35),
    "steps": _Stone(mixed(156, 152, 142), (1.6, 0.50), 0.14, 0.45),
    "column": _Stone(mixed(172, 164, 147), (9.0, 1.20), 0.07, 0.30),
    "panels": _Stone(mixed(164, 162, 154), (2.88, 2.30), 0.07, 0.5),
    "concrete": _Stone(mixed(158, 156, 149), (2.88, 3.0), 0.05, 0.45),
    "copper": _Stone(mixed(118, 138, 124), (0.62, 8.0), 0.10, 0.35),
    "bronze": _Stone(mixed(98, 104, 84), (0.60, 8.0), 0.08, 0.4),
    "rail": _Stone(mixed(120, 126, 128), (1.2, 4.0), 0.05, 0.2),
    "roof": _Stone(mixed(140, 148, 152), (1.8, 6.0), 0.06, 0.35),
}


class OrbitSubject:
    """Skin of a subject: bearings, and metres along its outline."""

    far = False

    def __init__(self, subject: Subject, seed: int) -> None:
        self._subject, self._seed = subject, seed
        self.outline = OUTLINES[subject]
        self.profile = self.outline.profile
        self._tops = np.array([top for top, _ in self.outline.materials[:-1]])
        # Blocks round the turn: of the whole part, or they would differ from piece to piece.
        ways = np.linspace(0, self.profile.corners_m[-1], OUTLINE_PLACES)
        radius, height = self.profile.at(ways)
        part = np.searchsorted(self._tops, height)
        self._around = [
            max(6, round(2 * np.pi * float(radius[part == k].mean()) / MATERIALS[name].block_m[0]))
            for k, (_, name) in enumerate(self.outline.materials)
        ]

    def light(
        self, bearing: FloatingArray, across: FloatingArray, spans: tuple[float, float]
    ) -> Float32Array:
        """Light (bearings, 3, ways)."""
        way = np.clip(across, 0, self.profile.corners_m[-1])
        radius, height = self.profile.at(way)
        which = np.searchsorted(self._tops, height)
        # 32 bits place a mark to a hundredth of a millimetre.
        radius, height, way, radial, upward = (
            a.astype(np.float32) for a in (radius, height, way, *self.profile.normals(way))
        )
        patch = Patch(bearing, np.maximum(radius, np.float32(0.05)), height, way, spans)
        colour = np.empty((len(bearing), 3, len(way)), np.float32)
        for number in sorted(set(which.tolist())):
            some = which == number
            colour[:, :, some] = self._stone(number, patch.columns(some))
        tilt = np.zeros((len(bearing), len(way)), np.float32)
        for fitting in FITTINGS[self._subject]:
            near = np.flatnonzero(
                (height > fitting.low_m - FITTING_REACH_M)
                & (height < fitting.high_m + FITTING_REACH_M)
            )
            if len(near):
                some = slice(int(near[0]), int(near[-1]) + 1)
                wall = radial[some] > 0.5
                fitting.fit(patch.columns(some), wall, colour[:, :, some], tilt[:, some])
        colour *= self._sunlight(bearing, radial, upward, tilt)
        colour *= self._hidden_sky(height, radial)
        return colour

    def _stone(self, number: int, patch: Patch) -> Float32Array:
        name, around = self.outline.materials[number][1], self._around[number]
        stone = MATERIALS[name]
        length, course_height = stone.block_m
        course = np.floor(patch.way / course_height).astype(np.int64)
        rng = np.random.default_rng([self._seed, 77, len(name), around])
        table = rng.random((256, around), dtype=np.float32)
        shift = rng.random(256) if stone.varied > 0.1 else np.zeros(256)
        turned = (patch.bearing / (2 * np.pi) * around).astype(np.float32)
        along = turned[:, np.newaxis] + shift.astype(np.float32)[course % 256]
        block = np.floor(along).astype(np.int64) % around
        size = length / patch.width_m
        seen = np.clip(np.minimum(size, course_height / patch.pitch_m) - 1, 0, 1)
        shade = 1 + stone.varied * (table[course % 256, block] - 0.5) * seen
        upright = joint(repeat(along, 1.0) * length, 0.03, patch.width_m)
        level = joint(repeat(patch.way / course_height, 1.0) * course_height, 0.03, patch.pitch_m)
        shade *= 1 - 0.34 * np.maximum(upright, level)
        shade *= self._weather(name, stone, patch)
        return np.asarray(stone.colour[:, np.newaxis] * shade[:, np.newaxis], np.float32)

    def _weather(self, name: str, stone: _Stone, patch: Patch) -> Float32Array:
        spans = (patch.spans[0], patch.spans[1])
        seed = (self._seed, 78, len(name))
        streaks = ring_fractal(seed, patch.bearing, patch.way, 36, 7.0, 4, spans)
        blots = ring_fractal((*seed, 1), patch.bearing, patch.way, 14, 2.6, 6, spans)
        damp = np.exp(-patch.height / 2.5).astype(np.float32)
        worn = 1 + stone.weather * (0.28 * streaks + 0.22 * blots)
        return np.asarray(np.clip(worn, 0.4, 1.5) * (1 - 0.3 * damp), np.float32)

    @staticmethod
    def _sunlight(
        bearing: FloatingArray, radial: FloatingArray, upward: FloatingArray, tilt: Float32Array
    ) -> Float32Array:
        facing = np.cos((bearing - SUN_BEARING).astype(np.float32)[:, np.newaxis] + tilt)
        facing *= radial * np.float32(cos(SUN_UP) / sin(SUN_UP))
        facing += upward
        direct = np.maximum(facing, 0, out=facing)[:, np.newaxis]
        # Light from the ground lifts what faces down; light from the sky what faces up.
        sky = 0.80 + 0.2 * upward
        shade = np.asarray(SHADE, np.float32)[:, np.newaxis]
        return np.asarray(shade * sky + (1 - shade) * direct, np.float32)

    def _hidden_sky(self, height: FloatingArray, radial: FloatingArray) -> Float32Array:
        """What corners keep off: ledges above and the ground below darken a wall."""
        outline = np.array(self.profile.points)
        open_sky = 1 - 0.30 * np.exp(-height / 1.5) * (radial > 0)
        for (r0, z0), (r1, _) in pairwise(outline):
            if r1 > r0 + 0.1:
                under = np.maximum(z0 - height, 0)
                depth = r1 - r0
                open_sky = open_sky * np.where(
                    (height < z0) & (radial > 0.5), 1 - 0.42 * np.exp(-under / depth), 1
                )
        return np.asarray(open_sky, np.float32)


class Shadow:
    """How much of the sun (0 to 1) a solid keeps from places on the ground.

    Maps of one half, the other being its mirror image, are kept for each softness.
    `foot_m` is the solid's radius where it is widest.
    """

    def __init__(self, profile: Profile) -> None:
        self._outline = np.array(profile.points)
        self._stretch = 1 / tan(radians(SUN_ELEVATION_DEG))
        self.foot_m = profile.base_radius_m
        self._base_m = self.foot_m + 1
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
        # Places beyond the map are read from its rim, which is 0.
        i = np.clip(away / step + self._base_m / step, 0, len(drawn) - 2)
        return between(drawn, i, np.minimum(aside / step, drawn.shape[1] - 2))

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
