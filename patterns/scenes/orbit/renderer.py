"""Frames of the orbit: one atlas read along azimuth at a moving place.

What a pixel sees never changes but for its bearing, so each pixel keeps a row of the
atlas and a place in it; a frame adds one offset to a row and reads two texels.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import ceil, radians
from threading import get_ident

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import Float32Array, IntArray, UInt8Array
from patterns.picture.light import code_to_light, light_to_code
from patterns.picture.planes import Planes
from patterns.scenes.ground.country import Country, country_of
from patterns.scenes.orbit.atlas import Atlas, Surface
from patterns.scenes.orbit.geometry import (
    FAR_GROUND,
    NEAR_GROUND,
    SUBJECT,
    WALL,
    OrbitCamera,
)
from patterns.scenes.orbit.ground import OrbitGround
from patterns.scenes.orbit.hills import OrbitWall
from patterns.scenes.orbit.motion import OrbitMotion
from patterns.scenes.orbit.plan import RowPlan, plan_rows
from patterns.scenes.orbit.reader import SUBTEXELS, Reader
from patterns.scenes.orbit.subjects import OrbitSubject
from patterns.scenes.orbit.view import (
    EDGE_GRID,
    look,
    whole,
    whole_azimuths,
    whole_edge_azimuths,
    whole_edges,
)
from patterns.scenes.orbit.window import MOST_STEPS, STEP_DEG, STEPS_TO_A_TURN, Window
from patterns.scenes.shot import Shot

__all__ = ["OrbitRenderer"]


LATER = 240  # frames before they are drawn that texels may be painted with others


class OrbitRenderer:
    """Draws the orbit of a clip into pictures of `width` x `height` pixels, both even.

    Bearings are painted as they come into view.

    Raises
    ------
    RequestError
        The circle runs through the subject.
    """

    def __init__(self, shot: Shot, width: int, height: int) -> None:
        assert isinstance(shot.motion, OrbitMotion)
        self._motion, self._rate = shot.motion, shot.rate
        self._frames, self._last = shot.frames, -2
        self._light = code_to_light(np.arange(256))
        sight = _sight(shot.motion, shot.seed, width, height, get_ident())
        plan, self._edges = sight.plan, sight.edges
        exposure = radians(abs(shot.motion.turn_deg_s * shot.exposure_s))
        steps = min(max(ceil(abs(self._turned(shot.frames - 1)) / STEP_DEG), 1), MOST_STEPS)
        self._window = Window(plan, steps, backward=shot.motion.turn_deg_s < 0)
        self._atlas = Atlas(plan, sight.surfaces, self._window, exposure)
        self._texels = np.unique([group.texels for group in plan.groups])
        self._readers = [
            Reader(azimuth, row, plan, self._window)
            for azimuth, row in zip(sight.azimuths, sight.rows, strict=True)
        ]

    def _turned(self, n: int) -> Fraction:
        """Degrees that the world has turned at frame `n`, exact."""
        return Fraction(self._motion.turn_deg_s * n / self._rate)

    def draw(self, n: int, picture: Planes) -> None:
        """Write frame `n` (any integer from 0) into `picture`."""
        self.draw_together(n, [picture])

    def draw_together(self, n: int, pictures: Sequence[Planes]) -> None:
        """Write frames `n`, `n` + 1, ... into pictures: their texels are fetched once for all."""
        rest = list(pictures)
        try:
            while rest:
                if not self._window.covers(self._turned(n)):
                    self._atlas.move(self._turned(n))
                count = 1
                while count < len(rest) and self._window.covers(self._turned(n + count)):
                    count += 1
                self._draw(n, rest[:count])
                n, rest = n + count, rest[count:]
        except BaseException:
            self._atlas.clear()  # the window may have moved in part
            raise

    def _paint(self, n: int) -> None:
        """Have what frame `n` sees painted: if frames come in order, more at a time."""
        in_order = 0 < n == self._last + 1
        later = max(n, min(n + LATER, self._frames - 1)) if in_order else n
        self._last = n
        self._atlas.paint(radians(self._turned(n)), radians(self._turned(later)))

    def _draw(self, n: int, pictures: Sequence[Planes]) -> None:
        """Write frames that lie in the atlas' window."""
        numbers = range(n, n + len(pictures))
        for some in numbers:
            self._paint(some)
        offsets = [self._moved(self._turned(some)) for some in numbers]
        planes = [[plane.reshape(-1) for plane in (p.y, p.cb, p.cr)] for p in pictures]
        self._readers[0].read(self._window.luma, offsets, [p[:1] for p in planes])
        self._readers[2].read(self._window.chroma, offsets, [p[1:] for p in planes])
        self._draw_edges(offsets, planes)

    def _moved(self, turned: Fraction) -> IntArray:
        """By how many texels x SUBTEXELS rows of each length have moved within the window."""
        steps, rest = divmod(turned, STEP_DEG)
        whole = (int(steps) - self._window.begin) * self._texels // STEPS_TO_A_TURN
        part = np.rint(self._texels * (float(rest / 360) * SUBTEXELS)).astype(np.int64)
        return np.asarray(whole * SUBTEXELS + part, np.int64)

    def _draw_edges(self, offsets: list[IntArray], planes: list[list[UInt8Array]]) -> None:
        """Pixels across which the subject ends: the mean of their finer samples' light."""
        fine = EDGE_GRID * EDGE_GRID
        codes = np.empty((len(planes), 1, len(self._readers[1])), np.uint8)
        self._readers[1].read(self._window.luma, offsets, [list(c) for c in codes])
        both = np.empty((len(planes), 2, len(self._readers[3])), np.uint8)
        self._readers[3].read(self._window.chroma, offsets, [list(b) for b in both])
        for (luma, *chroma), code, values in zip(planes, codes, both, strict=True):
            light = self._light.take(code).reshape(-1, fine).mean(axis=1)
            luma[self._edges[0]] = light_to_code(light)
            total = values.reshape(2, -1, fine).sum(axis=2, dtype=np.uint16)
            for plane, mean in zip(chroma, (total + fine // 2) // fine, strict=True):
                plane[self._edges[1]] = mean.astype(np.uint8)


@dataclass(frozen=True)
class _Sight:
    """What the picture sees: the same at every rate and shutter.

    Attributes
    ----------
    plan
        Rows of the atlas.
    azimuths, rows
        Of the samples of luma, of its edges, of chroma and of its edges.
    edges
        Pixels on an edge of the subject, in luma and in chroma.
    surfaces
        What is seen, with the country that has been made of it.
    """

    plan: RowPlan
    azimuths: list[Float32Array]
    rows: list[npt.NDArray[np.int32]]
    edges: tuple[IntArray, IntArray]
    surfaces: dict[int, Surface]


@lru_cache(maxsize=1)
def _sight(
    motion: OrbitMotion,
    seed: int,
    width: int,
    height: int,
    thread: int,  # noqa: ARG001 - what is kept must not be filled by two at once
) -> _Sight:
    """What a motion's picture sees, kept for the next clip of a set."""
    subject = OrbitSubject(motion.subject, seed)
    camera = OrbitCamera.of(motion, subject.profile, width, height)
    # The country does not depend on the camera, and is laid out in long calls meanwhile.
    with ThreadPoolExecutor(1) as beside:
        country = beside.submit(country_of, seed)
        luma, chroma = look(camera, 1), look(camera, 2)
    seen = [luma.seen, luma.edge_seen, chroma.seen, chroma.edge_seen]
    plan, rows = plan_rows(list(zip(seen, (0, 0, 1, 1), strict=True)))
    # Only the azimuths are still needed; the rest is most of the memory in use.
    azimuths = [f(s) for s in (luma, chroma) for f in (whole_azimuths, whole_edge_azimuths)]
    short = [row.astype(np.int32) for row in rows]
    for k, samples in ((0, luma), (2, chroma)):
        short[k] = whole(samples, short[k])
        if samples.mirrored:
            short[k + 1] = np.tile(short[k + 1], 2)
    surfaces = _surfaces(seed, country.result(), camera.up_m, subject, plan)
    return _Sight(plan, azimuths, short, (whole_edges(luma), whole_edges(chroma)), surfaces)


def _surfaces(
    seed: int, country: Country, up_m: float, subject: OrbitSubject, plan: RowPlan
) -> dict[int, Surface]:
    surfaces: dict[int, Surface] = {
        WALL: OrbitWall(seed, up_m),
        SUBJECT: subject,
    }
    kinds = [plan.groups[chunk.groups[0]].surface for chunk in plan.chunks]
    ground = OrbitGround(country, seed, subject.profile)
    ground.lay_out(
        [
            (chunk.middles, chunk.spans)
            for chunk, kind in zip(plan.chunks, kinds, strict=True)
            if kind in (NEAR_GROUND, FAR_GROUND)
        ]
    )
    surfaces[NEAR_GROUND] = surfaces[FAR_GROUND] = ground
    return surfaces
