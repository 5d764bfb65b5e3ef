"""What holds of every cadence, on rates and displays drawn at random."""

from __future__ import annotations

from fractions import Fraction
from itertools import accumulate, groupby, pairwise
from math import ceil, sqrt

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from patterns.timing.cadence import Cadence, Display, frame_starts, slow_slip
from patterns.timing.cadence_text import cadence_record, short_verdict, verdict

RATES = st.builds(Fraction, st.integers(4, 120), st.integers(1, 4))
PHASES = st.builds(lambda a, b: Fraction(a % b, b), st.integers(0, 60), st.integers(1, 60))
CADENCES = st.builds(lambda f, r: Cadence(f, r, Display.fixed(r)), RATES, RATES)
ANY_RATE = st.fractions(Fraction(1, 10), 480)


@given(CADENCES)
def test_the_holds_of_a_period_add_up_to_its_time(c: Cadence) -> None:
    assert len(c.holds) == c.period_frames
    assert sum(c.holds) == c.ratio.numerator
    assert sum(c.holds) / c.refresh_hz == c.period_s


@given(CADENCES)
def test_holds_differ_by_at_most_one_refresh(c: Cadence) -> None:
    assert max(c.holds) - min(c.holds) == (0 if c.even else 1)
    assert set(c.holds) <= {c.usual_hold, c.odd_hold}


@given(CADENCES)
def test_the_holds_repeat_after_the_period_and_not_before(c: Cadence) -> None:
    q = c.period_frames
    assert c.first_holds(3 * q) == c.holds * 3
    assert all(c.holds[s:] + c.holds[:s] != c.holds for s in range(1, q))


@given(CADENCES, st.integers(0, 10**12), PHASES)
def test_no_drift_however_late(c: Cadence, frame: int, phase: Fraction) -> None:
    """Each frame comes on at the first refresh that is not before it is due."""
    (start,) = frame_starts(c.rate, c.refresh_hz, 1, phase=phase, first=frame)
    assert 0 <= start - (frame * c.ratio - phase) < 1
    whole, rest = divmod(frame, c.period_frames)
    assert ceil(frame * c.ratio) == whole * c.ratio.numerator + sum(c.holds[:rest])


def _errors_s(c: Cadence) -> list[Fraction]:
    """Timing error by its definition: k_n/R - n/F less the mean of a period."""
    starts = [0, *accumulate(c.holds[:-1])]
    late = [k / c.refresh_hz - n / c.rate for n, k in enumerate(starts)]
    mean = sum(late, Fraction(0)) / len(late)
    return [value - mean for value in late]


@given(CADENCES)
def test_closed_forms_equal_the_definition(c: Cadence) -> None:
    errors = _errors_s(c)
    assert c.timing_error_span_s == max(errors) - min(errors)
    mean_square = sum((e * e for e in errors), Fraction(0)) / len(errors)
    assert c.timing_error_rms_s == pytest.approx(sqrt(mean_square), rel=1e-9, abs=1e-15)


@given(CADENCES, PHASES)
def test_phase_only_turns_the_pattern(c: Cadence, phase: Fraction) -> None:
    starts = frame_starts(c.rate, c.refresh_hz, c.period_frames + 1, phase=phase)
    turns = {c.holds[s:] + c.holds[:s] for s in range(c.period_frames)}
    assert tuple(b - a for a, b in pairwise(starts)) in turns


@given(CADENCES)
def test_runs_are_the_run_length_form_of_the_holds(c: Cadence) -> None:
    lengths = [(hold, len(list(run))) for hold, run in groupby(c.holds)]
    assert list(c.runs()) == lengths


@given(CADENCES)
def test_odd_and_lost_holds_come_as_often_as_said(c: Cadence) -> None:
    if not c.even:
        rarer = min(c.holds.count(hold) for hold in set(c.holds))
        assert c.holds.count(c.odd_hold) == rarer
        assert c.odd_holds_per_second == rarer / c.period_s
    assert c.dropped_per_second == c.holds.count(0) / c.period_s


@given(CADENCES)
def test_a_slip_stands_for_the_difference_of_two_ratios(c: Cadence) -> None:
    """Pattern and slips together take as many refreshes as the cadence itself."""
    slip = slow_slip(c)
    if slip:
        base = Fraction(sum(slip.pattern), len(slip.pattern))
        step = Fraction(1 if slip.longer else -1, len(slip.pattern))
        assert base * c.rate + step / slip.interval_s == c.refresh_hz


@given(ANY_RATE, ANY_RATE)
@example(Fraction(1, 10), Fraction(8639995681, 86399956800))  # a slip in 2738 years
@example(Fraction(1, 10), 480 - Fraction(1, 10**30))
def test_every_pair_of_rates_has_words_and_a_record(rate: Fraction, refresh_hz: Fraction) -> None:
    c = Cadence(rate, refresh_hz, Display.fixed(refresh_hz))
    assert verdict(c).endswith(".")
    assert "\n" not in verdict(c)
    assert len(short_verdict(c)) <= len("even 4800, slip 100 years or more")
    assert cadence_record(c)["even"] == (c.ratio.denominator == 1)
