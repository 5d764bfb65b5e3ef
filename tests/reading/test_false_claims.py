"""Nothing is claimed of a recording that it does not show: a small part of the trial.

`python -m tests.simulation.recordings` runs it at length; here are the cases of which an
earlier reader said something false, and one or two of every kind.
"""

from __future__ import annotations

from fractions import Fraction as F

import numpy as np
import pytest

from patterns.reading.reading import Reading
from patterns.reading.recording import judge_recording
from patterns.timing.cadence import Display, parse_display
from tests.reading.screen import Shown
from tests.simulation.filmed import Camera, Picture, film, fixed, smoothed, variable
from tests.simulation.recordings import NAMED, Case, draw, faults_of


def read(case: Case) -> Reading:
    watched = film(case.pictures, case.rate, case.camera, case.seed)
    return judge_recording(watched, file="x", display=case.display)


def seen(pictures: list[Picture], rate: int, camera: Camera, display: str | None = None) -> Reading:
    given: Display | None = parse_display(display) if display else None
    return judge_recording(film(pictures, F(rate), camera, 1), file="x", display=given)


@pytest.mark.parametrize("seed", range(len(NAMED)))
def test_rates_that_only_look_even_are_not_called_so(seed: int) -> None:
    case = draw("named", seed)
    reading = read(case)
    assert faults_of(case, reading) == []
    # of these only 30 on 60 is even; none can be told surely at these capture rates
    assert reading.even is not True or case.rate == 30
    if reading.even is None and reading.refresh_hz is None:
        assert "would not show" in reading.verdict or "slower than twice" in reading.verdict


KINDS = ("lost and late", "late", "coarse", "slow", "hidden", "twice", "odd", "plain")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", [0, 5])
def test_nothing_false_is_claimed(kind: str, seed: int) -> None:
    case = draw(kind, seed)
    assert faults_of(case, read(case)) == []


@pytest.mark.parametrize("seed", [22, 40, 537, 715, 807, 3124])
def test_a_second_of_a_player_that_cannot_keep_up_names_no_other_refresh_or_speed(
    seed: int,
) -> None:
    """Stalls are no other speed; a refresh is named only where no other says as much."""
    case = draw("short", seed)
    assert faults_of(case, read(case)) == []


def test_late_frames_tell_a_refresh_from_its_double_once_there_are_several() -> None:
    def found(stalls: set[int], refresh_hz: int) -> Reading:
        shown = fixed(60, refresh_hz, 2.5, 0.3, stalls=frozenset(stalls))
        return seen(shown, 60, Camera(480))

    few, several = {20, 70}, {12, 25, 33, 50, 68, 81, 97, 110}
    assert {60, 120} <= set(found(few, 60).refresh_candidates)
    assert found(few, 60).refresh_hz is None
    assert found(several, 60).refresh_hz == 60
    assert found(several, 120).refresh_hz == 120


@pytest.mark.parametrize("flow", [False, True], ids=["blended", "optical flow"])
@pytest.mark.parametrize(("rate", "refresh_hz"), [(24, 60), (30, 60), (25, 50), (24, 120)])
def test_a_screen_that_makes_pictures_between_frames_is_told(
    rate: int, refresh_hz: int, flow: bool
) -> None:
    shown = smoothed(rate, refresh_hz, 3, 0.02, flow=flow)
    reading = seen(shown, rate, Camera(240, response_s=0.2 / refresh_hz))
    assert "motion smoothing off" in reading.verdict
    assert reading.pattern is None
    assert reading.even is None
    assert reading.error is None


def test_a_slow_panel_is_not_taken_for_motion_smoothing() -> None:
    for response_s in (0.012, 0.02):
        reading = seen(fixed(24, 60, 4, 0.3), 24, Camera(240, response_s=response_s))
        assert reading.pattern == (3, 2)
        assert not reading.blended


@pytest.mark.parametrize("gain", [2.5, 4.0])
def test_clipped_white_makes_no_pictures_between_frames(gain: float) -> None:
    """A slow change whose both frames are clipped seems to stand still and then to step on."""
    camera = Camera(240, response_s=0.016, gain=gain, noise=0.03)
    reading = seen(fixed(24, 60, 4, 0.3), 24, camera)
    assert "white is clipped" in reading.verdict
    assert "less exposure" in reading.verdict
    assert any("shares is not known" in warning for warning in reading.warnings)
    assert (reading.pattern, reading.even, reading.error, reading.blended) == (None, None, None, ())
    assert not reading.out_of_order


def test_over_exposure_does_not_hide_motion_smoothing() -> None:
    shown = smoothed(24, 60, 3, 0.02, flow=False)
    reading = seen(shown, 24, Camera(240, response_s=0.003, gain=1.5, noise=0.03))
    assert "motion smoothing" in reading.verdict
    assert (reading.pattern, reading.even, reading.error, reading.blended) == (None, None, None, ())


@pytest.mark.parametrize("jitter_s", [0.003, 0.005])
def test_jitter_on_a_variable_refresh_is_not_even_beyond_the_spread_stated(
    jitter_s: float,
) -> None:
    for seed in range(4):
        shown = variable(24, 4, jitter_s, np.random.default_rng(seed))
        for capture_hz in (120, 240):
            reading = seen(shown, 24, Camera(capture_hz, 0.1 + seed * 0.003), "48-120")
            if reading.even:
                assert reading.details["even_within_ms"] >= 1900 * jitter_s
            assert (
                reading.error is None or reading.error.rms_ms > 0 or "right to" in reading.verdict
            )


def test_evenness_is_told_with_its_spread() -> None:
    reading = seen(fixed(30, 60, 4, 0.3), 30, Camera(239.76))
    assert reading.even
    assert f"held evenly to within {reading.details['even_within_ms']:.1f} ms" in reading.verdict


def test_frames_that_were_not_seen_stand_in_the_verdict() -> None:
    camera = Camera(240, covered=(1.0, 1.6))
    reading = seen(fixed(24, 60, 4, 0.3), 24, camera)
    assert len(reading.unseen) > 10
    assert f"as far as was seen ({len(reading.unseen)} frames unseen)" in reading.verdict
    even = seen(fixed(30, 60, 4, 0.3), 30, camera)
    assert even.even is None
    assert "in what was seen" in even.verdict


def test_a_short_loop_and_a_seek_back_are_stretches_and_no_disorder() -> None:
    loop = fixed(24, 60, 5, 0.3, order={n: n % 17 for n in range(200)})
    back = fixed(24, 60, 5, 0.3, order={n: n - 12 * (n >= 60) for n in range(200)})
    for shown in (loop, back):
        reading = seen(shown, 24, Camera(240))
        assert reading.details["passages"] > 1
        assert not reading.out_of_order
        assert not reading.dropped
        assert reading.pattern == (3, 2)
        assert reading.error is not None
        assert reading.error.rms_ms < 5  # 4.2 by arithmetic: 3:2 on 60
        assert reading.speed == 1.0


def test_frames_swapped_in_pairs_are_out_of_order_and_not_dropped() -> None:
    reading = seen(fixed(24, 60, 4, 0.3, order={n: n ^ 1 for n in range(200)}), 24, Camera(240))
    assert len(reading.out_of_order) > 40
    assert not reading.dropped


def test_frames_swapped_in_pairs_are_not_played_evenly_though_each_is_held_alike() -> None:
    reading = seen(fixed(60, 60, 4, 0.3, order={n: n ^ 1 for n in range(300)}), 60, Camera(120))
    assert len(reading.out_of_order) > 100
    assert reading.even is False
    assert "must be" not in reading.verdict


def test_a_short_recording_names_59_94_beside_60() -> None:
    for refresh_hz in (60, 60000 / 1001):
        reading = seen(fixed(24, refresh_hz, 3, 0.3), 24, Camera(240))
        assert "at 59.94 or 60 Hz" in reading.verdict
        assert {F(60000, 1001), F(60)} <= set(reading.refresh_candidates)
    long = seen(fixed(24, 60, 15, 0.3), 24, Camera(240))
    assert long.refresh_hz == 60
    assert not long.refresh_candidates


@pytest.mark.parametrize("clock_hz", [600, 1000])
def test_times_on_a_coarse_clock_are_put_on_a_line(clock_hz: int) -> None:
    shown = fixed(24, 60, 4, 0.3)
    fine = seen(shown, 24, Camera(240))
    reading = seen(shown, 24, Camera(240, clock_hz=clock_hz))
    assert reading.pattern == fine.pattern == (3, 2)
    for frame, true in zip(reading.holds, fine.holds, strict=True):
        assert abs(frame.hold_s - true.hold_s) < 2e-4


def test_pictures_lost_by_the_camera_do_not_change_its_rate() -> None:
    reading = seen(fixed(24, 60, 4, 0.3), 24, Camera(240, lost=0.03, clock_hz=600))
    assert reading.capture_hz == pytest.approx(240, rel=1e-3)


@pytest.mark.parametrize(
    ("rate", "refresh_hz", "capture_hz", "clock_hz", "lost", "response_s"),
    [(30, 60, 240, 600, 0.0, 0.01), (60, 120, 240, 600, 0.0, 0.005), (24, 60, 240, 600, 0.06, 0.0),
     (24, 60, 480, 600, 0.0, 0.0), (24, 60, 240, 1000, 0.1, 0.0)],
)  # fmt: skip
def test_a_coarse_clock_does_not_change_the_cameras_rate(
    rate: int, refresh_hz: int, capture_hz: int, clock_hz: int, lost: float, response_s: float
) -> None:
    camera = Camera(capture_hz, response_s=response_s, lost=lost, clock_hz=clock_hz)
    reading = seen(fixed(rate, refresh_hz, 6, 0.1), rate, camera)
    assert reading.capture_hz == pytest.approx(capture_hz, rel=1e-3)


@pytest.mark.parametrize("seed", [2, 16, 71, 91, 98, 998])
def test_a_camera_that_loses_pictures_is_not_taken_for_a_faster_one(seed: int) -> None:
    """On a clock of 1/600 s or 1 ms; where times cannot tell, the pictures in the file count."""
    case = draw("coarse", seed)
    capture_hz = read(case).capture_hz
    assert capture_hz is not None
    assert 1 - case.camera.lost - 0.01 < capture_hz / case.camera.capture_hz < 1.001


def test_holds_are_right_to_what_is_said() -> None:
    case = draw("hidden", 2)
    reading = read(case)
    said = reading.details["holds_within_ms"]
    assert any(f"right to {said:.1f} ms" in warning for warning in reading.warnings)
    assert faults_of(case, reading) == []


def test_a_pattern_is_what_repeats_and_the_rest_is_counted() -> None:
    shown, k = [], 0
    for n in range(120):
        hold = (4, 4, 4, 3)[n % 4] + (n in (21, 50, 78, 99))
        shown.append(Shown(n, k, k + hold))
        k += hold
    pictures = [Picture(s.start / 90, ((s.number, 1.0),)) for s in shown]
    reading = seen(pictures, 24, Camera(240, response_s=0.003))
    assert reading.pattern == (4, 4, 4, 3)
    assert "held 4:4:4:3 at 90 Hz, as 24 on 90 must be" in reading.verdict
    assert "held too long" in reading.verdict
