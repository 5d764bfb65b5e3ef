"""The light of an orbit's subject: stone, metal and concrete in the sun, with their details."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import cos, radians, sin

import numpy as np

from patterns.picture.arrays import Float32Array, FloatingArray
from patterns.scenes.ground.palette import (
    SHADE,
    SUN_BEARING,
    SUN_ELEVATION_DEG,
    mixed,
    through_haze,
)
from patterns.scenes.orbit.details import FITTINGS
from patterns.scenes.orbit.motion import Subject
from patterns.scenes.orbit.outlines import OUTLINES
from patterns.scenes.orbit.surface_marks import Patch, joint, repeat, ring_fractal

FITTING_REACH_M = 3.0  # above and below its own height that a fitting still changes a wall
OUTLINE_PLACES = 4001  # along a subject's outline, a centimetre or so apart
SUN_UP = radians(SUN_ELEVATION_DEG)


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

    dithered = False

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

    def through_air(self, light: Float32Array, distance_m: FloatingArray) -> Float32Array:
        """Light (..., 3, rows) after `distance_m` of haze."""
        return through_haze(light, distance_m)

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
        for number in np.unique(which):
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
