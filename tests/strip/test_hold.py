"""The hold row: how many cells, and that whole-second exposures light them equally."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction

import pytest

from patterns.strip.code import hold_row


@pytest.mark.parametrize(
    ("rate", "cells"),
    [
        (Fraction(24000, 1001), 24),
        (Fraction(24), 24),
        (Fraction(25), 25),
        (Fraction(30000, 1001), 30),
        (Fraction(30), 30),
        (Fraction(48), 24),
        (Fraction(50), 25),
        (Fraction(60000, 1001), 30),
        (Fraction(60), 30),
        (Fraction(100), 25),
        (Fraction(120), 30),
        (Fraction(144), 24),
        (Fraction(25, 2), 25),
        (Fraction(10), 20),
        (Fraction(37), 24),
    ],
)
def test_number_of_cells(rate: Fraction, cells: int) -> None:
    assert hold_row(rate).cells == cells


@pytest.mark.parametrize("hz", [*range(1, 121), 144, 240, 480])
def test_cells_are_lit_equally_often_over_the_exposure_that_is_stated(hz: int) -> None:
    """Counted frame by frame, from any start."""
    row = hold_row(Fraction(hz))
    if row.even_over_s is None:
        assert not any(hz * s % n == 0 for s in (1,) for n in range(12, 31))
        return
    for start in (0, 5):
        frames = range(start, start + hz * row.even_over_s)
        counts = Counter(n % row.cells for n in frames)
        assert len(counts) == row.cells
        assert len(set(counts.values())) == 1


def test_usual_rates_need_one_second_only() -> None:
    for hz in (24, 25, 30, 48, 50, 60, 72, 90, 100, 120, 144, 240):
        assert hold_row(Fraction(hz)).even_over_s == 1
