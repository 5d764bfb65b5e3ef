"""Frames of the orbit: one atlas read along azimuth at a moving place.

What a pixel sees never changes but for its bearing, so each pixel keeps a row of the
atlas and a place in it; a frame adds one offset to a row and reads two texels.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from functools import lru_cache
from math import radians

import numpy as np
import numpy.typing as npt

from patterns.clip import Clip
from patterns.rendering.light import code_to_light, light_to_code
from patterns.rendering.orbit_atlas import Atlas, Surface
from patterns.rendering.orbit_plan import RowPlan, plan_rows
from patterns.rendering.orbit_reader import SUBTEXELS, Reader
from patterns.rendering.orbit_view import (
    EDGE_GRID,
    look,
    whole,
    whole_azimuths,
    whole_edge_azimuths,
    whole_edges,
)
from patterns.rendering.planes import Planes, UInt8Array
from patterns.scenes.country import Country
from patterns.scenes.motion import OrbitMotion
from patterns.scenes.orbit import FAR_GROUND, NEAR_GROUND, SUBJECT, WALL, OrbitCamera
from patterns.scenes.orbit_ground import OrbitGround
from patterns.scenes.orbit_hills import OrbitWall
from patterns.scenes.orbit_subjects import OrbitSubject

__all__ = ["OrbitRenderer"]

Ints = npt.NDArray[np.int64]

LATER = 240  # frames before they are drawn that texels may be painted with others
TOGETHER = 8  # frames of a clip in order that are drawn at once: texels are fetched once for all


class OrbitRenderer:
    """Draws the orbit of a clip into pictures of `width` x `height` pixels, both even.

    The atlas holds the bearings that the clip's frames see, or all with `whole_turn`.
    Bearings are painted as they come into view, by the thread that draws: a second one would
    mostly wait for the first one's Python, and the other processor is the encoder's.

    Raises
    ------
    RequestError
        The circle runs through the subject.
    """

    def __init__(self, clip: Clip, width: int, height: int, *, whole_turn: bool = False) -> None:
        assert isinstance(clip.motion, OrbitMotion)
        self._motion, self._rate, self._seed = clip.motion, clip.rate, clip.seed
        self._exposure_s, self._size = clip.exposure_s, (width, height)
        self._clip = clip
        self._other: OrbitRenderer | None = None
        self._last = -2
        self._drawn: dict[int, Planes] = {}
        ends = [self._turned(n) for n in (0, clip.frames - 1)]
        self._light = code_to_light(np.arange(256))
        if whole_turn:
            ends = [Fraction(0), Fraction(360)]
        self._open(min(ends), max(ends))

    def _turned(self, n: int) -> Fraction:
        """Degrees that the world has turned at frame `n`, exact."""
        return Fraction(self._motion.turn_deg_s * n / self._rate)

    def _open(self, least: Fraction, greatest: Fraction) -> None:
        """Lay out the atlas for turns from `least` to `greatest` degrees."""
        self._whole = greatest - least >= 360
        if self._whole:
            least, greatest = Fraction(0), Fraction(360)
        self._range = (least, greatest)
        subject = OrbitSubject(self._motion.subject, self._seed)
        camera = OrbitCamera.of(self._motion, subject.profile, *self._size)
        # The country does not depend on the camera, and is laid out in long calls meanwhile.
        with ThreadPoolExecutor(1) as beside:
            country = beside.submit(_country, self._seed)
            luma, chroma = look(camera, 1), look(camera, 2)
        self._edges = (whole_edges(luma), whole_edges(chroma))
        seen = [luma.seen, luma.edge_seen, chroma.seen, chroma.edge_seen]
        plan, rows = plan_rows(list(zip(seen, (0, 0, 1, 1), strict=True)))
        # Only the azimuths are still needed; the rest is most of the memory in use.
        azimuths = [f(s) for s in (luma, chroma) for f in (whole_azimuths, whole_edge_azimuths)]
        for k, samples in ((0, luma), (2, chroma)):
            rows[k] = whole(samples, rows[k])
            if samples.mirrored:
                rows[k + 1] = np.tile(rows[k + 1], 2)
        del seen, luma, chroma, samples
        surfaces = _surfaces(self._seed, country.result(), camera.up_m, subject, plan)
        del country
        turn = (radians(least), radians(greatest))
        exposure = radians(abs(self._motion.turn_deg_s * self._exposure_s))
        self._atlas = Atlas(plan, surfaces, turn, exposure)
        self._texels = np.unique([group.texels for group in plan.groups])
        self._readers = [
            Reader(azimuth, row, plan, self._atlas)
            for azimuth, row in zip(azimuths, rows, strict=True)
        ]

    def draw(self, n: int, picture: Planes) -> None:
        """Write frame `n` (any integer from 0) into `picture`."""
        turned = self._turned(n)
        if not self._whole and not self._range[0] <= turned <= self._range[1]:
            self._further().draw(n, picture)
            return
        if n in self._drawn:
            kept = self._drawn[n]
            picture.y[:], picture.cb[:], picture.cr[:] = kept.y, kept.cb, kept.cr
        elif n == self._last + 1 and 0 < n < self._clip.frames - 1:
            self._drawn = self._draw_more(n, picture)
        else:
            self._draw({n: picture})
        self._last = n

    def _draw_more(self, n: int, picture: Planes) -> dict[int, Planes]:
        """Draw frame `n` into `picture`, and return those that follow it."""
        spare = list(self._drawn.values())
        more = range(n + 1, min(n + TOGETHER, self._clip.frames))
        while len(spare) < len(more):
            spare.append(Planes.blank(picture.width, picture.height))
        following = dict(zip(more, spare, strict=False))
        self._draw({n: picture, **following})
        return following

    def _draw(self, pictures: dict[int, Planes]) -> None:
        """Write frames, by number, in order."""
        turned = [self._turned(k) % 360 if self._whole else self._turned(k) for k in pictures]
        later = self._later(min(pictures))
        for some in turned:
            self._atlas.paint(radians(some), radians(some if later is None else later))
        offsets = [
            np.rint(self._texels * (float(t / 360) * SUBTEXELS)).astype(np.int64) for t in turned
        ]
        planes = [[plane.reshape(-1) for plane in (p.y, p.cb, p.cr)] for p in pictures.values()]
        self._readers[0].read(self._atlas.luma, offsets, [p[:1] for p in planes])
        self._readers[2].read(self._atlas.chroma, offsets, [p[1:] for p in planes])
        self._draw_edges(offsets, planes)

    def _later(self, n: int) -> Fraction | None:
        """How far the world will have turned in a while, if frames are asked for in order."""
        if n != self._last + 1 or n == 0:
            return None
        last = n + LATER if self._whole else self._clip.frames - 1
        return self._turned(min(n + LATER, last))

    def _further(self) -> OrbitRenderer:
        """Renderer of a whole turn, for frames outside the clip.

        One of its own: a frame inside the clip is the same whatever was drawn before it.
        """
        if self._other is None:
            self._other = OrbitRenderer(self._clip, *self._size, whole_turn=True)
        return self._other

    def _draw_edges(self, offsets: list[Ints], planes: list[list[UInt8Array]]) -> None:
        """Pixels across which the subject ends: the mean of their finer samples' light."""
        fine = EDGE_GRID * EDGE_GRID
        codes = np.empty((len(planes), 1, len(self._readers[1])), np.uint8)
        self._readers[1].read(self._atlas.luma, offsets, [list(c) for c in codes])
        both = np.empty((len(planes), 2, len(self._readers[3])), np.uint8)
        self._readers[3].read(self._atlas.chroma, offsets, [list(b) for b in both])
        for (luma, *chroma), code, values in zip(planes, codes, both, strict=True):
            light = self._light.take(code).reshape(-1, fine).mean(axis=1)
            luma[self._edges[0]] = light_to_code(light)
            total = values.reshape(2, -1, fine).sum(axis=2, dtype=np.uint16)
            for plane, mean in zip(chroma, (total + fine // 2) // fine, strict=True):
                plane[self._edges[1]] = mean.astype(np.uint8)


@lru_cache(maxsize=1)
def _country(seed: int) -> Country:
    """The country of a seed, kept for the next clip of a set."""
    return Country(seed)


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
