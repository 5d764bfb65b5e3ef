"""Frames of a level flight over synthetic country."""

from __future__ import annotations

from collections.abc import Sequence
from math import radians

import numpy as np

from patterns.picture.arrays import Float32Array, UInt8Array
from patterns.picture.planes import Planes, codes_of_light
from patterns.scenes.ground.country import Country, country_of
from patterns.scenes.ground.hills import Wall
from patterns.scenes.ground.noise import between
from patterns.scenes.ground.palette import transmittance
from patterns.scenes.motion import RING_RADIUS_M
from patterns.scenes.pattern import TOGETHER, Shot, TogetherRenderer
from patterns.scenes.terrain.levels import Band, LineLevel, LinePlane, bands
from patterns.scenes.terrain.motion import Rays, TerrainMotion
from patterns.scenes.terrain.rows import RowLevel, RowPlane

Level = LineLevel | RowLevel
VISIBLE = 0.004  # share of the ground's contrast below which haze hides it


class TerrainRenderer(TogetherRenderer):
    """Draws any frame of a terrain clip; frames in order are fastest.

    `shot`: a clip whose motion is a `TerrainMotion`.
    `width`, `height`: size of the picture (the frame less its strip) in pixels, both even.
    """

    def __init__(self, shot: Shot, width: int, height: int) -> None:
        assert isinstance(shot.motion, TerrainMotion)
        super().__init__(shot.frames)
        self._shot, self._motion = shot, shot.motion
        self._still: list[UInt8Array] = []
        self._levels: list[Level] = []
        self._planes: list[LinePlane | RowPlane] = []
        self._lay_out(width, height)

    def travel_m(self, n: int) -> float:
        """How far the camera has come at frame n, metres, less whole periods of the country."""
        travelled = self._motion.ground_speed_m_s * n / self._shot.rate
        return float(travelled % int(Country.PERIOD_M))

    def _draw_some(self, numbers: range, pictures: Sequence[Planes]) -> int:
        travels_m = [self.travel_m(n) for n in numbers]
        while not all(level.hold_both(travels_m[0], travels_m[-1]) for level in self._levels):
            travels_m.pop()
        for level in self._levels:
            for travel_m in travels_m:
                level.ensure(travel_m)
        drawn = pictures[: len(travels_m)]
        for picture in drawn:
            planes = (picture.y, picture.cb, picture.cr)
            for plane, still in zip(planes, self._still, strict=True):
                plane[: len(still)] = still
        if self._planes:
            luma, chroma = self._planes
            luma.draw(travels_m, [(picture.y,) for picture in drawn])
            chroma.draw(travels_m, [(picture.cb, picture.cr) for picture in drawn])
        return len(travels_m)

    def _lay_out(self, width: int, height: int) -> None:
        """Split the rows of the picture into sky and levels."""
        luma, chroma = (Rays(self._motion, width, height, pitch) for pitch in (1, 2))
        seen = transmittance(luma.range_m) > VISIBLE
        ground = np.flatnonzero(seen[::2] & seen[1::2])
        still = int(ground[0]) if len(ground) else height // 2
        for rays, rows, colour in ((luma, 2 * still, False), (chroma, still, True)):
            light = still_light(self._motion, self._shot.seed, rays, rows)
            self._still.extend(np.rint(codes_of_light(light, colour)).astype(np.uint8))
        if not len(ground):
            return
        speed_m_s = self._motion.ground_speed_m_s
        blur_m = float(speed_m_s * self._shot.exposure_s)
        ahead_m = float(speed_m_s * (TOGETHER - 1) / self._shot.rate)
        country = country_of(self._shot.seed)
        parts = [
            Band(country, luma, chroma, rows, blur_m, ahead_m)
            for rows in bands(chroma.sample_ahead_m, ground)
        ]
        if self._motion.flight == "sideways":
            strips = [RowLevel(part) for part in parts]
            self._levels = list(strips)
            self._planes = [RowPlane(strips, 0), RowPlane(strips, 1)]
        else:
            lines = [LineLevel(part) for part in parts]
            self._levels = list(lines)
            self._planes = [LinePlane(lines, 0), LinePlane(lines, 1)]


def still_light(motion: TerrainMotion, seed: int, rays: Rays, rows: int) -> Float32Array:
    """Linear light (3, rows, columns) of the topmost rows, which rest: the sky and the hills.

    The nearest hills are 3 km away, and would move by a few pixels in a clip; in a flight
    sideways by about 4 a second at 10 m/s, which is left out.
    """
    if not rows:
        return np.empty((3, 0, len(rays.across)), np.float32)
    right, fall = rays.across[None, :], rays.fall[:rows, None]
    tilt, pixel, up_m = radians(float(motion.tilt_deg)), rays.pixel, float(motion.height_m)
    ahead = np.cos(tilt) - fall * np.sin(tilt)
    climb = -(np.sin(tilt) + fall * np.cos(tilt)) / np.hypot(ahead, right)
    # Painted on a grid as fine as the pixels, and read between its places.
    bearing = np.arctan2(right, ahead) / pixel - 0.5
    lift = np.arctan(climb) / pixel
    low = [int(np.floor(places.min())) for places in (bearing, lift)]
    across, up = (
        np.arange(first, int(places.max()) + 3)
        for first, places in zip(low, (bearing, lift), strict=True)
    )
    ways = np.arctan(np.tan(up * pixel) + up_m / RING_RADIUS_M)
    light = Wall(seed, up_m).light((across + 0.5) * pixel, ways, (pixel, pixel))
    channels = [between(light[:, k], bearing - low[0], lift - low[1]) for k in range(3)]
    return np.stack(channels)
