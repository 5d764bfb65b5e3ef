"""The tracked-eye picture against a brute-force simulation, and against what is published."""

from __future__ import annotations

from fractions import Fraction as F

import numpy as np
import pytest

from patterns.errors import RequestError
from patterns.picture.arrays import FloatArray
from patterns.present.tracked_eye import (
    LINE_LEFT,
    box_mean,
    double_edge_px,
    hold_blur_px,
    retinal_boxes,
    tracked_eye_slide,
    tracked_picture,
    with_contrast,
)
from patterns.timing.cadence import Display, cadence

CASES = [(24, 60, 480.0), (30, 60, 480.0), (25, 60, 240.0), (60, 50, 300.0), (24, 60, -480.0)]


def brute_force(still: FloatArray, rate: F, refresh_hz: F, speed: float) -> FloatArray:
    """Walk through time in small steps, as the definition says, with nothing in closed form.

    At each moment the display shows the last frame that is due at the last refresh; the eye
    is where the object would be.
    """
    seconds = 1 / F(np.gcd(int(rate), int(refresh_hz)))  # whole frames and whole refreshes
    steps = 1500
    x = np.arange(still.size, dtype=float)
    total = np.zeros_like(still)
    offsets = []
    for i in range(steps):
        t = (i + 0.5) / steps * float(seconds)
        refresh = int(t * float(refresh_hz))
        n = int(F(refresh) * rate / refresh_hz)
        offsets.append(speed * (t - n / float(rate)))
    middle = np.mean(offsets)
    for offset in offsets:
        total += np.interp(x + offset - middle, x, still)
    return total / steps


@pytest.mark.parametrize(("rate", "refresh", "speed"), CASES)
def test_it_agrees_with_a_simulation_in_small_steps(rate: int, refresh: int, speed: float) -> None:
    rng = np.random.default_rng(7)
    still = np.convolve(rng.random(400), np.ones(5) / 5, "same")
    shown = tracked_picture(still, cadence(F(rate), Display.fixed(refresh)), speed)
    simulated = brute_force(still, F(rate), F(refresh), speed)
    inner = slice(60, -60)  # beyond the ends nothing is known
    assert np.abs(shown[inner] - simulated[inner]).max() < 2e-3


@pytest.mark.parametrize(("rate", "refresh"), [(24, 60), (25, 60), (24, 75), (50, 60)])
def test_the_copies_of_an_edge_lie_span_times_speed_apart(rate: int, refresh: int) -> None:
    held = cadence(F(rate), Display.fixed(refresh))
    speed = 24.0 * refresh * held.period_frames  # neighbouring copies are 24 pixels apart
    still = np.where(np.arange(6000) >= 3000, 1.0, 0.0)  # one sharp edge
    shown = tracked_picture(still, held, speed)
    # Each frame smears the edge into a ramp; a ramp begins where the slope steps up.
    slope = np.diff(shown)
    steps = np.flatnonzero(np.diff(slope) > slope.max() / (4 * held.period_frames))
    groups = np.split(steps, np.flatnonzero(np.diff(steps) > 3) + 1)
    begins = [group.mean() for group in groups]
    assert len(begins) == held.period_frames
    assert begins[-1] - begins[0] == pytest.approx(double_edge_px(held, speed), abs=1)
    assert double_edge_px(held, speed) == pytest.approx(float(held.timing_error_span_s) * speed)


def test_an_even_cadence_smears_over_speed_times_hold_time() -> None:
    # Klompenhouwer et al. 2004 (second-hand) and Denes et al. 2020, eq. 4: v/f.
    # 960 px/s at 60 Hz is 16 px.
    sixty = cadence(F(60), Display.fixed(60))
    assert hold_blur_px(sixty, 960) == 16
    still = np.where(np.arange(400) >= 200, 1.0, 0.0)
    ramp = tracked_picture(still, sixty, 960.0)
    grey = np.flatnonzero((ramp > 1e-6) & (ramp < 1 - 1e-6))
    assert grey[-1] - grey[0] + 1 == pytest.approx(16, abs=1.5)
    # Denes et al.: 15 deg/s at 24 fps is 0.625 deg; the unit is the speed's.
    assert hold_blur_px(cadence(F(24), Display.fixed(24)), 15) == 0.625


def test_24_on_60_lands_in_two_lengths_as_reckoned_by_hand() -> None:
    boxes = retinal_boxes(cadence(F(24), Display.fixed(60)), 1.0)
    # Frame 0 stays 0 to 50 ms; frame 1, due at 41.7, stays from 50 to 83.3 ms.
    assert [(b.start_px, b.end_px, b.share) for b in boxes] == [
        pytest.approx((0, 3 / 60, 0.6)),
        pytest.approx((3 / 60 - 1 / 24, 5 / 60 - 1 / 24, 0.4)),
    ]


def test_light_is_kept() -> None:
    still = np.zeros(600)
    still[280:320] = 1
    shown = tracked_picture(still, cadence(F(25), Display.fixed(60)), 480)
    assert shown.sum() == pytest.approx(still.sum())


def test_a_wide_box_is_a_mean() -> None:
    row = np.arange(100.0) ** 2
    fine = np.interp(np.linspace(10 - 2.5, 10 + 4.25, 200_001), np.arange(100), row)
    assert box_mean(row, -2.5, 4.25)[10] == pytest.approx(fine.mean(), rel=1e-6)


@pytest.mark.parametrize("count", [0, 5])
def test_a_slide_takes_one_to_four_rates(count: int) -> None:
    with pytest.raises(RequestError, match="1 to 4"):
        tracked_eye_slide([cadence(F(24), Display.fixed(60))] * count)


def test_the_slide_shows_the_model_that_it_uses() -> None:
    slide = np.asarray(tracked_eye_slide([cadence(F(24), Display.fixed(60))]))
    assert slide.shape == (1080, 1920, 3)
    rest, followed = slide[250:310, 570:1290], slide[481:541, 570:1290]
    sharp, soft = (np.abs(np.diff(p[..., 1].astype(int), axis=1)).max() for p in (rest, followed))
    assert soft < sharp / 2


def test_a_good_row_for_contrast_is_always_there_and_none_is_dropped() -> None:
    def rates(hz: int, *given: int) -> list[F]:
        return [c.rate for c in with_contrast([cadence(F(r), Display.fixed(hz)) for r in given])]

    assert rates(60, 24, 30) == [24, 30, 60]
    assert rates(120, 24) == [24, 60]
    assert rates(50, 24, 25) == [24, 25, 50]  # 60 would judder there
    assert rates(60, 24, 25, 48, 60) == [24, 25, 48, 60]
    assert tracked_eye_slide([cadence(F(r), Display.fixed(60)) for r in (24, 25, 30, 48)])


@pytest.mark.parametrize(("rate", "steps"), [(24, 2), (30, 1), (60, 1)])
def test_a_fine_line_has_as_many_steps_at_its_side_as_edges(rate: int, steps: int) -> None:
    """On the slide: 24 on 60 has two ghost edges, v/120 apart; even rates have one."""
    slide = np.asarray(tracked_eye_slide([cadence(F(rate), Display.fixed(60))]))
    row = slide[232 + (1080 - 232 - 156) // (3 if rate != 60 else 2) + 20, LINE_LEFT:1816, 1]
    row = row.astype(int)
    rising = np.flatnonzero(np.diff(row) > 20)
    assert len(rising) == steps
    if steps == 2:
        falling = np.flatnonzero(np.diff(row) < -20)
        whole = falling[-1] - rising[0]
        # Smears of 6 and 4 parts of 1/120 s about one middle: their edges are 1 part apart.
        assert (rising[1] - rising[0]) / whole == pytest.approx(1 / 6, abs=0.01)
