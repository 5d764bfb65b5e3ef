"""Cadences against the published pulldown patterns, and their words."""

from __future__ import annotations

import time
from fractions import Fraction
from itertools import chain, islice, repeat

import pytest

from patterns.errors import RequestError
from patterns.timing.cadence import (
    Cadence,
    cadence,
    parse_display,
    slow_slip,
)
from patterns.timing.cadence_text import short_verdict, verdict
from patterns.timing.rates import parse_rate


def _cadence(rate: str, display: str) -> Cadence:
    return cadence(parse_rate(rate), parse_display(display))


def _turned_to_smallest(holds: tuple[int, ...]) -> tuple[int, ...]:
    """Compare patterns wherever they start."""
    return min(holds[i:] + holds[:i] for i in range(len(holds)))


PUBLISHED = [
    # 2:3 pulldown, Poynton, *Digital Video and HDTV* (2003), "2-3 pulldown" (second-hand).
    ("24", "60", (2, 3), 12),
    # The same chapter, scanned page: ratio 25/8, {3,3,3,3,3,3,3,4}, three beats a second.
    ("24", "75", (3, 3, 3, 3, 3, 3, 3, 4), 3),
    # The same chapter: {3,3,3,3,3,4} is printed for 76 Hz as 17/6; 76/24 is 19/6: four a second.
    ("24", "76", (3, 3, 3, 3, 3, 4), 4),
    # Eleven 2s and a 3: Chromium, media/filters/video_cadence_estimator_unittest.cc.
    ("24", "50", (2,) * 11 + (3,), 2),
    # Android developer documentation, "Frame rate": 24 Hz video on a 120 Hz panel is even.
    ("24", "120", (5,), 0),
    # Poynton 2003: 72 Hz is the ideal refresh for film at 24.
    ("24", "72", (3,), 0),
]


@pytest.mark.parametrize(("rate", "display", "holds", "odd_per_second"), PUBLISHED)
def test_published_patterns(
    rate: str, display: str, holds: tuple[int, ...], odd_per_second: int
) -> None:
    found = _cadence(rate, display)
    assert _turned_to_smallest(found.holds) == holds
    assert found.odd_holds_per_second == odd_per_second


COMPUTED = [
    # Worked by hand from span (1 - 1/q)/R and RMS sqrt((1 - 1/q^2)/12)/R, our own figures:
    # rate, display, holds, odd holds a second, repeats a second, span ms, RMS ms
    ("24", "60", (2, 3), 12, 12, 8.333, 4.167),
    ("25", "60", (2, 2, 3, 2, 3), 10, 5, 13.333, 4.714),
    ("30", "60", (2,), 0, 0, 0, 0),
    ("48", "60", (1, 1, 1, 2), 12, 12, 12.5, 4.658),
    ("50", "60", (1, 1, 1, 1, 2), 10, 10, 13.333, 4.714),
    ("30", "50", (1, 2, 2), 10, 10, 13.333, 5.443),
    ("24", "90", (3, 4, 4, 4), 6, 6, 8.333, 3.106),
    ("25", "90", (3, 4, 3, 4, 4), 10, 5, 8.889, 3.143),
    ("60", "90", (1, 2), 30, 30, 5.556, 2.778),
    ("25", "120", (4, 5, 5, 5, 5), 5, 5, 6.667, 2.357),
    ("50", "120", (2, 2, 3, 2, 3), 20, 10, 6.667, 2.357),
    ("60", "144", (2, 2, 3, 2, 3), 24, 12, 5.556, 1.964),
    ("24", "165", (6, 7, 7, 7, 7, 7, 7, 7), 3, 3, 5.303, 1.736),
]


@pytest.mark.parametrize(("rate", "display", "holds", "odd", "beat", "span_ms", "rms_ms"), COMPUTED)
def test_worked_table(
    rate: str,
    display: str,
    holds: tuple[int, ...],
    odd: int,
    beat: int,
    span_ms: float,
    rms_ms: float,
) -> None:
    found = _cadence(rate, display)
    assert _turned_to_smallest(found.holds) == _turned_to_smallest(holds)
    assert found.odd_holds_per_second == odd
    assert found.beat_hz == beat
    assert float(found.timing_error_span_s) * 1000 == pytest.approx(span_ms, abs=6e-4)
    assert found.timing_error_rms_s * 1000 == pytest.approx(rms_ms, abs=6e-4)


@pytest.mark.parametrize(
    ("rate", "display", "ratio", "interval_s", "pattern"),
    [
        # one extra refresh in 1001/60 s = 16.683 s, because 60/1.001 loses 60/1001 a second
        ("29.97", "60", "1001/500", Fraction(1001, 60), (2,)),
        ("59.94", "60", "1001/1000", Fraction(1001, 60), (1,)),
        ("23.976", "120", "1001/200", Fraction(1001, 120), (5,)),
        ("60", "59.94", "1000/1001", Fraction(1001, 60), (1,)),
        # 3:2 moves in steps of half a refresh, so it breaks twice in 16.683 s
        ("23.976", "60", "1001/400", Fraction(1001, 120), (3, 2)),
        ("24", "59.94", "2500/1001", Fraction(1001, 120), (3, 2)),
    ],
)
def test_slow_slips(
    rate: str, display: str, ratio: str, interval_s: Fraction, pattern: tuple[int, ...]
) -> None:
    found = _cadence(rate, display)
    slip = slow_slip(found)
    assert found.ratio == Fraction(ratio)
    assert slip is not None
    assert (slip.interval_s, slip.pattern) == (interval_s, pattern)


@pytest.mark.parametrize(("rate", "display"), [("23.976", "60"), ("24", "59.94")])
def test_a_slipping_3_2_has_equal_neighbours_as_often_as_it_is_said_to_slip(
    rate: str, display: str
) -> None:
    found = _cadence(rate, display)
    slip = slow_slip(found)
    assert slip is not None
    following = (*found.holds[1:], found.holds[0])
    breaks = sum(a == b for a, b in zip(found.holds, following, strict=True))
    assert found.period_s / breaks == slip.interval_s


def test_a_clip_faster_than_the_display_loses_frames() -> None:
    found = _cadence("60", "50")
    assert found.dropped_per_second == 10
    assert found.holds.count(0) == 1
    assert sum(found.holds) == 5


def test_a_variable_display_follows_inside_its_range_and_doubles_below_it() -> None:
    assert _cadence("60", "48-120").refresh_hz == 60
    assert _cadence("24", "48-120").holds == (2,)
    assert _cadence("12.5", "48-120").refresh_hz == 50
    assert _cadence("144", "48-120").refresh_hz == 120
    assert _cadence("24", "50-60").refresh_hz == 60  # no multiple of 24 fits: its highest


@pytest.mark.parametrize("text", ["", "fast", "120-48", "60-60", "48-", "-", "0", "48-5000"])
def test_a_bad_display_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(RequestError) as caught:
        parse_display(text)
    assert "display" in str(caught.value)
    assert "\n" not in str(caught.value)


HUGE = [
    ("24.001", "60"),
    ("23.976", "59.95"),
    ("59.999999999999", "60"),
    ("23.976023976023", "59.940059940059"),
    ("999999999/999999998", "999999997/999999993"),
]


@pytest.mark.parametrize(("rate", "display"), HUGE)
def test_a_huge_period_costs_neither_time_nor_memory(rate: str, display: str) -> None:
    begun = time.process_time()
    found = _cadence(rate, display)
    assert found.period_frames > 20_000
    frame_by_frame = chain.from_iterable(repeat(hold, n) for hold, n in found.runs())
    assert tuple(islice(frame_by_frame, 2000)) == found.first_holds(2000)
    assert verdict(found)
    assert time.process_time() - begun < 5


def test_a_period_too_long_to_list_is_refused_not_attempted() -> None:
    with pytest.raises(RequestError, match="at most 100000 are listed"):
        _ = _cadence("59.999999999999", "60").holds


@pytest.mark.parametrize(
    ("rate", "display", "words"),
    [
        ("24", "60", ["Uneven", "alternate 3 and 2", "12 times a second", "judder"]),
        ("23.976", "60", ["alternate 3 and 2", "slip every 8.3 s", "two 3s in a row"]),
        ("24", "59.94", ["two 2s in a row"]),
        ("29.97", "60", ["Even, but every 16.7 s one frame is held 3 refreshes instead of 2"]),
        ("60", "59.94", ["Even, but one frame is dropped every 16.7 s"]),
        ("30", "60", ["Even: every frame is held 2 refreshes (33.3 ms)"]),
        ("60", "50", ["Loses 10 of 60 frames a second", "jump ahead 10 times a second"]),
        ("120", "60", ["only one frame in 2 shows, evenly", "looks like 60"]),
        ("24", "48-120", ["Even: the display follows at 48 Hz"]),
        ("24", "50", ["one in 12 lasts 3, twice a second"]),
        ("60", "90", ["edges look doubled"]),
        # Poynton 2003: susceptibility "peaks between 4 and 6 beats per second"
        ("24", "90", ["6 times a second", "at the most visible pace"]),
        ("24.001", "60", ["slip every 200 s"]),
    ],
)
def test_verdicts(rate: str, display: str, words: list[str]) -> None:
    text = verdict(_cadence(rate, display))
    assert all(word in text for word in words), text
    assert "\n" not in text


@pytest.mark.parametrize(
    ("rate", "display", "text"),
    [
        ("30", "60", "even 2"),
        ("24", "60", "3:2"),
        ("23.976", "60", "3:2, slip 8.3 s"),
        ("24", "50", "2 (3 in 1 of 12)"),
        ("60", "50", "drops 10/s"),
    ],
)
def test_short_verdicts(rate: str, display: str, text: str) -> None:
    assert short_verdict(_cadence(rate, display)) == text


@pytest.mark.parametrize(("rate", "display"), [("30", "60"), ("24", "60"), ("24", "50")])
def test_a_short_cadence_has_no_slow_slip(rate: str, display: str) -> None:
    assert slow_slip(_cadence(rate, display)) is None
