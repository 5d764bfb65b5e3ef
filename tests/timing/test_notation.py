"""Cadences as text, and our timing error beside two published ways to judge playback."""

from __future__ import annotations

from fractions import Fraction as F
from itertools import pairwise
from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patterns.timing.cadence import Display, cadence, frame_starts
from patterns.timing.notation import first_turn, pattern_text


@pytest.mark.parametrize(
    ("rate", "refresh", "text"),
    [
        (24, 60, "3:2"),
        (25, 60, "3:2:3:2:2"),
        (30, 60, "even 2"),
        (50, 60, "2:1:1:1:1"),
        (25, 120, "5:5:5:5:4"),
        (24, 50, "2 (3 in 1 of 12)"),
        (25, 144, "6 (5 in 6 of 25)"),
    ],
)
def test_a_cadence_is_one_text(rate: int, refresh: int, text: str) -> None:
    assert pattern_text(cadence(F(rate), Display.fixed(refresh)).holds) == text


@given(st.integers(1, 200), st.integers(1, 200), st.fractions(0, 1, max_denominator=50))
def test_the_phase_changes_nothing_of_the_text(rate: int, refresh: int, phase: F) -> None:
    held = cadence(F(rate), Display.fixed(refresh))
    starts = frame_starts(F(rate), F(refresh), held.period_frames + 1, phase=phase)
    assert pattern_text([b - a for a, b in pairwise(starts)]) == pattern_text(held.holds)


# Cadence table of a player's unit test: Chromium, media/filters/video_cadence_estimator_unittest.cc
@pytest.mark.parametrize(
    ("rate", "refresh", "table"),
    [
        (24, 60, (3, 2)),
        (25, 60, (2, 3, 2, 3, 2)),
        (50, 60, (1, 1, 2, 1, 1)),
        (30, 50, (2, 1, 2)),
        (24, 50, (2, 2, 2, 2, 2, 3, 2, 2, 2, 2, 2, 2)),
    ],
)
def test_holds_are_those_of_a_published_table(
    rate: int, refresh: int, table: tuple[int, ...]
) -> None:
    assert first_turn(table) == cadence(F(rate), Display.fixed(refresh)).holds


# Playback roughness, ms: E_k = sum of (hold - frame time) up to frame k, sqrt(mean E_k^2);
# values of Chromium, cc/metrics/video_playback_roughness_reporter_unittest.cc (to 0.1 ms).
# It depends on where in the cadence it begins: `phase` gives the order of holds of that test.
@pytest.mark.parametrize(
    ("rate", "refresh", "phase", "holds", "published_ms"),
    [
        (24, 60, F(1, 2), (2, 3), 5.9),
        (24, 120, F(0), (5,), 0.0),
        (50, 60, F(4, 5), (1, 1, 1, 1, 2), 8.1),
    ],
)
def test_the_published_roughness_less_its_mean_is_our_timing_error(
    rate: int, refresh: int, phase: F, holds: tuple[int, ...], published_ms: float
) -> None:
    period = len(holds)
    starts = list(frame_starts(F(rate), F(refresh), period + 1, phase=phase))
    assert tuple(b - a for a, b in pairwise(starts)) == holds
    late_ms = [1000 * float(F(k, refresh) - F(n, rate)) for n, k in enumerate(starts)][1:]
    assert sqrt(sum(e * e for e in late_ms) / period) == pytest.approx(published_ms, abs=0.1)
    mean = sum(late_ms) / period
    ours_ms = 1000 * cadence(F(rate), Display.fixed(refresh)).timing_error_rms_s
    assert sqrt(sum((e - mean) ** 2 for e in late_ms) / period) == pytest.approx(ours_ms, abs=1e-9)
