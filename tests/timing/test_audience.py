"""Ranking of rates: published cadences, brute force, and what a rank may never do unsaid."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patterns.errors import RequestError
from patterns.timing.audience import (
    DEFAULT_AUDIENCE,
    Audience,
    near_rate,
    parse_share,
    rank,
    standing,
)
from patterns.timing.cadence import Display, frame_starts

F = Fraction

RATES = ["24000/1001", "24", "25", "30000/1001", "30", "48", "50", "60000/1001", "60", "90", "120"]
DISPLAYS = ["50", "59.94", "60", "75", "90", "120", "144", "48-120"]

audiences = st.lists(
    st.tuples(st.sampled_from(DISPLAYS), st.integers(1, 9)), min_size=1, max_size=4
).map(lambda pairs: Audience.of([(parse_share(d)[0], F(w)) for d, w in pairs]))
rate_lists = st.lists(st.sampled_from(RATES).map(F), min_size=1, max_size=8)


def brute_rms_s(rate: F, refresh: F, frames: int = 4000) -> float:
    """RMS of the frames' lateness about its mean, from the refreshes at which they come on."""
    on = np.array(list(frame_starts(rate, refresh, frames)), float) / float(refresh)
    return float(np.std(on - np.arange(frames) / float(rate)))


@pytest.mark.parametrize("rate", ["24", "25", "50", "48", "24000/1001"])
@pytest.mark.parametrize("refresh", ["60", "75", "90", "120", "144"])
def test_error_of_one_display_is_that_of_its_frames(rate: str, refresh: str) -> None:
    found = standing(F(rate), Audience.of([(Display.fixed(F(refresh)), F(1))]))
    assert found.expected_error_s == pytest.approx(brute_rms_s(F(rate), F(refresh)), abs=2e-5)


@pytest.mark.parametrize(
    ("rate", "refresh"), [("120", "60"), ("60", "50"), ("120", "50"), ("50", "48"), ("90", "60")]
)
def test_frames_that_never_show_have_no_error_to_be_seen(rate: str, refresh: str) -> None:
    """Looked at refresh by refresh: which frame is on, and how late is it?"""
    f, r = F(rate), F(refresh)
    shown = [(k, int(k * f / r)) for k in range(600)]
    late = np.array([float(k / r - n / f) for k, n in shown])
    showing = standing(f, Audience.of([(Display.fixed(r), F(1))])).showings[0]
    assert showing.seen_rms_s == pytest.approx(float(np.std(late)), abs=1e-9)
    assert float(showing.jump_s) == pytest.approx(float(np.ptp(late)), abs=1e-9)


def test_120_on_60_is_as_even_as_60_and_below_it() -> None:
    sixty = Audience.of([(Display.fixed(60), F(1))])
    order = [s.rate for s in rank([F(120), F(24), F(60)], sixty)]
    assert order == [60, 120, 24]


def test_expected_error_weighs_the_displays_with_their_shares() -> None:
    # 24 on 60: 4.167 ms RMS; 24 on 120: even; 25: 4.714 and 2.357 ms (computed tables).
    four_fifths = standing(F(24), DEFAULT_AUDIENCE)
    assert 1000 * four_fifths.expected_error_s == pytest.approx(0.8 * 4.167, abs=1e-3)
    found = standing(F(25), DEFAULT_AUDIENCE)
    assert 1000 * found.expected_error_s == pytest.approx(0.8 * 4.714 + 0.2 * 2.357, abs=1e-3)


def test_default_candidates_for_the_default_audience() -> None:
    order = [s.rate for s in rank(map(F, (24, 25, 30, 50, 60)), DEFAULT_AUDIENCE)]
    assert order == [60, 30, 24, 50, 25]


def test_a_slow_slip_is_ranked_by_its_slips_and_not_by_its_rms() -> None:
    # 29.97 on 60: one extra refresh each 16.683 s (computed).
    found = standing(F(30000, 1001), Audience.of([(Display.fixed(60), F(1))]))
    assert found.expected_error_s > 0.004
    assert found.ranked_error_s == 0
    assert 1 / float(found.slips_per_second) == pytest.approx(16.683, abs=1e-3)
    order = [s.rate for s in rank([F(24), F(30000, 1001), F(30)], DEFAULT_AUDIENCE)]
    assert order == [30, F(30000, 1001), 24]


@given(rate_lists, audiences)
def test_rank_is_by_error_between_slips_then_slips_then_rate(
    rates: list[F], audience: Audience
) -> None:
    ranked = rank(rates, audience)
    assert sorted(s.rate for s in ranked) == sorted(set(rates))
    for above, below in pairwise(ranked):
        assert above.ranked_error_s <= below.ranked_error_s + 1e-9
        if abs(above.ranked_error_s - below.ranked_error_s) < 1e-12:
            assert above.slips_per_second <= below.slips_per_second
        if above.evenness == below.evenness:
            assert above.rate > below.rate


@given(rate_lists, audiences)
def test_only_slips_and_drops_can_lift_a_rate_above_one_of_less_error(
    rates: list[F], audience: Audience
) -> None:
    ranked = rank(rates, audience)
    for i, above in enumerate(ranked):
        for below in ranked[i + 1 :]:
            if above.expected_error_s > below.expected_error_s + 2e-9:
                assert any(s.slip or s.cadence.dropped_per_second for s in above.showings)


@given(rate_lists, audiences)
def test_even_everywhere_is_never_below_anything_uneven(rates: list[F], audience: Audience) -> None:
    even = [s.even_everywhere for s in rank(rates, audience)]
    assert even == sorted(even, reverse=True)


@given(audiences, st.integers(2, 9))
def test_shares_add_up_to_one_and_only_their_proportion_counts(
    audience: Audience, times: int
) -> None:
    assert sum(share for _, share in audience.displays) == 1
    assert Audience.of([(d, s * times) for d, s in audience.displays]) == audience


def test_equal_displays_are_merged() -> None:
    found = Audience.of([parse_share("60:1"), parse_share("120"), parse_share("60")])
    assert found.displays == ((Display.fixed(60), F(2, 3)), (Display.fixed(120), F(1, 3)))


@pytest.mark.parametrize(
    ("text", "display", "share"),
    [
        ("60:0.8", Display.fixed(60), F(4, 5)),
        ("60:80%", Display.fixed(60), F(4, 5)),
        ("48-120:0.2", Display(F(48), F(120)), F(1, 5)),
        ("144", Display.fixed(144), F(1)),
        ("59.94 : 3", Display.fixed(F(60000, 1001)), F(3)),
    ],
)
def test_share_forms(text: str, display: Display, share: F) -> None:
    assert parse_share(text) == (display, share)


@pytest.mark.parametrize("text", ["60:", "60:-1", "60:x", "60:0.8:1"])
def test_bad_shares(text: str) -> None:
    with pytest.raises(RequestError, match="no share after the colon"):
        parse_share(text)


def test_no_audience_at_all() -> None:
    with pytest.raises(RequestError, match="add up to 0"):
        Audience.of([(Display.fixed(60), F(0))])


def test_near_rates_of_the_trade() -> None:
    # ITU-R BT.709 and BT.2100 list 24, 30, 60 and 120 beside the same over 1.001.
    assert near_rate(F(30)) == F(30000, 1001)
    assert near_rate(F(24000, 1001)) == 24
    assert near_rate(F(120)) == F(120000, 1001)
    assert near_rate(F(25)) is None
    assert near_rate(F(50)) is None
    assert near_rate(F("12.5")) is None
