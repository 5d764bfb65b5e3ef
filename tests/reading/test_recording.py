"""What a recording is said to show: verdicts, explanations and honest refusals."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import numpy as np

from patterns.reading.recording import judge_recording
from patterns.reading.sightings import Sightings
from patterns.strip.code import Identity
from patterns.strip.read import Seen, Unread
from patterns.timing.cadence import parse_display
from tests.reading.screen import Screen, Shown, film, play


def recorded(screen: Screen, capture_hz: float = 240, display: str | None = None, **more: float):  # type: ignore[no-untyped-def]
    watched = film(play(screen), screen, capture_hz, seed=1, jitter=0.1, **more)
    return judge_recording(watched, file="x", display=parse_display(display) if display else None)


def test_the_verdict_is_plain() -> None:
    screen = Screen(F(24), F(60), 9.9, lost=frozenset({50, 120}))
    assert recorded(screen).verdict == (
        "held 3:2 at 60 Hz, as 24 on 60 must be; 2 frames dropped in 9.8 s; timing error 4.2 ms RMS"
    )


def test_even_holds_leave_the_refresh_open_until_it_is_given() -> None:
    screen = Screen(F(30), F(60), 6)
    unknown = recorded(screen)
    assert unknown.refresh_hz is None
    assert unknown.pattern is None
    assert unknown.even
    assert unknown.refresh_candidates[:3] == (60, 90, 120)
    assert "held evenly to within 4.2 ms, 33.3 ms each" in unknown.verdict
    assert "as displays of 60, 90, 120" in unknown.verdict
    known = recorded(screen, display="60")
    assert known.pattern == (2,)
    assert known.verdict.startswith("held 2 refreshes at 60 Hz, as 30 on 60 must be")


def test_another_refresh_than_thought_is_found() -> None:
    reading = recorded(Screen(F(24), F(50), 6), display="60")
    assert reading.refresh_hz == 50
    assert "not of the 60 Hz that you named" in reading.explanation[0]
    assert "where 24 on 60 must be held 3:2" in reading.verdict


def test_a_display_set_down_to_save_power_is_found() -> None:
    reading = recorded(Screen(F(24), F(60), 6), display="120")
    assert reading.refresh_hz == 60
    assert "set down to save power" in reading.explanation[0]


def test_even_holds_that_the_display_cannot_show_are_not_counted_in_its_refreshes() -> None:
    reading = recorded(Screen(F(24), F(120), 6), display="60")
    assert reading.refresh_hz is None
    assert "which 60 Hz cannot do" in reading.explanation[0]


def test_a_halved_rate_is_recognised() -> None:
    screen = Screen(F(60), F(60), 6, lost=frozenset(range(1, 400, 2)))
    reading = recorded(screen, display="60")
    assert "Every other frame is left out" in reading.explanation[0]
    assert reading.drops_beyond == len(reading.dropped) > 150


def test_a_player_that_drops_is_blamed() -> None:
    screen = Screen(F(24), F(60), 6, lost=frozenset({30, 31, 60}))
    reading = recorded(screen)
    assert reading.dropped == (30, 31, 60)
    assert "that the cadence does not lose" in reading.explanation[0]


def test_a_rate_that_the_player_converted_is_explained() -> None:
    # 24 put on 30 frames a second, each of them two refreshes: 4, 2, 2, 2
    shown, k = [], 0
    for number in range(140):
        hold = 4 if number % 4 == 0 else 2
        shown.append(Shown(number, k, k + hold))
        k += hold
    screen = Screen(F(24), F(60), 0)
    reading = judge_recording(
        film(shown, screen, 240, seed=2), file="x", display=parse_display("60")
    )
    assert reading.pattern == (4, 2, 2, 2)
    assert any("first converted to 30" in text for text in reading.explanation)


def test_a_speed_that_is_not_the_clips_is_told() -> None:
    screen = Screen(F(24), F(60), 6)
    played = replace(screen, rate=F(25))
    watched = film(play(played), screen, 240, seed=1)
    reading = judge_recording(watched, file="x")
    assert any("25.00 instead of 24 frames a second, 4.2 % too fast" in e
               for e in reading.explanation)  # fmt: skip


def test_standing_mixtures_are_blends_and_passing_ones_are_not() -> None:
    screen = Screen(F(30), F(60), 6)
    passing = film(play(screen), screen, 480, seed=1, response=0.9)
    assert not judge_recording(passing, file="x").blended
    log = Sightings()
    identity = Identity.of(F(30), 7)
    for i in range(960):  # each second refresh pair shows a mixture of two
        number, part = divmod(i, 16)
        mixed = part >= 8
        log.take(F(i, 480), Seen(number, number + 1 if mixed else None, 0.5 * mixed, identity))
    standing = judge_recording(log.watched(), file="x")
    assert len(standing.blended) > 50
    assert any("motion smoothing" in text for text in standing.explanation)


def test_a_camera_slower_than_twice_the_refresh_says_so_and_counts_nothing() -> None:
    reading = recorded(Screen(F(24), F(60), 6), capture_hz=100, display="60")
    assert "slower than twice the refresh of 60 Hz" in reading.verdict
    assert "film in slow motion at 120 or more" in reading.verdict
    assert all(frame.refreshes is None for frame in reading.holds)
    slow = recorded(Screen(F(24), F(60), 6), capture_hz=60)
    assert "slower than twice the refresh of any display" in slow.verdict
    assert all(frame.refreshes is None for frame in slow.holds)


def test_a_display_too_fast_for_the_camera_is_not_taken_for_a_slower_one() -> None:
    for rate, refresh, capture in ((30, 144, 240), (60, 144, 240), (24, 60, 100)):
        reading = recorded(Screen(F(rate), F(refresh), 6, 0.3), capture_hz=capture)
        assert reading.refresh_hz is None
        assert all(frame.refreshes is None for frame in reading.holds)
        if not reading.even:
            said = " ".join([reading.verdict, *reading.warnings])
            assert (
                "slower than twice" in said
                or "would not show" in said
                or "cannot be seen" in said
                or "cannot be known" in said
            )


def test_less_than_a_period_is_said() -> None:
    reading = recorded(Screen(F(24000, 1001), F(60), 6))
    assert any("repeat only after 16.7 s" in warning for warning in reading.warnings)


def test_too_few_frames_give_no_pattern() -> None:
    reading = recorded(Screen(F(24), F(60), 0.35))
    assert reading.verdict.startswith("too short")
    assert reading.pattern is None


def test_nothing_read_is_said_with_the_reasons_counted() -> None:
    log = Sightings()
    for i in range(50):
        log.take(F(i, 240), Unread("too dark"))
    reading = judge_recording(log.watched(), file="x")
    assert reading.verdict.startswith("nothing was read")
    assert reading.unread == (("too dark", 50),)
    assert any("fill the picture" in warning for warning in reading.warnings)


def test_a_variable_display_holds_evenly() -> None:
    # a display that follows the clip: each frame for just 1/25 s, at no fixed refresh
    screen = Screen(F(25), F(25), 6)
    reading = recorded(screen, display="48-120")
    assert reading.even
    assert "adapts its refresh (48-120 Hz)" in reading.verdict


def test_random_holds_fit_no_refresh_and_get_no_pattern() -> None:
    rng = np.random.default_rng(3)
    shown, k = [], 0
    for number in range(200):
        hold = int(rng.integers(60, 140))  # in steps of 0.5 ms
        shown.append(Shown(number, k, k + hold))
        k += hold
    screen = Screen(F(20), F(2000), 0)
    reading = judge_recording(film(shown, screen, 240, seed=1), file="x")
    assert reading.refresh_hz is None
    assert reading.pattern is None
    assert "fit no fixed refresh" in reading.verdict
