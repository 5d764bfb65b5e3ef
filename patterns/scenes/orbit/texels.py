"""The orbit's texels: where they lie, and how the samples of a picture read them.

A row holds a whole turn, and at its end as many texels more as a picture sees of it: a
sample's place, which grows with the turn, then never has to be wrapped.
"""

from __future__ import annotations

from math import floor, pi
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import (
    Float32Array,
    FloatingArray,
    IndexArray,
    IntArray,
    UInt8Array,
)
from patterns.scenes.orbit.plan import RowPlan, runs

SUBTEXEL_BITS = 6
SUBTEXELS = 1 << SUBTEXEL_BITS  # a place is kept to this part of a texel
BLOCK = 65536  # samples at once: the working arrays, and the texels read, stay in cache
LONGEST_ROW = 1 << 18  # texels; rows of the largest pictures are half as long


class Texels:
    """Rows of codes one after the other, group by group.

    Attributes
    ----------
    luma, chroma
        Planes of uint8 (texels,): Y', and Cb and Cr.
    start
        Place of each group's first texel in its planes.
    length
        Texels of each row of a group.
    first
        Number, counted from bearing 0, of the texel at the start of a group's rows.
    """

    def __init__(self, plan: RowPlan) -> None:
        self._groups = plan.groups
        turn = np.array([group.texels for group in plan.groups])
        middle, greatest = (
            np.array([getattr(group, name) for group in plan.groups]) * turn / (2 * pi)
            for name in ("middle", "greatest")
        )
        self.first = np.floor(middle - greatest - 0.5).astype(np.int64) - 1
        self.length = np.ceil(middle + greatest + turn - 0.5).astype(np.int64) + 3 - self.first
        sizes = self.length * np.array([len(group.across) for group in plan.groups])
        coarse = np.array([group.coarse for group in plan.groups])
        self.start = np.zeros_like(sizes)
        for plane in (0, 1):
            ends = np.cumsum(sizes[coarse == plane])
            self.start[coarse == plane] = ends - sizes[coarse == plane]
        # Memory that is never written to is never taken from the machine.
        luma, chroma = (int(sizes[coarse == plane].sum()) for plane in (0, 1))
        self.luma = (np.empty(luma, np.uint8),)
        self.chroma = (np.empty(chroma, np.uint8), np.empty(chroma, np.uint8))

    def store(self, number: int, first: int, codes: list[UInt8Array]) -> None:
        """Write codes (rows, texels) of each plane of a group, of texels from `first` on."""
        group, begin, length = self._groups[number], int(self.start[number]), self.length[number]
        place, count, turn = first - int(self.first[number]), codes[0].shape[1], group.texels
        for plane, code in zip(self.chroma if group.coarse else self.luma, codes, strict=True):
            rows = plane[begin : begin + len(code) * length].reshape(len(code), length)
            # Where the row goes on after a whole turn, they are needed again.
            for at in range(place - turn * floor((place + count) / turn), int(length), turn):
                low, high = max(at, 0), min(at + count, int(length))
                if low < high:
                    rows[:, low:high] = code[:, low - at : high - at]


class Reader:
    """Reads one plane's texels for a list of samples, between texels linearly.

    A sample keeps its place among the texels; all groups with the same number of texels to a
    turn move by the same offset, and samples beside each other mostly belong to one, so
    that runs of them are kept.
    """

    def __init__(
        self,
        azimuth: Float32Array,
        row: npt.NDArray[np.int32],
        plan: RowPlan,
        texels: Texels,
    ) -> None:
        group = plan.group_of_row
        turn = np.array([g.texels for g in plan.groups])
        offset = np.unique(turn, return_inverse=True)[1][group].astype(np.uint8)
        per_radian = (turn / (2 * pi))[group]
        inside = np.arange(len(group)) - np.array([g.rows[0] for g in plan.groups])[group]
        start = texels.start[group] + inside * texels.length[group]
        begin = start - texels.first[group] - 0.5
        self._length = len(azimuth)
        self._blocks = [
            _block(azimuth[part].astype(np.float64), row[part], begin, per_radian, offset)
            for part in (slice(k, k + BLOCK) for k in range(0, len(azimuth), BLOCK))
        ]

    def __len__(self) -> int:
        return self._length

    def read(
        self, codes: tuple[UInt8Array, ...], offset: IntArray, out: tuple[UInt8Array, ...]
    ) -> None:
        """Fill flat planes from as many planes of texels.

        `offset` is how far rows of each length have moved, in texels x SUBTEXELS.
        """
        work = _Scratch.of(min(BLOCK, self._length))
        begin = 0
        for block in self._blocks:
            count = len(block.place)
            end = begin + count
            some = work.first(count)
            place = np.repeat(offset.astype(block.place.dtype)[block.runs], block.lengths)
            place += block.place
            np.copyto(some.part, place, casting="unsafe")
            np.bitwise_and(some.part, SUBTEXELS - 1, out=some.part)
            place >>= SUBTEXEL_BITS
            np.copyto(some.where, place)
            for plane, filled in zip(codes, out, strict=True):
                np.copyto(filled[begin:end], _mixed(plane[block.base :], some), casting="unsafe")
            begin = end


class _Scratch(NamedTuple):
    """Working arrays of a block: places, parts beyond them, two codes as found and widened."""

    where: IndexArray
    part: npt.NDArray[np.int16]
    found: UInt8Array
    low: npt.NDArray[np.int16]
    high: npt.NDArray[np.int16]

    @classmethod
    def of(cls, count: int) -> _Scratch:
        part, low, high = np.empty((3, count), np.int16)
        return cls(np.empty(count, np.intp), part, np.empty(count, np.uint8), low, high)

    def first(self, count: int) -> _Scratch:
        """The first `count` of each."""
        where, part, found, low, high = self
        return _Scratch(where[:count], part[:count], found[:count], low[:count], high[:count])


def _mixed(codes: UInt8Array, work: _Scratch) -> npt.NDArray[np.int16]:
    """Code between each place's own and the next."""
    for shift, wide in ((0, work.low), (1, work.high)):
        np.copyto(wide, codes[shift:].take(work.where, out=work.found, mode="clip"))
    work.high[:] -= work.low
    work.high[:] *= work.part
    work.high[:] += SUBTEXELS // 2
    work.high[:] >>= SUBTEXEL_BITS
    work.high[:] += work.low
    return work.high


class _Block(NamedTuple):
    """Places of samples among the texels from `base` on, and runs that move by one offset."""

    base: int
    place: npt.NDArray[np.int32] | IntArray
    runs: UInt8Array
    lengths: IntArray


def _block(
    azimuth: FloatingArray,
    row: npt.NDArray[np.int32],
    begin: FloatingArray,
    per_radian: FloatingArray,
    offset: UInt8Array,
) -> _Block:
    place = np.rint((azimuth * per_radian[row] + begin[row]) * SUBTEXELS).astype(np.int64)
    base = int(place.min() >> SUBTEXEL_BITS)
    place -= base << SUBTEXEL_BITS
    # A turn never moves a sample by more than its row's length.
    small = place.max() + (LONGEST_ROW << SUBTEXEL_BITS) < 2**31
    mine = offset[row]
    starts, lengths = runs(mine)
    return _Block(base, place.astype(np.int32) if small else place, mine[starts], lengths)
