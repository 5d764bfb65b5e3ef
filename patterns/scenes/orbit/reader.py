"""Reading the orbit's atlas: each sample has a place in it, and a frame one offset to a row.

A pair of neighbouring texels is taken with one read and mixed by the rest of the place.
"""

from __future__ import annotations

from math import pi
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import (
    Float32Array,
    FloatingArray,
    IndexArray,
    IntArray,
    UInt8Array,
    UInt32Array,
)
from patterns.scenes.orbit.plan import RowPlan, runs
from patterns.scenes.orbit.window import Window

__all__ = ["SUBTEXELS", "Reader"]

Pairs = npt.NDArray[np.uint16] | UInt32Array

SUBTEXEL_BITS = 6
SUBTEXELS = 1 << SUBTEXEL_BITS  # a place is kept to this part of a texel
BLOCK = 65536  # pixels at once: the working arrays, and the texels read, stay in cache
FETCH = 7  # samples apart, few of which lie in one line of the cache
LONGEST_ROW = 1 << 18  # texels; rows of the largest pictures are half as long
TWO_CODES = 0xFF00FF  # two codes, each in 16 of 32 bits


class Reader:
    """Reads one plane's texels for a list of samples, between texels linearly.

    A sample keeps its place in the atlas; all groups with the same number of texels to a
    turn move by the same offset, and samples beside each other mostly belong to one, so
    that runs of them are kept.
    """

    def __init__(
        self,
        azimuth: Float32Array,
        row: npt.NDArray[np.int32],
        plan: RowPlan,
        window: Window,
    ) -> None:
        group = plan.group_of_row
        texels = np.array([g.texels for g in plan.groups])
        offset = np.unique(texels, return_inverse=True)[1][group].astype(np.uint8)
        per_radian = (texels / (2 * pi))[group]
        inside = np.arange(len(group)) - np.array([g.rows[0] for g in plan.groups])[group]
        start = window.start[group] + inside * window.length[group]
        begin = start - window.first_texel[group] - 0.5
        self._length = len(azimuth)
        self._blocks = [
            _block(azimuth[part].astype(np.float64), row[part], begin, per_radian, offset)
            for part in (slice(k, k + BLOCK) for k in range(0, len(azimuth), BLOCK))
        ]

    def __len__(self) -> int:
        return self._length

    def read(self, pairs: Pairs, offsets: list[IntArray], out: list[list[UInt8Array]]) -> None:
        """Fill flat planes of some frames: one of each from luma's pairs, two from chroma's.

        `offsets` is how far each group has moved in each frame, in texels x SUBTEXELS.
        Frames that follow each other read nearly the same texels: those of one block are
        still in the cache for the next frame.
        """
        scratch = _Scratch.of(min(BLOCK, self._length), pairs.dtype)
        begin = 0
        for block in self._blocks:
            here, part = pairs[block.base :], slice(begin, begin + len(block.place))
            work = scratch.first(len(block.place), block.place.dtype)
            for number, (offset, planes) in enumerate(zip(offsets, out, strict=True)):
                moved = offset.astype(block.place.dtype)[block.runs]
                np.add(np.repeat(moved, block.lengths), block.place, out=work.place)
                np.right_shift(work.place, SUBTEXEL_BITS, out=work.whole)
                np.copyto(work.where, work.whole)
                if number == 0:
                    here.take(work.where[::FETCH], mode="clip")  # brings in what is read next
                here.take(work.where, out=work.found, mode="clip")
                if len(planes) == 1:
                    np.copyto(planes[0][part], _mix(work), casting="unsafe")
                else:
                    both = _mix_two(work).view(np.uint8).reshape(-1, 4)
                    planes[0][part], planes[1][part] = both[:, 0], both[:, 2]
            begin = part.stop


class _Scratch(NamedTuple):
    """Working arrays of a block, of one length: places, what is found there, and its mixture."""

    place: npt.NDArray[Any]
    whole: npt.NDArray[Any]
    where: IndexArray
    found: npt.NDArray[Any]
    low: npt.NDArray[Any]
    part: npt.NDArray[Any]

    @classmethod
    def of(cls, count: int, code: np.dtype[Any]) -> _Scratch:
        wide, codes = np.empty((3, count), np.int64), np.empty((3, count), code)
        return cls(*wide, *codes)

    def first(self, count: int, place: np.dtype[Any]) -> _Scratch:
        """The first `count` of each, with places of another type."""
        return _Scratch(
            self.place.view(place)[:count],
            self.whole.view(place)[:count],
            self.where[:count],
            self.found[:count],
            self.low[:count],
            self.part[:count],
        )


class _Block(NamedTuple):
    """Places of samples in the atlas from `base` on, and runs that move by one offset."""

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
    # A turn never moves a sample by more than its row's end, far less than what is left.
    base = int(place.min() >> SUBTEXEL_BITS) - LONGEST_ROW
    base = max(base, 0)
    place -= base << SUBTEXEL_BITS
    small = place.max() + (LONGEST_ROW << SUBTEXEL_BITS) < 2**31
    mine = offset[row]
    starts, lengths = runs(mine)
    return _Block(base, place.astype(np.int32) if small else place, mine[starts], lengths)


def _mix(work: _Scratch) -> npt.NDArray[np.int16]:
    """Code between the two of each pair found (low byte first)."""
    part, low, high = (a.view(np.int16) for a in (work.part, work.low, work.found))
    np.copyto(part, work.place, casting="unsafe")
    part &= SUBTEXELS - 1
    np.bitwise_and(work.found, 255, out=work.low)
    np.right_shift(work.found, 8, out=work.found)
    high -= low
    high *= part
    high += SUBTEXELS // 2
    high >>= SUBTEXEL_BITS
    high += low
    return high


def _mix_two(work: _Scratch) -> UInt32Array:
    """As `_mix` of two pairs at once, each in 16 bits of 32."""
    part, low, high = work.part, work.low, work.found
    np.copyto(part, work.place, casting="unsafe")
    part &= SUBTEXELS - 1
    np.bitwise_and(high, TWO_CODES, out=low)
    high >>= 8
    high &= TWO_CODES
    # What one half borrows from the other here is given back by the sum.
    high -= low
    high *= part
    low <<= SUBTEXEL_BITS
    high += low
    high += (SUBTEXELS // 2) * (TWO_CODES // 255)
    high >>= SUBTEXEL_BITS
    return high
