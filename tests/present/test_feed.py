"""Which frame is on at each refresh, against the definition, counted through."""

from __future__ import annotations

from fractions import Fraction as F
from itertools import groupby

import pytest

from patterns.present.hold_meter import Feed, Shown, is_even, runs
from patterns.timing.conform import Conform

RATES = [F(24), F(25), F(30), F(24000, 1001), F(50), F(60), F(12)]
REFRESHES = [F(60), F(50), F(60000, 1001), F(120), F(144)]


def last_due(times: list[F], now: F) -> int:
    """The last of `times` that is not after `now`."""
    return max(n for n, time in enumerate(times) if time <= now)


@pytest.mark.parametrize("refresh_hz", REFRESHES)
@pytest.mark.parametrize("rate", RATES)
def test_a_native_clip_shows_the_last_frame_that_is_due(rate: F, refresh_hz: F) -> None:
    due = [n / rate for n in range(200)]
    for k in range(90):
        assert Feed(rate, rate).shown(k, refresh_hz) == Shown(last_due(due, k / refresh_hz))


def test_24_on_60_is_the_pulldown_of_the_trade() -> None:
    # Poynton, Digital Video and HDTV (2003), "2-3 pulldown": film frames last 3 and 2 fields.
    lengths = [run.refreshes for run in runs(Feed(F(24), F(24)), F(60), 0, 25)]
    assert lengths == [3, 2] * 5


@pytest.mark.parametrize(("footage", "timeline"), [(24, 30), (30, 24), (25, 60), (50, 30)])
def test_repeated_footage_comes_on_with_the_timeline_frame_at_or_after_its_moment(
    footage: int, timeline: int
) -> None:
    feed = Feed(F(footage), F(timeline), "repeated")
    on_timeline = [last_due([F(n, footage) for n in range(200)], F(j, timeline)) for j in range(90)]
    shown = [feed.shown(2 * j, F(2 * timeline)).frame for j in range(90)]
    assert shown == on_timeline
    times, every = Conform(F(footage), F(timeline)).odd_frames
    lengths = [len(list(group)) for _, group in groupby(on_timeline)][:-1]
    if times > 1:
        assert lengths.count(times) == pytest.approx(len(lengths) / float(every), abs=1)


def test_blended_footage_mixes_by_the_distance_to_both_frames() -> None:
    feed = Feed(F(24), F(30), "blended")
    shown = [feed.shown(2 * j, F(60)) for j in range(6)]
    assert [s.frame + s.next_share for s in shown] == [j * F(4, 5) for j in range(6)]
    mixed = sum(s.next_share > 0 for s in shown[:5])
    assert F(mixed, 5) == Conform(F(24), F(30)).mixed_share


def test_sped_up_footage_shows_every_frame_once() -> None:
    feed = Feed(F(24), F(30), "sped")
    assert [run.shown.frame for run in runs(feed, F(60), 0, 40)] == list(range(20))


@pytest.mark.parametrize(
    ("rate", "refresh_hz", "even"),
    [(24, 60, False), (30, 60, True), (25, 50, True), (25, 60, False), (24, 120, True),
     (60, 50, False), (F(30000, 1001), 60, True), (120, 60, True)],
)  # fmt: skip
def test_even_is_what_a_viewer_would_call_even(rate: F, refresh_hz: int, even: bool) -> None:
    assert is_even(Feed(F(rate), F(rate)), F(refresh_hz)) is even
