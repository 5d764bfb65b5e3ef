"""Filters against the densities of their names and a search over everything in the case."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations_with_replacement
from math import log2, log10

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patterns.timing.shutter import (
    USUAL_DENSITIES,
    choose_filters,
    density_of,
    exposure_for_ev100,
    stops_of,
)

F = Fraction


@pytest.mark.parametrize(
    ("density", "factor"),
    [("0.3", 2), ("0.6", 4), ("0.9", 8), ("1.2", 16), ("1.5", 32), ("1.8", 64), ("3.0", 1000)],
)
def test_densities_of_the_names(density: str, factor: int) -> None:
    # From memory: ND2 is 0.3 ... ND64 is 1.8, ND1000 is 3.0; the names are rounded.
    assert 10 ** float(F(density)) == pytest.approx(factor, rel=0.015)
    assert stops_of(F(density)) == pytest.approx(log2(10 ** float(F(density))))
    assert density_of(log2(factor)) == pytest.approx(log10(factor))


def test_nd1000_is_9_966_stops() -> None:
    assert stops_of(F(3)) == pytest.approx(9.966, abs=5e-4)


def test_worked_example_in_full_sun() -> None:
    # f/2.8, 1/50 s, ISO 100 in light of EV 14.644: 6.029 stops, ND64 (computed).
    metered = exposure_for_ev100(14.644, F(100), F("2.8"))
    found = choose_filters(F(1, 50), metered.exposure_s)
    assert found.wanted_stops == pytest.approx(6.029, abs=1e-3)
    assert found.factor == pytest.approx(65.3, abs=0.1)
    assert found.density == pytest.approx(1.815, abs=1e-3)
    assert found.names == "ND 1.8"
    assert found.trim_stops == pytest.approx(6.029 - 1.8 / log10(2), abs=1e-3)
    # the same light at f/1.7: 7.469 stops
    wide = exposure_for_ev100(14.644, F(100), F("1.7"))
    assert choose_filters(F(1, 50), wide.exposure_s).wanted_stops == pytest.approx(7.469, abs=1e-3)


@given(st.floats(-3, 25))
def test_the_choice_is_as_near_as_any_single_filter_and_at_most_a_quarter_stop_worse_than_any_pair(
    stops: float,
) -> None:
    found = choose_filters(F(2**stops), F(1))
    singles = [abs(stops - stops_of(d)) for d in (F(0), *USUAL_DENSITIES)]
    pairs = [
        abs(stops - stops_of(a + b)) for a, b in combinations_with_replacement(USUAL_DENSITIES, 2)
    ]
    assert abs(found.trim_stops) <= min(singles) + 1e-9
    assert abs(found.trim_stops) <= min(pairs) + 0.25 + 1e-9
    assert sum(map(stops_of, found.densities)) + found.trim_stops == pytest.approx(
        found.wanted_stops
    )
    if len(found.densities) < 2:
        assert abs(found.trim_stops) == pytest.approx(min(singles), abs=1e-9)


def test_no_filter_where_the_wish_is_darker_than_the_meter() -> None:
    found = choose_filters(F(1, 100), F(1, 25))
    assert found.wanted_stops == -2
    assert found.densities == ()
    assert found.names == "no filter"
    assert found.trim_stops == -2


def test_a_pair_beyond_the_strongest() -> None:
    found = choose_filters(F(2**13), F(1))
    assert [float(d) for d in found.densities] == [3.0, 0.9]
    assert found.names == "ND 3.0 + ND 0.9"
