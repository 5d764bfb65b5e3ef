"""Frames of the orbit: one atlas read along azimuth at a moving place.

What a pixel sees never changes but for its bearing, so each pixel keeps a row of the
atlas and a place in it; a frame adds one offset to a row and reads two texels.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from math import pi, radians
from threading import get_ident
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import FloatingArray, IndexArray, IntArray, UInt8Array
from patterns.picture.planes import Planes, code_to_light, light_to_code
from patterns.scenes.ground.country import Country, country_of
from patterns.scenes.ground.hills import Wall
from patterns.scenes.orbit.atlas import Atlas, Surface, Texels
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
from patterns.scenes.orbit.plan import RowPlan, plan_rows, runs
from patterns.scenes.orbit.subjects import OrbitSubject
from patterns.scenes.pattern import Shot, TogetherRenderer

SUBTEXEL_BITS = 6
SUBTEXELS = 1 << SUBTEXEL_BITS  # a place is kept to this part of a texel
LONGEST_ROW = 1 << 18  # texels; rows of the largest pictures are half as long
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


class Reader:
    """Reads one plane's texels for sets of samples, between texels linearly.

    `samples`: azimuths, and rows of the atlas, of what is read together.
    A sample keeps its place among the texels; all groups with the same number of texels to a
    turn move by the same offset, and samples beside each other mostly belong to one, so
    that runs of them are kept.
    """

    def __init__(
        self, samples: list[tuple[FloatingArray, IntArray]], plan: RowPlan, texels: Texels
    ) -> None:
        group = plan.group_of_row
        turn = np.array([g.texels for g in plan.groups])
        offset = np.unique(turn, return_inverse=True)[1][group]
        per_radian = (turn / (2 * pi))[group]
        inside = np.arange(len(group)) - np.array([g.rows[0] for g in plan.groups])[group]
        start = texels.start[group] + inside * texels.length[group]
        begin = start - texels.first[group] - 0.5
        self._blocks = [
            _block(azimuth.ravel().astype(np.float64), row.ravel(), begin, per_radian, offset)
            for azimuth, row in samples
        ]
        self._most = max(len(block.place) for block in self._blocks)

    def __len__(self) -> int:
        return sum(len(block.place) for block in self._blocks)

    def read(
        self,
        codes: UInt8Array,
        offsets: IntArray,
        pictures: Sequence[Sequence[UInt8Array]],
    ) -> None:
        """Fill pictures, each one flat plane of luma or two of chroma, from codes of the texels.

        `offsets`: how far rows of each length (columns) have moved for each picture (rows), in
        texels x SUBTEXELS.
        """
        depth = codes.shape[1]
        texels = codes.view(f"<u{depth}")[:, 0]
        # Memory that is used again for each block stays in cache, as do the texels that the
        # next picture reads too.
        room = np.empty(self._most, np.intp)
        pair = np.empty((2, len(room)), texels.dtype)
        begin = 0
        for block in self._blocks:
            end = begin + len(block.place)
            where = room[: end - begin]
            for offset, planes in zip(offsets, pictures, strict=True):
                part = block.moved(offset, where)
                own, following = (
                    texels[block.base + k :]
                    .take(where, out=pair[k, : end - begin], mode="clip")
                    .view(np.uint8)
                    .reshape(-1, depth)
                    for k in (0, 1)
                )
                for k, plane in enumerate(planes):
                    plane[begin:end] = _between(own[:, k], following[:, k], part)
            begin = end


class _Block(NamedTuple):
    """Places of samples among the texels from `base` on, and runs that move by one offset."""

    base: int
    place: npt.NDArray[np.int32] | IntArray
    runs: IntArray  # number of each run's offset
    lengths: IntArray  # of runs, in samples

    def moved(self, offset: IntArray, where: IndexArray) -> npt.NDArray[np.int16]:
        """Write which texels samples lie on when rows have moved; returns how far beyond them."""
        place = np.repeat(offset.astype(self.place.dtype).take(self.runs), self.lengths)
        place += self.place
        np.right_shift(place, SUBTEXEL_BITS, out=where)
        part: npt.NDArray[np.int16] = place.astype(np.int16)
        part &= SUBTEXELS - 1
        return part


def _between(own: UInt8Array, following: UInt8Array, part: npt.NDArray[np.int16]) -> UInt8Array:
    """Codes between texels, at parts of SUBTEXELS of the way."""
    low, code = own.astype(np.int16), following.astype(np.int16)
    code -= low
    code *= part
    code += SUBTEXELS // 2
    code >>= SUBTEXEL_BITS
    code += low
    return code.astype(np.uint8)


def _block(
    azimuth: FloatingArray,
    row: IntArray,
    begin: FloatingArray,
    per_radian: FloatingArray,
    offset: IntArray,
) -> _Block:
    place = np.rint((azimuth * per_radian[row] + begin[row]) * SUBTEXELS).astype(np.int64)
    base = int(place.min() >> SUBTEXEL_BITS)
    place -= base << SUBTEXEL_BITS
    # A turn never moves a sample by more than its row's length.
    small = place.max() + (LONGEST_ROW << SUBTEXEL_BITS) < 2**31
    starts, lengths = runs(offset[row])
    place = place.astype(np.int32) if small else place
    return _Block(base, place, offset[row[starts]], lengths)


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
        planes = look(camera, 1), look(camera, 2)
        sets = [(k, seen) for k in (0, 1) for seen in (planes[k].seen, planes[k].edge_seen)]
        plan, rows = plan_rows([(some, k) for k, seen in sets for some in seen])
        texels, row_of = Texels(plan), iter(rows)
        samples = [
            [(planes[k].azimuths(some), planes[k].rows(some, next(row_of))) for some in seen]
            for k, seen in sets
        ]
        readers = [Reader(some, plan, texels) for some in samples]
    surfaces = _surfaces(seed, country.result(), camera.up_m, subject, plan)
    return _Sight(plan, readers, (planes[0].edges, planes[1].edges), surfaces)


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
