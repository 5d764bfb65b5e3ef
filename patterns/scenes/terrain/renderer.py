"""Frames of a level flight over synthetic country."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from patterns.errors import RequestError
from patterns.picture.arrays import UInt8Array
from patterns.picture.planes import Planes
from patterns.scenes.ground.country import Country, country_of
from patterns.scenes.ground.palette import transmittance
from patterns.scenes.shot import Shot
from patterns.scenes.terrain.levels import LineLevel, bands
from patterns.scenes.terrain.motion import TerrainMotion
from patterns.scenes.terrain.picture import LinePlane
from patterns.scenes.terrain.rays import Plane, cast
from patterns.scenes.terrain.rows import RowLevel, RowPlane
from patterns.scenes.terrain.sky import Sky
from patterns.scenes.terrain.texels import codes_of_light

__all__ = ["TerrainRenderer"]

Level = LineLevel | RowLevel
VISIBLE = 0.004  # share of the ground's contrast below which haze hides it


class TerrainRenderer:
    """Draws any frame of a terrain clip; frames in order are fastest.

    Parameters
    ----------
    shot
        A clip whose motion is a `TerrainMotion`.
    width, height
        Size of the picture (the frame less its strip) in pixels, both even.

    Raises
    ------
    RequestError
        If the clip is of another pattern or a side is odd.
    """

    def __init__(self, shot: Shot, width: int, height: int) -> None:
        if not isinstance(shot.motion, TerrainMotion):
            raise RequestError("this clip is not a flight: terrain is needed")
        if width % 2 or height % 2 or width < 2 or height < 2:
            raise RequestError(f"picture {width}x{height} must have even sides of 2 or more")
        self._shot, self._motion = shot, shot.motion
        self._size = (width, height)
        self._country = country_of(shot.seed)
        self._still: list[UInt8Array] = []
        self._levels: list[Level] = []
        self._planes: list[LinePlane | RowPlane | None] = [None, None]
        self._lay_out()
        self._quiet_m = [0.0] * len(self._levels)
        self._last, self._last_m = -2, 0.0

    def travel_m(self, n: int) -> float:
        """How far the camera has come at frame n, metres, less whole periods of the country."""
        travelled = self._motion.ground_speed_m_s * n / self._shot.rate
        return float(travelled % int(Country.PERIOD_M))

    def draw(self, n: int, picture: Planes) -> None:
        """Fill the picture with frame n."""
        self.draw_together(n, [picture])

    def draw_together(self, n: int, pictures: Sequence[Planes]) -> None:
        """Fill the pictures with frames n, n + 1, ...: less work than one at a time."""
        rest = list(pictures)
        while rest:
            travels = self._make(n, len(rest))
            some, rest = rest[: len(travels)], rest[len(travels) :]
            planes = [[picture.y, picture.cb, picture.cr] for picture in some]
            for number, still in enumerate(self._still):
                for picture in planes:
                    picture[number][: len(still)] = still
            for drawn, which in zip(self._planes, (slice(1), slice(1, 3)), strict=True):
                if drawn is not None:
                    drawn.draw(travels, [picture[which] for picture in planes])
            n += len(travels)

    def _lay_out(self) -> None:
        """Split the rows of the picture into sky and levels."""
        width, height = self._size
        planes = Plane(width, height, 1), Plane(width // 2, height // 2, 2)
        luma, chroma = (cast(self._motion, plane, width, height) for plane in planes)
        seen = transmittance(luma.range_m) > VISIBLE
        ground = np.flatnonzero(seen[::2] & seen[1::2])
        still = int(ground[0]) if len(ground) else height // 2
        sky = Sky(self._shot.seed)
        for plane, rows, colour in zip(planes, (2 * still, still), (False, True), strict=True):
            light = sky.light(self._motion, plane, width, height, rows)
            self._still.extend(np.rint(codes_of_light(light, colour)).astype(np.uint8))
        if not len(ground):
            return
        blur_m = float(self._motion.ground_speed_m_s * self._shot.exposure_s)
        parts = bands(chroma.sample_ahead_m, ground)
        if self._motion.flight == "sideways":
            strips = [RowLevel(self._country, luma, chroma, part, blur_m) for part in parts]
            self._levels = list(strips)
            self._planes = [RowPlane(strips, 0), RowPlane(strips, 1)]
        else:
            lines = [LineLevel(self._country, luma, chroma, part, blur_m) for part in parts]
            self._levels = list(lines)
            self._planes = [LinePlane(lines, 0), LinePlane(lines, 1)]

    def _make(self, n: int, most: int) -> list[float]:
        """Have every chunk that frames from n on need, for as many as the rings have room for.

        Returns their travels, at most `most`, at least one.
        """
        travels = [self.travel_m(n + k) for k in range(most)]
        self._begin(n)
        while not self._fit(travels):
            travels.pop()
        try:
            for some in range(n, n + len(travels)):
                self._paint(some)
        except BaseException:
            self._last = -2  # a level may sleep that has not got all
            raise
        return travels

    def _begin(self, n: int) -> None:
        """Look at all levels anew if frame `n` does not follow the last one."""
        if n not in (self._last, self._last + 1) or self.travel_m(n) < self._last_m:
            self._quiet_m = [0.0] * len(self._levels)

    def _paint(self, n: int) -> None:
        """Have every chunk that frame `n` needs."""
        self._begin(n)
        travel = self._last_m = self.travel_m(n)
        self._last = n
        for number, level in enumerate(self._levels):
            if travel < self._quiet_m[number]:
                continue
            for chunk in level.chunks(travel):
                if not level.holds(chunk):
                    level.paint(chunk)
            self._quiet_m[number] = level.next_m(travel) - 0.001 * level.step_m

    def _fit(self, travels: list[float]) -> bool:
        """Whether all chunks that these travels need can be in memory at once."""
        if len(travels) == 1:
            return True
        first, last = travels[0], travels[-1]
        return travels == sorted(travels) and all(
            last < quiet or level.spans(first, last)
            for level, quiet in zip(self._levels, self._quiet_m, strict=True)
        )
