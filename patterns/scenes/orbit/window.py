"""Where the orbit's texels lie: rows over a window of bearings that moves along.

A row holds what a picture sees of it, and some more on the side that comes into view. When
the end is reached, what is still seen moves to the row's beginning, so that a clip of any
length takes the same room.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil, floor, pi

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import UInt8Array, UInt32Array
from patterns.scenes.orbit.plan import RowPlan

__all__ = ["MOST_STEPS", "STEPS_TO_A_TURN", "STEP_DEG", "Window"]

Pairs = npt.NDArray[np.uint16] | UInt32Array

# It moves by sixteenths of a turn: whole texels, in rows of three times a power of two too.
STEPS_TO_A_TURN = 16
STEP_DEG = Fraction(360, STEPS_TO_A_TURN)
MOST_STEPS = 3  # that a window is longer than a picture's own view: 10 s at the usual speed


class Window:
    """Rows of texels one after the other, group by group.

    Parameters
    ----------
    steps
        By how many times `STEP_DEG` the world may turn before the window moves: at least 1.
    backward
        Whether the world turns to ever smaller angles; then the first window ends at 0.

    Attributes
    ----------
    luma
        uint16 (texels,): the code of a texel (low byte) and of the next, so that one read
        gives both that are interpolated between.
    chroma
        uint32 (texels,): such a pair of Cb (lower half) and one of Cr.
    start
        Place of each group's first texel in its plane.
    length
        Texels of each row of a group.
    first_texel
        Number, counted from bearing 0, of the texel at the start of a row while `begin` is 0.
    begin
        How many times `STEP_DEG` the world has turned where the window begins.
    """

    def __init__(self, plan: RowPlan, steps: int, *, backward: bool = False) -> None:
        self._groups, self._steps, self._backward = plan.groups, steps, backward
        self.begin = -steps if backward else 0
        texels = np.array([group.texels for group in plan.groups])
        middle, greatest = (
            np.array([getattr(group, name) for group in plan.groups])
            for name in ("middle", "greatest")
        )
        most = steps * (2 * pi / STEPS_TO_A_TURN)
        low, high = ((middle + end) * texels / (2 * pi) for end in (-greatest, greatest + most))
        self.first_texel = np.floor(low - 0.5).astype(np.int64) - 1
        self.length = np.ceil(high - 0.5).astype(np.int64) + 3 - self.first_texel
        self._texels_to_a_step = texels // STEPS_TO_A_TURN
        sizes = self.length * np.array([len(group.across) for group in plan.groups])
        coarse = np.array([group.coarse for group in plan.groups])
        self.start = np.zeros_like(sizes)
        for plane in (0, 1):
            ends = np.cumsum(sizes[coarse == plane])
            self.start[coarse == plane] = ends - sizes[coarse == plane]
        # Memory that is never written to is never taken from the machine.
        self.luma = np.empty(int(sizes[coarse == 0].sum()), np.uint16)
        self.chroma = np.empty(int(sizes[coarse == 1].sum()), np.uint32)

    @property
    def ends(self) -> tuple[float, float]:
        """Least and greatest angle, radians, by which the world may have turned."""
        step = 2 * pi / STEPS_TO_A_TURN
        return self.begin * step, (self.begin + self._steps) * step

    def covers(self, turned: Fraction) -> bool:
        """Whether it holds all that a picture sees when the world has turned by degrees."""
        return self.begin * STEP_DEG <= turned <= (self.begin + self._steps) * STEP_DEG

    def move(self, turned: Fraction) -> int:
        """Begin about `turned` degrees, or end there if the world turns back; steps moved."""
        begin = floor(turned / STEP_DEG)
        if self._backward:
            begin = ceil(turned / STEP_DEG) - self._steps
        by, self.begin = begin - self.begin, begin
        self._shift(by)
        return by

    def _shift(self, by: int) -> None:
        """Move texels to where they lie in a window that has moved by steps."""
        for number, texels in enumerate((by * self._texels_to_a_step).tolist()):
            for row in self._rows(number):  # one by one: the copy in between stays small
                if 0 < texels < len(row):
                    row[:-texels] = row[texels:]
                elif 0 < -texels < len(row):
                    row[-texels:] = row[:texels]

    def kept(self, number: int, first: int, count: int, by: int) -> bool:
        """Whether a group's texels from `first` on are there still after a move by steps."""
        place = first - self._first(number)
        before = place + by * int(self._texels_to_a_step[number])
        return min(place, before) >= 0 and max(place, before) + count <= self.length[number]

    def store(self, number: int, first: int, codes: list[UInt8Array]) -> None:
        """Write codes (rows, texels) of a group's texels from `first` on, where it holds them."""
        rows = self._rows(number)
        pairs = rows.view(np.uint8).reshape(*rows.shape, 2 * len(codes))
        place = first - self._first(number)
        low, high = max(place, 0), min(place + codes[0].shape[1], rows.shape[1])
        if low >= high:
            return
        back = max(low, 1)
        for k, code in enumerate(codes):
            pairs[:, low:high, 2 * k] = code[:, low - place : high - place]
            pairs[:, back - 1 : high - 1, 2 * k + 1] = code[:, back - place : high - place]
            if high < rows.shape[1]:  # what follows may be there already
                pairs[:, high - 1, 2 * k + 1] = pairs[:, high, 2 * k]

    def _first(self, number: int) -> int:
        """Number of the texel that a group's rows begin with."""
        return int(self.first_texel[number] + self.begin * self._texels_to_a_step[number])

    def _rows(self, number: int) -> Pairs:
        """Texels (rows, length) of a group."""
        group, begin = self._groups[number], int(self.start[number])
        plane = self.chroma if group.coarse else self.luma
        shape = len(group.across), int(self.length[number])
        return plane[begin : begin + shape[0] * shape[1]].reshape(shape)
