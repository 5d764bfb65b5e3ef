"""What stands all round: ranges of hills one behind the other, and the sky.

All of it is painted on one round wall, `RING_RADIUS_M` from its axis, as it is seen from the axis
at the camera's height H: a hill-top of height h at distance D shows at height
H + (h - H) RING_RADIUS_M / D on the wall.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from patterns.picture.arrays import Float32Array, FloatingArray
from patterns.scenes.ground.noise import between, fractal, ring_fractal, ring_line, smooth_step
from patterns.scenes.ground.palette import (
    CANOPY,
    CANOPY_LIT,
    CLOUD,
    CROPS,
    HAZE,
    HAZE_LENGTH_M,
    HEATH,
    HILL,
    SKY_HORIZON,
    SKY_ZENITH,
    SUN_BEARING,
)
from patterns.scenes.motion import RING_RADIUS_M

SKY_STEP = 0.0045  # radians of bearing; the sharpest rims of clouds are several times as wide
CLOUD_HEIGHT_M, CLOUD_TEXEL_M, CLOUD_TILE = 1500.0, 36.0, 512


@dataclass(frozen=True)
class _Range:
    """One range of hills: distance, mean height and rise of its skyline, share of woods."""

    distance_m: float
    height_m: float
    rise_m: float
    ridges: int
    woods: float
    tree_m: float


RANGES = (
    _Range(30000, 1150, 520, 9, 0.0, 0),
    _Range(17000, 700, 380, 10, 0.0, 0),
    _Range(10500, 430, 270, 11, 0.2, 5),
    _Range(6800, 235, 180, 12, 0.35, 9),
    _Range(4600, 110, 105, 13, 0.42, 11),
    _Range(3300, 36, 52, 14, 0.5, 12),
)


class Wall:
    """Hills and sky; ways across are elevations in radians from the foot of the axis."""

    far = True

    def __init__(self, seed: int, up_m: float) -> None:
        self._seed, self._up_m = seed, up_m
        rng = np.random.default_rng([seed, 0xC10D])
        self._clouds = fractal(rng, CLOUD_TILE, 170, 9, 1.3)

    def light(
        self, bearing: FloatingArray, across: FloatingArray, spans: tuple[float, float]
    ) -> Float32Array:
        """Light (bearings, 3, elevations)."""
        height = RING_RADIUS_M * np.tan(np.clip(across, -0.1, 1.57))
        above = np.arctan((height - self._up_m) / RING_RADIUS_M)
        pitch_m = np.maximum(spans[1] * RING_RADIUS_M / np.cos(across) ** 2, 0.05).astype(
            np.float32
        )
        lines = [self.skyline(number, hills, bearing) for number, hills in enumerate(RANGES)]
        # Below `hidden[k]` nearer ranges cover range k at every bearing: nothing to paint.
        nearer = np.maximum.accumulate(np.array(lines)[::-1], axis=0)[::-1].min(axis=1)
        hidden = [*nearer[1:], -np.inf]
        out = np.empty((len(bearing), 3, len(across)), np.float32)
        first = int(np.searchsorted(height + pitch_m, nearer[0]))
        out[:, :, :first] = 0
        if first < len(across):
            out[:, :, first:] = self._soft_sky(bearing, above[first:], spans[0])
        for number, hills in enumerate(RANGES):
            first = int(np.searchsorted(height + pitch_m, hidden[number]))
            if first < len(across):
                place = (bearing, height[first:].astype(np.float32))
                self._range(out[:, :, first:], hills, lines[number], place, pitch_m[first:], spans)
        return out

    def skyline(self, number: int, hills: _Range, bearing: FloatingArray) -> Float32Array:
        """Height of a range's skyline on the wall, metres, without its trees."""
        line = ring_line((self._seed, 11, number), bearing, hills.ridges, 7, 0.46)
        top = hills.height_m + hills.rise_m * line
        return np.asarray(
            self._up_m + (top - self._up_m) * RING_RADIUS_M / hills.distance_m, np.float32
        )

    def _range(
        self,
        out: Float32Array,
        hills: _Range,
        line: Float32Array,
        place: tuple[FloatingArray, Float32Array],
        pitch_m: Float32Array,
        spans: tuple[float, float],
    ) -> None:
        bearing, height = place
        trees = hills.tree_m * RING_RADIUS_M / hills.distance_m
        if height[0] - pitch_m[0] > line.max() + 1.5 * trees:
            return
        shrink = RING_RADIUS_M / hills.distance_m
        air = (spans[0], float(pitch_m.max()) / shrink)  # of all rows, whatever is painted here
        top = int(np.searchsorted(height - pitch_m, line.max() + 1.5 * trees))
        out, height, pitch_m = out[:, :, :top], height[:top], pitch_m[:top]
        seed = (self._seed, 23, RANGES.index(hills))
        # Fields and woods lie on slopes seen from the side: about four times as wide as high.
        ways = np.maximum(height, 0).astype(np.float64) / shrink
        cells = max(12, round(hills.distance_m * 2 * np.pi / 1400))
        stands = ring_fractal(seed, bearing, ways, cells, 110.0, 5, air)
        if hills.woods:
            # A wood on the crest lifts the skyline by its trees.
            crest = ring_line((*seed, 5), bearing, cells, 4, 0.6)
            crowns = ring_line((*seed, 6), bearing, round(cells * 60), 3, 0.7)
            wooded = smooth_step(crest, 0.35 - hills.woods, 0.55 - hills.woods)
            line = line + trees * wooded * (0.8 + 0.25 * crowns)
        below = line[:, np.newaxis] - height
        cover = below / pitch_m
        cover += np.float32(0.5)
        np.clip(cover, 0, 1, out=cover)
        if not cover.any():
            return
        np.maximum(below, 0, out=below)
        below *= np.float32(1 / shrink)
        colour = self._slopes(seed, hills, bearing, ways, stands, below, cells, air)
        # Air thins with height: the far, high ranges stay bluer and clearer than the plain.
        left = np.float32(np.exp(-((hills.distance_m / (1.25 * HAZE_LENGTH_M)) ** 0.72)))
        air_light = np.asarray(0.78 * HAZE + 0.22 * SKY_ZENITH, np.float32)[:, np.newaxis]
        colour -= air_light
        colour *= left
        colour += air_light
        # Where a range covers all, nothing is left of what lies behind, not even in rounding:
        # ranges that are hidden in one piece of the turn are drawn in another.
        colour *= cover[:, np.newaxis]
        out *= 1 - cover[:, np.newaxis]
        out += colour

    def _slopes(
        self,
        seed: tuple[int, ...],
        hills: _Range,
        bearing: FloatingArray,
        ways: FloatingArray,
        stands: Float32Array,
        below: Float32Array,
        cells: int,
        air: tuple[float, float],
    ) -> Float32Array:
        """Light of a range's slopes without haze."""
        grass, dry = CROPS[0][0], CROPS[2][0]
        fields = ring_fractal((*seed, 1), bearing, ways, cells * 2, 40.0, 4, air)
        far = np.float32(min(hills.distance_m / 15000, 1))
        low, high = (
            np.asarray(c + (HILL - c) * far, np.float32)[:, np.newaxis]
            for c in (0.5 * dry + 0.5 * HEATH, grass)
        )
        colour = smooth_step(fields, -0.5, 0.5)[:, np.newaxis] * (high - low)
        colour += low
        if hills.woods:
            wood = smooth_step(stands, 0.42 - hills.woods, 0.56 - hills.woods)
            # trees on the crest belong to the wood
            wood = np.maximum(wood, np.clip(1 - below / hills.tree_m, 0, 1) * (wood > 0.1))
            canopy = np.asarray(0.55 * CANOPY + 0.45 * CANOPY_LIT, np.float32)[:, np.newaxis]
            leaf = ring_fractal((*seed, 2), bearing, ways, cells * 40, 9.0, 2, air)
            shade = np.clip(0.85 + 0.45 * leaf, 0.3, 1.6)
            change = canopy * shade[:, np.newaxis]
            change -= colour
            change *= wood[:, np.newaxis]
            colour += change
        # Spurs and combes: the slope's lie changes along the range, and with it the sunlight.
        relief = ring_fractal((*seed, 3), bearing, ways, cells, 160.0, 4, air)
        lean = np.sin(bearing - SUN_BEARING)[:, np.newaxis].astype(np.float32)
        face = np.cos(bearing - SUN_BEARING)[:, np.newaxis].astype(np.float32)
        sun = relief * (0.34 + 0.14 * lean)
        sun += 0.86 - 0.20 * face
        colour *= np.clip(sun, 0.35, 1.5, out=sun)[:, np.newaxis]
        return colour

    def _soft_sky(self, bearing: FloatingArray, above: FloatingArray, cell: float) -> Float32Array:
        """The sky, whose clouds are soft: every few bearings, and linear between them.

        `cell` is how far apart the bearings are. Those that are drawn are the same,
        counted from bearing 0, whatever is asked for.
        """
        # a power of two: as every number of cells to a turn is divisible by it, each lap is alike
        apart = 1 << max(0, int(np.log2(SKY_STEP / cell)))
        place = np.rint(bearing / cell - 0.5).astype(np.int64)
        if apart == 1 or place[-1] - place[0] != len(place) - 1:
            return self._sky(bearing, above)
        first = int(place[0]) // apart
        drawn = np.arange(first, int(place[-1]) // apart + 2)
        sky = self._sky((drawn * apart + 0.5) * cell, above)
        steps = (np.arange(apart) / np.float32(apart)).astype(np.float32)
        rise = np.diff(sky, axis=0)[:, np.newaxis] * steps[:, np.newaxis, np.newaxis]
        rise += sky[:-1, np.newaxis]
        begin = int(place[0]) - first * apart
        return np.asarray(rise.reshape(-1, *sky.shape[1:])[begin : begin + len(bearing)])

    def _sky(self, bearing: FloatingArray, above: FloatingArray) -> Float32Array:
        """Light of the sky (bearings, 3, elevations seen from the camera's height)."""
        up = np.maximum(above, 0)
        deep = (1 - np.exp(-up / 0.42)).astype(np.float32)
        horizon, zenith = (np.asarray(c)[:, np.newaxis] for c in (SKY_HORIZON, SKY_ZENITH))
        column = horizon + (zenith - horizon) * deep
        sunward = np.cos(bearing - SUN_BEARING)[:, np.newaxis, np.newaxis]
        out = np.asarray(column * (1 + 0.06 * sunward * np.exp(-up / 0.5)), np.float32)
        if above[-1] < 0.004:
            return out
        reach = CLOUD_HEIGHT_M / (np.tan(np.minimum(up, 1.57)) + 0.055)
        x = np.sin(bearing)[:, np.newaxis] * reach / CLOUD_TEXEL_M
        y = np.cos(bearing)[:, np.newaxis] * reach / CLOUD_TEXEL_M
        here = between(self._clouds, x, y)
        sun = (np.sin(SUN_BEARING) * 5, np.cos(SUN_BEARING) * 5)
        lit = np.clip(0.5 + 0.9 * (here - between(self._clouds, x + sun[0], y + sun[1])), 0, 1)
        thin = (1 - np.exp(-up / 0.07)).astype(np.float32)
        cover = smooth_step(here, -0.1, 1.7) * (0.78 * thin)
        grey = (0.72 * CLOUD + 0.28 * SKY_ZENITH).astype(np.float32)
        bright = np.asarray(1.12 * CLOUD - grey, np.float32)[:, np.newaxis]
        cloud = lit[:, np.newaxis] * bright
        cloud += grey[:, np.newaxis]
        cloud -= out
        cloud *= cover[:, np.newaxis]
        out += cloud
        return out
