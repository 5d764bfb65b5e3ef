"""Holds, drops and refresh out of sightings whose truth is known."""

from __future__ import annotations

from fractions import Fraction as F

import numpy as np
import pytest

from patterns.reading.hold_cadence import hold_pattern
from patterns.reading.reading import Reading
from patterns.reading.recording import judge_recording
from patterns.timing.cadence import Display
from tests.reading.screen import Screen, Shown, film, play

RATES = (F(24000, 1001), F(24), F(25), F(30000, 1001), F(30), F(50), F(60000, 1001), F(60))
DISPLAYS = (50, 60, 90, 120, 144)
JITTER = 0.15  # of a capture interval, to each side
SECONDS = 5.0


def captures(refresh_hz: int) -> list[int]:
    return sorted({2 * refresh_hz, max(240, 2 * refresh_hz), 480})


# Each pair of rate and display once, and each camera in turn: `tests.simulation.drops` samples
# the whole.
PAIRS = [(rate, hz) for rate in RATES for hz in DISPLAYS]
CASES = [(rate, hz, captures(hz)[i % len(captures(hz))]) for i, (rate, hz) in enumerate(PAIRS)]
IDS = [f"{float(rate):.3f}-on-{hz}-at-{c}" for rate, hz, c in CASES]
EVERY_SECOND = slice(None, None, 2)  # an odd number of displays: each rate, and each display


def disturbed(rate: F, refresh_hz: int, capture_hz: int) -> tuple[Screen, list[Shown]]:
    rng = np.random.default_rng([int(rate * 1001), refresh_hz, capture_hz])
    places = np.arange(10, int((SECONDS - 1) * rate))
    lost = frozenset(rng.choice(places, 3, replace=False).tolist())
    late = frozenset(rng.choice(places, 2, replace=False).tolist())
    screen = Screen(rate, F(refresh_hz), SECONDS, float(rng.uniform(0.05, 0.95)), lost, late - lost)
    return screen, play(screen)


def checked_drops(reading: Reading, shown: list[Shown]) -> None:
    seen = {frame.number for frame in shown}
    low, high = reading.holds[0].number, reading.holds[-1].number
    truth = [n for n in range(low, high) if n not in seen]
    assert [n for n in reading.dropped if low <= n < high] == truth
    assert not reading.unseen
    assert not reading.out_of_order


@pytest.mark.parametrize(("rate", "refresh_hz", "capture_hz"), CASES, ids=IDS)
def test_every_drop_is_found_none_invented_and_holds_are_right(
    rate: F, refresh_hz: int, capture_hz: int
) -> None:
    screen, shown = disturbed(rate, refresh_hz, capture_hz)
    watched = film(shown, screen, capture_hz, seed=1, jitter=JITTER)
    reading = judge_recording(watched, file="x", display=Display.fixed(refresh_hz))
    truth = {frame.number: frame for frame in shown}
    assert len(reading.holds) > 0.9 * (len(shown) - 4)
    checked_drops(reading, shown)
    for frame in reading.holds:
        refreshes = truth[frame.number].end - truth[frame.number].start
        # each end is known to half an interval and the camera's jitter
        assert abs(frame.hold_s - refreshes / refresh_hz) <= (1 + 2 * JITTER) / capture_hz + 1e-4
        assert frame.refreshes in (None, refreshes)
    counted = [frame for frame in reading.holds if frame.refreshes is not None]
    assert len(counted) > 0.95 * len(reading.holds)
    assert reading.refresh_hz == refresh_hz


@pytest.mark.parametrize(
    ("rate", "refresh_hz", "capture_hz"), CASES[EVERY_SECOND], ids=IDS[EVERY_SECOND]
)
def test_the_refresh_is_found_from_holds_or_left_open(
    rate: F, refresh_hz: int, capture_hz: int
) -> None:
    screen, shown = disturbed(rate, refresh_hz, capture_hz)
    reading = judge_recording(film(shown, screen, capture_hz, seed=2, jitter=JITTER), file="x")
    checked_drops(reading, shown)
    if reading.refresh_hz is None:
        # holds are even but for a few, or the camera in step: then the true one stays among others
        assert any(abs(hz / refresh_hz - 1) < F(1, 500) for hz in reading.refresh_candidates)
        assert all(frame.refreshes is None for frame in reading.holds)
        ratio = refresh_hz / rate
        even = abs(ratio - round(ratio)) < F(1, 100) * ratio
        assert even or capture_hz < 3 * refresh_hz
    else:
        assert reading.refresh_hz == refresh_hz


# Holds and errors of the handbook's and the arithmetic's worked cases: 24 on 75 is
# Poynton, Digital Video and HDTV (2003), "2-3 pulldown"; the others follow from the
# definition of the cadence, by hand.
@pytest.mark.parametrize(
    ("rate", "refresh_hz", "pattern", "rms_ms", "span_ms"),
    [
        (24, 60, (3, 2), 4.167, 8.333),
        (25, 60, (3, 2, 3, 2, 2), 4.714, 13.333),
        (30, 50, (2, 2, 1), 5.443, 13.333),
        (24, 75, (4, 3, 3, 3, 3, 3, 3, 3), 3.819, 11.667),
        (50, 60, (2, 1, 1, 1, 1), 4.714, 13.333),
        (24, 90, (4, 4, 4, 3), 3.106, 8.333),
    ],
)
def test_pattern_and_timing_error_are_those_of_the_tables(
    rate: int, refresh_hz: int, pattern: tuple[int, ...], rms_ms: float, span_ms: float
) -> None:
    screen = Screen(F(rate), F(refresh_hz), 12)
    reading = judge_recording(film(play(screen), screen, 480, seed=3, jitter=JITTER), file="x")
    assert reading.refresh_hz == refresh_hz
    assert reading.pattern == pattern
    assert reading.error is not None
    assert reading.error.rms_ms == pytest.approx(rms_ms, abs=0.05)
    assert reading.error.span_ms == pytest.approx(span_ms, abs=0.01)
    assert reading.expected is not None
    assert reading.expected.error is not None
    assert reading.expected.error.rms_ms == pytest.approx(reading.error.rms_ms, abs=1e-6)
    assert f"as {rate} on {refresh_hz} must be" in reading.verdict
    assert not reading.explanation


def test_frames_that_a_slow_display_must_lose_are_told_from_others() -> None:
    screen = Screen(F(60), F(50), 8)
    reading = judge_recording(film(play(screen), screen, 240, seed=4), file="x")
    assert reading.pattern == (1, 1, 1, 1, 1, 0)
    assert reading.drops_beyond == 0
    assert "10 frames a second must be lost, none beyond that" in reading.verdict
    halting = Screen(F(60), F(50), 8, late=frozenset(range(100, 104)), lost=frozenset({200, 201}))
    reading = judge_recording(film(play(halting), halting, 240, seed=4), file="x")
    assert reading.drops_beyond > 0


def test_pictures_lost_at_random_make_frames_untold_but_never_dropped() -> None:
    wrong = told = 0
    for seed in range(6):
        screen = Screen(F(30), F(60), 8, lost=frozenset({40, 90, 130}))
        shown = play(screen)
        reading = judge_recording(
            film(shown, screen, 240, seed=seed, unread=0.3), file="x", display=Display.fixed(60)
        )
        seen = {frame.number for frame in shown}
        wrong += len([n for n in reading.dropped if n in seen])
        told += len([n for n in reading.dropped if n not in seen])
        truth = {frame.number: frame.end - frame.start for frame in shown}
        assert all(f.refreshes in (None, truth[f.number]) for f in reading.holds)
    assert wrong == 0
    assert told > 8


def test_a_restart_is_a_new_stretch_and_no_loss() -> None:
    screen = Screen(F(24), F(60), 4)
    once = play(screen)
    end = once[-1].end
    twice = once + [Shown(f.number, f.start + end, f.end + end) for f in once]
    reading = judge_recording(film(twice, screen, 240, seed=5), file="x")
    assert not reading.dropped
    assert not reading.out_of_order
    assert reading.details["passages"] == 2
    assert any("restarted" in warning for warning in reading.warnings)


def test_a_pattern_is_named_by_its_root() -> None:
    """Disturbed holds may agree better two frames on than one; it is still one pattern."""
    disturbed = [3] * 8 + [1, 4, 1, 4] + [3] * 8
    assert hold_pattern(disturbed) == (3,)
    assert hold_pattern([3, 2] * 6) == (3, 2)


def test_chance_stalls_are_no_pattern() -> None:
    """Two stalls in a second, wherever they fall, are stalls; what a cadence gives is one."""
    for first in range(30):
        for second in range(first):
            holds: list[int | None] = [2] * 30
            holds[first] = holds[second] = 4
            assert hold_pattern(holds) == (2,)
            holds[first] = holds[second] = 3
            assert hold_pattern(holds, F(2)) == (2,)
    assert hold_pattern([3, 2] * 6 + [3] + [3, 2] * 6) == (3, 2)
    assert hold_pattern([4, 4, 4, 3] * 2) == (4, 4, 4, 3)
    assert hold_pattern([3, 2, 3, 2, 2] * 6, F(12, 5)) == (3, 2, 3, 2, 2)
    assert hold_pattern([4, 2, 2, 2, 2] * 6) == (4, 2, 2, 2, 2)
