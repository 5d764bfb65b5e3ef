"""The orbit's texels: where they lie, and how the samples of a picture read them.

A row holds a whole turn, and at its end as many texels more as a picture sees of it: a
sample's place, which grows with the turn, then never has to be wrapped. Both planes of chroma
lie side by side, so that one look finds both.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import floor, pi
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import (
    FloatingArray,
    IndexArray,
    IntArray,
    UInt8Array,
)
from patterns.scenes.orbit.plan import RowPlan, runs

SUBTEXEL_BITS = 6
SUBTEXELS = 1 << SUBTEXEL_BITS  # a place is kept to this part of a texel
SHORT = 20  # samples of a run that is not worth repeating for
LONGEST_ROW = 1 << 18  # texels; rows of the largest pictures are half as long


class Texels:
    """Rows of codes one after the other, group by group.

    Attributes
    ----------
    codes
        Of luma, uint8 (texels, 1), and of chroma, uint8 (texels, 2): Cb and Cr.
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
        self.codes = [
            np.empty((int(sizes[coarse == plane].sum()), 1 + plane), np.uint8) for plane in (0, 1)
        ]

    def store(self, number: int, first: int, codes: list[UInt8Array]) -> None:
        """Write codes (rows, texels) of each plane of a group, of texels from `first` on."""
        group, begin, length = self._groups[number], int(self.start[number]), self.length[number]
        place, count, turn = first - int(self.first[number]), codes[0].shape[1], group.texels
        rows = self.codes[group.coarse][begin : begin + len(codes[0]) * length]
        rows = rows.reshape(len(codes[0]), length, -1)
        # Where the row goes on after a whole turn, they are needed again.
        for at in range(place - turn * floor((place + count) / turn), int(length), turn):
            low, high = max(at, 0), min(at + count, int(length))
            if low < high:
                for k, code in enumerate(codes):
                    rows[:, low:high, k] = code[:, low - at : high - at]


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
        offset = np.unique(turn, return_inverse=True)[1][group].astype(np.uint8)
        per_radian = (turn / (2 * pi))[group]
        inside = np.arange(len(group)) - np.array([g.rows[0] for g in plan.groups])[group]
        start = texels.start[group] + inside * texels.length[group]
        begin = start - texels.first[group] - 0.5
        self._blocks = [
            _block(azimuth.ravel().astype(np.float64), row, begin, per_radian, offset)
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
    """Places of samples among the texels from `base` on, and runs that move by one offset.

    Where runs are so short that repeating costs more, each sample is a run.
    """

    base: int
    place: npt.NDArray[np.int32] | IntArray
    runs: IndexArray
    lengths: IntArray | None

    def moved(self, offset: IntArray, where: IndexArray) -> npt.NDArray[np.int16]:
        """Write which texels samples lie on when rows have moved; returns how far beyond them."""
        moved = offset.astype(self.place.dtype).take(self.runs)
        if self.lengths is not None:
            moved = np.repeat(moved, self.lengths)
        place = np.add(moved, self.place, out=moved)
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
    offset: UInt8Array,
) -> _Block:
    place = np.rint((azimuth * per_radian[row] + begin[row]) * SUBTEXELS).astype(np.int64)
    base = int(place.min() >> SUBTEXEL_BITS)
    place -= base << SUBTEXEL_BITS
    # A turn never moves a sample by more than its row's length.
    small = place.max() + (LONGEST_ROW << SUBTEXEL_BITS) < 2**31
    mine = offset[row]
    starts, lengths = runs(mine)
    place = place.astype(np.int32) if small else place
    if len(mine) < SHORT * len(starts):
        return _Block(base, place, mine.astype(np.intp), None)
    return _Block(base, place, mine[starts].astype(np.intp), lengths)
