"""Frames of the orbit: one atlas read along azimuth at a moving place.

What a pixel sees never changes but for its bearing, so each pixel keeps a row of the
atlas and a place in it; a frame adds one offset to a row and reads two texels.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from math import radians
from threading import get_ident

import numpy as np

from patterns.picture.arrays import IntArray, UInt8Array
from patterns.picture.light import code_to_light, light_to_code
from patterns.picture.planes import Planes
from patterns.scenes.ground.country import Country, country_of
from patterns.scenes.ground.hills import Wall
from patterns.scenes.orbit.atlas import Atlas, Surface
from patterns.scenes.orbit.geometry import (
    EDGE_GRID,
    FAR_GROUND,
    NEAR_GROUND,
    SUBJECT,
    OrbitCamera,
    look,
)
from patterns.scenes.orbit.ground import grounds
from patterns.scenes.orbit.motion import OrbitMotion
from patterns.scenes.orbit.plan import RowPlan, plan_rows
from patterns.scenes.orbit.subjects import OrbitSubject
from patterns.scenes.orbit.texels import SUBTEXELS, Reader, Texels
from patterns.scenes.pattern import Shot
from patterns.scenes.together import TogetherRenderer

LATER = 240  # frames before they are drawn that texels may be painted with others


class OrbitRenderer(TogetherRenderer):
    """Draws the orbit of a clip into pictures of `width` x `height` pixels, both even.

    Bearings are painted as they come into view.
    Raises `RequestError`: the circle runs through the subject.
    """

    def __init__(self, shot: Shot, width: int, height: int) -> None:
        assert isinstance(shot.motion, OrbitMotion)
        super().__init__(shot.frames)
        self._turn_deg = shot.motion.turn_deg_s / shot.rate
        self._light = code_to_light(np.arange(256))
        sight = _sight(shot.motion, shot.seed, width, height, get_ident())
        self._edges = sight.edges
        exposure = radians(abs(shot.motion.turn_deg_s * shot.exposure_s))
        self._atlas = Atlas(sight.plan, sight.surfaces, exposure)
        self._lengths = np.array(sorted({group.texels for group in sight.plan.groups}))
        self._readers = sight.readers

    def _draw_some(self, numbers: range, pictures: Sequence[Planes]) -> int:
        for n in numbers:
            # in order, more is painted at a time
            later = max(n, min(n + LATER, self._frames - 1)) if len(numbers) > 1 else n
            self._atlas.paint(*(radians(self._turn_deg * number) for number in (n, later)))
        # a turn is exact, and less than one, before it is rounded
        turns = np.array([float(self._turn_deg * n / 360 % 1) for n in numbers])
        offsets = np.rint(np.outer(turns * SUBTEXELS, self._lengths)).astype(np.int64)
        self._draw_luma(offsets, [picture.y.reshape(-1) for picture in pictures])
        self._draw_chroma(
            offsets, [(picture.cb.reshape(-1), picture.cr.reshape(-1)) for picture in pictures]
        )
        return len(numbers)

    def _draw_luma(self, offsets: IntArray, planes: list[UInt8Array]) -> None:
        """Pixels across which the subject ends are the mean of their finer samples' light."""
        self._read(0, offsets, [(luma,) for luma in planes])
        codes = np.empty((len(offsets), len(self._readers[1])), np.uint8)
        self._read(1, offsets, [(code,) for code in codes])
        for luma, code in zip(planes, codes, strict=True):
            light = self._light.take(code).reshape(EDGE_GRID**2, -1)
            luma[self._edges[0]] = light_to_code(light.mean(axis=0))

    def _draw_chroma(self, offsets: IntArray, planes: list[tuple[UInt8Array, UInt8Array]]) -> None:
        self._read(2, offsets, planes)
        codes = np.empty((len(offsets), 2, len(self._readers[3])), np.uint8)
        self._read(3, offsets, [(cb, cr) for cb, cr in codes])
        fine = EDGE_GRID**2
        for pair, both in zip(planes, codes, strict=True):
            total = both.reshape(2, fine, -1).sum(axis=1, dtype=np.uint16)
            for plane, mean in zip(pair, (total + fine // 2) // fine, strict=True):
                plane[self._edges[1]] = mean.astype(np.uint8)

    def _read(
        self, which: int, offsets: IntArray, pictures: Sequence[Sequence[UInt8Array]]
    ) -> None:
        self._readers[which].read(self._atlas.texels.codes[which // 2], offsets, pictures)


@dataclass(frozen=True)
class _Sight:
    """What the picture sees: the same at every rate and shutter."""

    plan: RowPlan  # rows of the atlas
    readers: list[Reader]  # of the samples of luma, of its edges, of chroma and of its edges
    edges: tuple[IntArray, IntArray]  # pixels on an edge of the subject, in luma and in chroma
    surfaces: list[Surface]  # of each chunk, with the country that has been made of it


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
        plan, rows = plan_rows(
            [(part, number // 2) for number, parts in enumerate(seen) for part in parts]
        )
        texels, row_of = Texels(plan), iter(rows)
        readers = [
            Reader([(part.azimuth, next(row_of)) for part in parts], plan, texels) for parts in seen
        ]
    surfaces = _surfaces(seed, country.result(), camera.up_m, subject, plan)
    return _Sight(plan, readers, (luma.edges, chroma.edges), surfaces)


def _surfaces(
    seed: int, country: Country, up_m: float, subject: OrbitSubject, plan: RowPlan
) -> list[Surface]:
    """What each chunk of the plan is painted from."""
    kinds = [plan.groups[chunk.groups[0]].surface for chunk in plan.chunks]
    wall = Wall(seed, up_m)
    surfaces: list[Surface] = [subject if kind == SUBJECT else wall for kind in kinds]
    ground = [k for k, kind in enumerate(kinds) if kind in (NEAR_GROUND, FAR_GROUND)]
    cells = [(plan.chunks[k].middles, plan.chunks[k].spans) for k in ground]
    for k, level in zip(ground, grounds(country, seed, subject.profile, cells), strict=True):
        surfaces[k] = level
    return surfaces
