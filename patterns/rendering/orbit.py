"""Frames of the orbit: one atlas read along azimuth at a moving place.

What a pixel sees never changes but for its bearing, so each pixel keeps a row of the
atlas and a place in it; a frame adds one offset to a row and reads two texels.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from math import pi, radians
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from patterns.clip import Clip
from patterns.rendering.ahead import Ahead
from patterns.rendering.light import code_to_light, light_to_code
from patterns.rendering.orbit_atlas import Atlas, Surface
from patterns.rendering.orbit_plan import RowPlan, plan_rows
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
Floats = npt.NDArray[np.floating]
Pairs = npt.NDArray[np.uint16] | npt.NDArray[np.uint32]

SUBTEXEL_BITS = 6
SUBTEXELS = 1 << SUBTEXEL_BITS  # a place is kept to this part of a texel
BLOCK = 32768  # pixels at once: the working arrays stay in cache
AHEAD, LATER = 24, 240  # frames before they are drawn that texels are begun, or may be
FETCH = 7  # samples apart, few of which lie in one line of the cache
LONGEST_ROW = 1 << 18  # texels; rows of the largest pictures are half as long


class _Reader:
    """Reads one plane's texels for a list of samples, between texels linearly.

    A sample keeps its place in the atlas; all groups with the same number of texels to a
    turn move by the same offset, and samples beside each other mostly belong to one, so
    that runs of them are kept.
    """

    def __init__(
        self, azimuth: npt.NDArray[np.float32], row: Ints, plan: RowPlan, atlas: Atlas
    ) -> None:
        group = plan.group_of_row
        texels = np.array([g.texels for g in plan.groups])
        offset = np.unique(texels, return_inverse=True)[1][group].astype(np.uint8)
        per_radian = (texels / (2 * pi))[group]
        inside = np.arange(len(group)) - np.array([g.rows[0] for g in plan.groups])[group]
        start = atlas.start[group] + inside * atlas.length[group]
        begin = start - atlas.first_texel[group] - 0.5
        self._length, self._back = len(azimuth), False
        self._blocks = [
            _block(azimuth[part].astype(np.float64), row[part], begin, per_radian, offset)
            for part in (slice(k, k + BLOCK) for k in range(0, len(azimuth), BLOCK))
        ]

    def __len__(self) -> int:
        return self._length

    def read(self, pairs: Pairs, offsets: Ints, out: list[UInt8Array]) -> None:
        """Fill flat `out`: one plane from luma's pairs, or two from chroma's.

        `offsets` is how far each group has moved, in texels x SUBTEXELS.
        """
        where, found = np.empty(BLOCK, np.intp), np.empty(BLOCK, pairs.dtype)
        # There and back: what was read last is still in the cache when the next frame begins.
        self._back = not self._back
        for number in range(len(self._blocks))[:: -1 if self._back else 1]:
            block = self._blocks[number]
            n, begin = len(block.place), number * BLOCK
            place = np.repeat(offsets.astype(block.place.dtype)[block.runs], block.lengths)
            place += block.place
            np.copyto(where[:n], place >> SUBTEXEL_BITS)
            here = pairs[block.base :]
            here.take(where[:n:FETCH], mode="clip")  # brings in what is read next, faster
            here.take(where[:n], out=found[:n], mode="clip")
            if len(out) == 1:
                code = _mix(found[:n].view(np.uint16), place.astype(np.int16) & (SUBTEXELS - 1))
                np.copyto(out[0][begin : begin + n], code, casting="unsafe")
                continue
            both = _mix_two(
                found[:n].view(np.uint32), place.astype(np.uint32) & np.uint32(SUBTEXELS - 1)
            )
            for column, plane in enumerate(out):
                plane[begin : begin + n] = both[:, 2 * column]


class _Block(NamedTuple):
    """Places of samples in the atlas from `base` on, and runs that move by one offset."""

    base: int
    place: npt.NDArray[np.int32] | npt.NDArray[np.int64]
    runs: npt.NDArray[np.uint8]
    lengths: Ints


def _block(
    azimuth: Floats, row: Ints, begin: Floats, per_radian: Floats, offset: npt.NDArray[np.uint8]
) -> _Block:
    place = np.rint((azimuth * per_radian[row] + begin[row]) * SUBTEXELS).astype(np.int64)
    # A turn never moves a sample by more than its row's end, far less than what is left.
    base = int(place.min() >> SUBTEXEL_BITS) - LONGEST_ROW
    base = max(base, 0)
    place -= base << SUBTEXEL_BITS
    small = place.max() + (LONGEST_ROW << SUBTEXEL_BITS) < 2**31
    mine = offset[row]
    starts = np.flatnonzero(np.concatenate([[True], mine[1:] != mine[:-1]]))
    lengths = np.diff(np.append(starts, len(mine)))
    return _Block(base, place.astype(np.int32) if small else place, mine[starts], lengths)


def _mix(pair: npt.NDArray[np.uint16], part: npt.NDArray[np.int16]) -> npt.NDArray[np.int16]:
    """Code between the two of each pair (low byte first), at `part` of SUBTEXELS."""
    low = np.bitwise_and(pair, 255).view(np.int16)
    high = np.right_shift(pair, 8).view(np.int16)
    high -= low
    high *= part
    high += SUBTEXELS // 2
    high >>= SUBTEXEL_BITS
    high += low
    return high


def _mix_two(pair: npt.NDArray[np.uint32], part: npt.NDArray[np.uint32]) -> UInt8Array:
    """As `_mix` of two pairs at once, each in 16 bits: code, 0, code, 0 of each sample."""
    low = np.bitwise_and(pair, 0xFF00FF)
    high = np.right_shift(pair, 8)
    high &= 0xFF00FF
    high *= part
    low *= SUBTEXELS - part
    low += high
    low += (SUBTEXELS // 2) * 0x10001
    low >>= SUBTEXEL_BITS
    return low.view(np.uint8).reshape(-1, 4)


class OrbitRenderer:
    """Draws the orbit of a clip into pictures of `width` x `height` pixels, both even.

    The atlas holds the bearings that the clip's frames see, or all with `whole_turn`.
    Frames drawn in order find it painted: that is done ahead, by threads.

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
        ends = [self._turned(n) for n in (0, clip.frames - 1)]
        self._light = code_to_light(np.arange(256))
        if whole_turn:
            ends = [Fraction(0), Fraction(360)]
        self._pool = Ahead("orbit")
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
        # The country does not depend on the camera: it is laid out meanwhile.
        country = self._pool.submit(_country, self._seed)
        luma, chroma = look(camera, 1, self._pool), look(camera, 2, self._pool)
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
        self._atlas.begin(0.0, 0.0, self._pool)
        self._texels = np.unique([group.texels for group in plan.groups])
        self._readers = [
            _Reader(azimuth, row, plan, self._atlas)
            for azimuth, row in zip(azimuths, rows, strict=True)
        ]

    def close(self) -> None:
        """Drop what was begun ahead. May be called more than once, or not at all."""
        self._pool.close()
        if self._other is not None:
            self._other.close()

    def draw(self, n: int, picture: Planes) -> None:
        """Write frame `n` (any integer from 0) into `picture`."""
        turned = self._turned(n)
        if not self._whole and not self._range[0] <= turned <= self._range[1]:
            self._further().draw(n, picture)
            return
        if self._whole:
            turned %= 360
        self._paint(n, turned)
        offsets = np.rint(self._texels * (float(turned / 360) * SUBTEXELS)).astype(np.int64)
        luma, chroma = self._atlas.luma, self._atlas.chroma
        y, cb, cr = (plane.reshape(-1) for plane in (picture.y, picture.cb, picture.cr))
        self._readers[0].read(luma, offsets, [y])
        self._readers[2].read(chroma, offsets, [cb, cr])
        self._draw_edges(offsets, (y, cb, cr))

    def _paint(self, n: int, turned: Fraction) -> None:
        """Have painted what a frame reads; of frames in order, begin what follows."""
        self._atlas.finish(radians(turned), self._pool)
        if n == self._last + 1 and (n == 1 or n % (AHEAD // 2) == 0):
            last = n + LATER if self._whole else self._clip.frames - 1
            soon, later = (self._turned(min(n + k, last)) for k in (AHEAD, LATER))
            self._atlas.begin(radians(soon), radians(later), self._pool)
        self._last = n

    def _further(self) -> OrbitRenderer:
        """Renderer of a whole turn, for frames outside the clip.

        One of its own: a frame inside the clip is the same whatever was drawn before it.
        """
        if self._other is None:
            self._other = OrbitRenderer(self._clip, *self._size, whole_turn=True)
        return self._other

    def _draw_edges(self, offsets: Ints, planes: tuple[UInt8Array, ...]) -> None:
        """Pixels across which the subject ends: the mean of their finer samples' light."""
        fine = EDGE_GRID * EDGE_GRID
        codes = np.empty(len(self._readers[1]), np.uint8)
        self._readers[1].read(self._atlas.luma, offsets, [codes])
        light = self._light.take(codes).reshape(-1, fine).mean(axis=1)
        planes[0][self._edges[0]] = light_to_code(light)
        both = [np.empty(len(self._readers[3]), np.uint8) for _ in range(2)]
        self._readers[3].read(self._atlas.chroma, offsets, both)
        for plane, values in zip(planes[1:], both, strict=True):
            total = values.reshape(-1, fine).sum(axis=1, dtype=np.uint16)
            plane[self._edges[1]] = ((total + fine // 2) // fine).astype(np.uint8)


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
