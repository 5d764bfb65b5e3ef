"""Frames of a level flight over synthetic country."""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor

import numpy as np
import numpy.typing as npt

from patterns.clip import Clip
from patterns.errors import RequestError
from patterns.rendering.planes import Planes
from patterns.rendering.terrain_levels import LineLevel, bands
from patterns.rendering.terrain_rays import Plane, cast
from patterns.rendering.terrain_rows import RowLevel
from patterns.rendering.terrain_sky import Sky
from patterns.rendering.terrain_texels import codes_of_light, transmittance
from patterns.scenes.country import Country
from patterns.scenes.motion import TerrainMotion

__all__ = ["TerrainRenderer"]

Level = LineLevel | RowLevel
Job = tuple[Level, int]
THREADS = 2
VISIBLE = 0.004  # share of the ground's contrast below which haze hides it


class TerrainRenderer:
    """Draws any frame of a terrain clip; frames in order are fastest.

    Parameters
    ----------
    clip
        A clip whose motion is a `TerrainMotion`.
    width, height
        Size of the picture (the frame less its strip) in pixels, both even.

    Raises
    ------
    RequestError
        If the clip is of another pattern or a side is odd.
    """

    def __init__(self, clip: Clip, width: int, height: int) -> None:
        if not isinstance(clip.motion, TerrainMotion):
            raise RequestError(f"a {clip.pattern} clip is not a flight: terrain is needed")
        if width % 2 or height % 2 or width < 2 or height < 2:
            raise RequestError(f"picture {width}x{height} must have even sides of 2 or more")
        self._clip, self._motion = clip, clip.motion
        self._size = (width, height)
        self._country = Country(clip.seed)
        self._still: list[npt.NDArray[np.uint8]] = []
        self._levels: list[tuple[Level, bool]] = []
        self._lay_out(Plane(width, height, 1), colour=False)
        self._lay_out(Plane(width // 2, height // 2, 2), colour=True)
        self._pool = ThreadPoolExecutor(THREADS, thread_name_prefix="terrain")
        self._ahead: dict[Job, Future[None]] = {}
        self._last = -2

    def travel_m(self, n: int) -> float:
        """How far the camera has come at frame n, metres, less whole periods of the country."""
        travelled = self._motion.ground_speed_m_s * n / self._clip.rate
        return float(travelled % int(Country.PERIOD_M))

    def draw(self, n: int, picture: Planes) -> None:
        """Fill the picture with frame n."""
        travel = self.travel_m(n)
        self._make([(level, c) for level, _ in self._levels for c in level.chunks(travel)], n)
        planes = ([picture.y], [picture.cb, picture.cr])
        for still, plane in zip(self._still, (p for some in planes for p in some), strict=True):
            plane[: len(still)] = still
        for level, colour in self._levels:
            level.draw(travel, planes[colour])
        self._look_ahead(travel)
        self._last = n

    def close(self) -> None:
        """Drop what was begun ahead; without this the interpreter waits for it at its end."""
        self._pool.shutdown(wait=False, cancel_futures=True)

    def _lay_out(self, plane: Plane, colour: bool) -> None:
        """Split the rows of a plane into sky and levels."""
        width, height = self._size
        rays = cast(self._motion, plane, width, height)
        seen = transmittance(rays.range_m) > VISIBLE
        ground = np.flatnonzero(seen)
        still = int(ground[0]) if len(ground) else plane.rows
        sky = Sky(self._clip.seed).light(self._motion, plane, width, height, still)
        codes = np.rint(codes_of_light(sky, colour)).astype(np.uint8)
        self._still.extend(codes)
        if not len(ground):
            return
        blur_m = float(self._motion.ground_speed_m_s * self._clip.exposure_s)
        kind = RowLevel if self._motion.flight == "sideways" else LineLevel
        for rows in bands(rays.sample_ahead_m, ground):
            self._levels.append((kind(self._country, rays, rows, blur_m, colour), colour))

    def _make(self, jobs: list[Job], n: int) -> None:
        """Have every chunk that a frame needs; after a jump, let what was begun end first."""
        if n not in (self._last, self._last + 1):
            for future in self._ahead.values():
                future.result()
        missing = [job for job in jobs if not job[0].holds(job[1])]
        futures = [
            self._ahead.get(job) or self._pool.submit(job[0].make, job[1]) for job in missing
        ]
        for future in futures:
            future.result()
        self._ahead = {j: f for j, f in self._ahead.items() if not f.done()}

    def _look_ahead(self, travel: float) -> None:
        """Begin the next chunk of each level, so that it is there when it comes into view."""
        for level, _ in self._levels:
            job = (level, level.chunks(travel)[-1] + 1)
            if job not in self._ahead and not level.holds(job[1]):
                self._ahead[job] = self._pool.submit(level.make, job[1])
