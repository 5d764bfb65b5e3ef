"""Conforming against the trade's figures and against counting frames."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from math import ceil

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patterns.timing.audience import DEFAULT_AUDIENCE, standing
from patterns.timing.cadence import Display, cadence
from patterns.timing.conform import Conform, expected_repeat_error_s, repeat_error_s

F = Fraction

WHOLE_RATES = st.sampled_from([F(12), F(15), F(24), F(25), F(30), F(48), F(50), F(60)])
RATES = st.sampled_from([F(12), F(15), F(24), F(25), F(30), F(48), F(50), F(60), F(24000, 1001)])


@pytest.mark.parametrize(
    ("footage", "timeline", "percent"),
    [(24, 30, 125), (25, 30, 120), (24, 25, 104.17), (25, 24, 96), (30, 24, 80)],
)
def test_playback_speeds(footage: int, timeline: int, percent: float) -> None:
    # Common practice, no source: 24 in 30 plays at 125 %, 25 in 30 at 120 %, 24 in 25 at 104.17 %.
    found = Conform(F(footage), F(timeline))
    assert 100 * float(found.speed) == pytest.approx(percent, abs=5e-3)
    assert found.length * found.speed == 1


def test_pitch_of_24_in_25_is_well_under_a_semitone() -> None:
    # From memory: film run at 25 for broadcast sounds about 0.7 semitones higher.
    assert Conform(F(24), F(25)).semitones == pytest.approx(0.7067, abs=1e-4)
    assert Conform(F(24), F(48)).semitones == 12
    # An equal-tempered semitone is a factor 2^(1/12).
    found = Conform(F(25), F(30)).semitones
    assert 2 ** (found / 12) == pytest.approx(1.2)


@given(RATES, RATES)
def test_odd_frames_are_those_that_counting_finds(footage: F, timeline: F) -> None:
    conform = Conform(footage, timeline)
    into = timeline / footage
    q = into.denominator
    shown = [ceil((j + 1) * into) - ceil(j * into) for j in range(q)]
    counts = Counter(shown)
    times, every = conform.odd_frames
    if len(counts) == 1:
        assert (times, every) == (shown[0], F(0))
    else:
        assert F(counts[times], q) == 1 / every
        assert counts[times] == min(counts.values())


@pytest.mark.parametrize(
    ("footage", "timeline", "odd"),
    [(24, 30, (2, 4)), (25, 30, (2, 5)), (24, 25, (2, 24)), (50, 25, (0, 2)), (30, 60, (2, 0))],
)
def test_which_frames_repeat(footage: int, timeline: int, odd: tuple[int, int]) -> None:
    assert Conform(F(footage), F(timeline)).odd_frames == (odd[0], F(odd[1]))


@given(RATES, RATES)
def test_mixtures_are_the_timeline_frames_that_fall_between_frames(footage: F, timeline: F) -> None:
    conform = Conform(footage, timeline)
    period = conform.speed.numerator
    between = sum((m * footage / timeline).denominator != 1 for m in range(period))
    assert conform.mixed_share == F(between, period)


@given(WHOLE_RATES, WHOLE_RATES, st.sampled_from([50, 60, 90, 120]))
def test_error_of_repeats_is_that_of_the_pictures_that_come_on(
    footage: F, timeline: F, refresh: int
) -> None:
    """Every refresh is looked at: which footage frame does it show?"""
    seconds = 12
    first_seen: dict[int, int] = {}
    for k in range(seconds * refresh):
        on_screen = (k * timeline / refresh).__floor__()  # timeline frame on screen
        frame = (on_screen * footage / timeline).__floor__()  # footage frame in it
        first_seen.setdefault(frame, k)
    usual = range(int((seconds - 1) * footage))  # whole rates repeat within a second
    due = {j: ceil(ceil(j * timeline / footage) * F(refresh) / timeline) for j in usual}
    shown = [j for j in usual if j in first_seen]  # the others never show, and do not count
    assert [due[j] for j in shown] == [first_seen[j] for j in shown]
    late = np.array([float(F(due[j], refresh) - j / footage) for j in shown])
    found = repeat_error_s(Conform(footage, timeline), Display.fixed(refresh))
    assert found == pytest.approx(float(np.std(late)), abs=1e-9)


def test_repeats_on_a_timeline_at_the_refresh_are_the_display_s_own_cadence() -> None:
    # A timeline of 60 on a display of 60 adds nothing: 24 repeats 3:2 either way.
    found = repeat_error_s(Conform(F(24), F(60)), Display.fixed(60))
    assert found == pytest.approx(cadence(F(24), Display.fixed(60)).timing_error_rms_s)


def test_repeating_24_in_30_is_less_even_than_either_conforming_or_leaving_it() -> None:
    conform = Conform(F(24), F(30))
    repeated = expected_repeat_error_s(conform, DEFAULT_AUDIENCE)
    assert repeated > standing(F(24), DEFAULT_AUDIENCE).ranked_error_s
    # the near rates of the trade stand as their whole neighbours do, but for slow slips
    near = Conform(F(24), F(30000, 1001))
    assert expected_repeat_error_s(near, DEFAULT_AUDIENCE) == pytest.approx(repeated, rel=2e-3)
    assert standing(F(30), DEFAULT_AUDIENCE).expected_error_s == 0
    same = Conform(F(25), F(25))
    assert expected_repeat_error_s(same, DEFAULT_AUDIENCE) == pytest.approx(
        standing(F(25), DEFAULT_AUDIENCE).ranked_error_s
    )
