"""Frames of a level flight over synthetic country."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from patterns.errors import RequestError
from patterns.picture.arrays import UInt8Array
from patterns.picture.light import codes_of_light
from patterns.picture.planes import Planes
from patterns.scenes.ground.country import Country, country_of
from patterns.scenes.ground.palette import transmittance
from patterns.scenes.pattern import Shot
from patterns.scenes.terrain.levels import LineLevel, bands
from patterns.scenes.terrain.motion import TerrainMotion
from patterns.scenes.terrain.planes import LinePlane, RowPlane
from patterns.scenes.terrain.rays import Plane, cast, still_light
from patterns.scenes.terrain.rows import RowLevel
from patterns.scenes.together import TOGETHER, TogetherRenderer

Level = LineLevel | RowLevel
VISIBLE = 0.004  # share of the ground's contrast below which haze hides it


class TerrainRenderer(TogetherRenderer):
    """Draws any frame of a terrain clip; frames in order are fastest.

    `shot`: a clip whose motion is a `TerrainMotion`.
    `width`, `height`: size of the picture (the frame less its strip) in pixels, both even.
    Raises `RequestError`: if the clip is of another pattern or a side is odd.
    """

    def __init__(self, shot: Shot, width: int, height: int) -> None:
        if not isinstance(shot.motion, TerrainMotion):
            raise RequestError("this clip is not a flight: terrain is needed")
        if width % 2 or height % 2 or width < 2 or height < 2:
            raise RequestError(f"picture {width}x{height} must have even sides of 2 or more")
        super().__init__(shot.frames)
        self._shot, self._motion = shot, shot.motion
        self._size = (width, height)
        self._country = country_of(shot.seed)
        self._still: list[UInt8Array] = []
        self._levels: list[Level] = []
        self._planes: list[LinePlane | RowPlane] = []
        self._lay_out()

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

    def _lay_out(self) -> None:
        """Split the rows of the picture into sky and levels."""
        width, height = self._size
        planes = Plane(width, height, 1), Plane(width // 2, height // 2, 2)
        luma, chroma = (cast(self._motion, plane, width, height) for plane in planes)
        seen = transmittance(luma.range_m) > VISIBLE
        ground = np.flatnonzero(seen[::2] & seen[1::2])
        still = int(ground[0]) if len(ground) else height // 2
        for plane, rows, colour in zip(planes, (2 * still, still), (False, True), strict=True):
            light = still_light(self._motion, self._shot.seed, plane, self._size, rows)
            self._still.extend(np.rint(codes_of_light(light, colour)).astype(np.uint8))
        if not len(ground):
            return
        blur_m = float(self._motion.ground_speed_m_s * self._shot.exposure_s)
        ahead_m = self._motion.ground_speed_m_s * (TOGETHER - 1) / self._shot.rate
        laid = (self._country, luma, chroma)
        parts = bands(chroma.sample_ahead_m, ground)
        if self._motion.flight == "sideways":
            strips = [RowLevel(*laid, part, blur_m, float(ahead_m)) for part in parts]
            self._levels = list(strips)
            self._planes = [RowPlane(strips, 0), RowPlane(strips, 1)]
        else:
            lines = [LineLevel(*laid, part, blur_m, float(ahead_m)) for part in parts]
            self._levels = list(lines)
            self._planes = [LinePlane(lines, 0), LinePlane(lines, 1)]
