"""How many cells the hold row has, and over how long each is lit equally often.

The row of a clip at rate p/q (x1000/1001 rates count as their whole neighbour) has the
largest divisor of p between 12 and 30 as its number of cells: 24 for 23.976 and 24, 25
for 25 and 50, 30 for 29.97, 30, 60 and 120, 24 for 48 and 144. Then any q seconds hold
whole rounds of the row: each cell is lit equally often in a photo that is exposed for a
multiple of q seconds. A p below 12 is first taken in multiples (10 fps: 20 cells, each
lit once in two seconds). Where no divisor serves (37 fps), the row has 24 cells and is
lit unequally in any exposure, which is said.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil

__all__ = ["HoldRow", "hold_row"]

FEWEST, MOST, USUAL = 12, 30, 24
NTSC_DENOMINATOR = 1001


@dataclass(frozen=True)
class HoldRow:
    """The hold row of one rate.

    Attributes
    ----------
    cells
        How many; cell n mod `cells` is lit in frame n.
    even_over_s
        Shortest exposure in whole seconds over which the cells are lit equally often (to
        one part in a thousand for x1000/1001 rates), or None if there is none.
    """

    cells: int
    even_over_s: int | None

    def lit(self, number: int) -> int:
        """Index of the cell that is lit in frame `number`."""
        return number % self.cells


def _nominal(rate: Fraction) -> Fraction:
    exact = rate * NTSC_DENOMINATOR / 1000
    return exact if rate.denominator == NTSC_DENOMINATOR and exact.denominator == 1 else rate


def hold_row(rate: Fraction) -> HoldRow:
    """Hold row of a clip at `rate` frames a second."""
    nominal = _nominal(rate)
    rounds = ceil(Fraction(FEWEST, nominal.numerator))
    frames = rounds * nominal.numerator
    for cells in range(MOST, FEWEST - 1, -1):
        if frames % cells == 0:
            seconds = rounds * nominal.denominator
            return HoldRow(cells, seconds)
    return HoldRow(USUAL, None)
