"""Mains light against numerical integration, a brute-force search and remembered figures."""

from __future__ import annotations

from fractions import Fraction
from math import cos, pi, sin

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from patterns.errors import RequestError
from patterns.timing.mains import (
    alias_hz,
    check_light,
    clean_exposures,
    lamp_hz,
    nearest_clean,
    residual_share,
)
from patterns.timing.shutter import shutter_angle

F = Fraction

# Pulses, rate, exposure, share left, beat: computed from m |sin(pi F T)/(pi F T)| and
# |F - n f|, rounded to the digits given.
TABLE = [
    (100, "24", "1/48", 0.0395, 4),
    (100, "24", "1/50", 0.0, 4),
    (100, "24", "1/60", 0.1654, 4),
    (100, "30", "1/60", 0.1654, 10),
    (100, "60", "1/120", 0.1910, 20),
    (120, "25", "1/50", 0.1261, 5),
    (120, "25", "1/60", 0.0, 5),
    (120, "50", "1/100", 0.1559, 20),
    (120, "24", "1/48", 0.1273, 0),
    (100, "24", "1/240", 0.7379, 4),
]


@pytest.mark.parametrize(("pulses", "rate", "exposure", "left", "beat"), TABLE)
def test_the_table(pulses: int, rate: str, exposure: str, left: float, beat: int) -> None:
    found = check_light(F(pulses), F(rate), F(exposure), 1.0)
    assert found.modulation == pytest.approx(left, abs=5e-5)
    assert found.beat_hz == beat


def integrated(pulses: float, exposure: float, start: float, depth: float) -> float:
    """Mean light of one exposure, by SciPy's quadrature of a lamp that follows a cosine."""
    value, _ = quad(
        lambda t: 1 + depth * cos(2 * pi * pulses * t), start, start + exposure, limit=200
    )
    return float(value) / exposure


@given(st.sampled_from([100, 120]), st.integers(24, 120), st.integers(1, 360), st.floats(0.05, 1.0))
def test_what_is_left_is_the_spread_of_the_integrated_exposures(
    pulses: int, rate: int, angle: int, depth: float
) -> None:
    exposure = F(angle, 360 * rate)
    # Over all places at which an exposure can meet the lamp, the spread is twice what is left.
    starts = np.arange(64) / 64 / pulses
    frames = [integrated(pulses, float(exposure), t, depth) for t in starts]
    expected = depth * residual_share(F(pulses), exposure)
    assert (max(frames) - min(frames)) / 2 == pytest.approx(expected, rel=2e-3, abs=1e-6)


@pytest.mark.parametrize("pulses", [100, 120])
@pytest.mark.parametrize("rate", ["24", "25", "30", "30000/1001", "48", "50", "60"])
def test_clean_exposures_are_what_a_brute_force_search_finds(pulses: int, rate: str) -> None:
    f = F(rate)

    def light(t: float) -> float:  # integral of a rectified sine, a waveform with all harmonics
        whole, part = divmod(t * pulses, 1)
        return 2 * whole + 1 - cos(pi * part)

    found = []
    for j in range(1, int(1200 / f) + 1):  # every multiple of 1/1200 s that fits a frame
        exposure = F(j, 1200)
        starts = [float(n / f) + 0.00137 for n in range(97)]  # no special place of the cycle
        frames = [light(t + float(exposure)) - light(t) for t in starts]
        if max(frames) - min(frames) < 1e-7:
            found.append(exposure)
    expected = list(clean_exposures(F(pulses), f))
    if alias_hz(F(pulses), f) == 0:  # then every exposure is steady, these among them
        assert set(expected) <= set(found)
        assert len(found) == int(1200 / f)
    else:
        assert found == expected


def test_thirty_frames_under_both_mains() -> None:
    # Common practice, no source: under 60 Hz mains any shutter at 30 fps is clean, under
    # 50 Hz mains 30 fps wants 1/50 or 1/100 s (3/100 s holds whole cycles as well).
    assert alias_hz(lamp_hz(60), F(30)) == 0
    assert clean_exposures(lamp_hz(50), F(30)) == (F(1, 100), F(1, 50), F(3, 100))


def test_clean_angles_of_25_fps_under_60_hz() -> None:
    # From memory, no source seen: 75, 150, 225 and 300 degrees.
    angles = [shutter_angle(t, F(25)) for t in clean_exposures(F(120), F(25))]
    assert angles == [75, 150, 225, 300]


def test_rates_that_follow_the_light() -> None:
    # From memory, no source seen: 120/n and 100/n.
    for pulses, rates in (
        (120, ["60", "40", "30", "24", "20"]),
        (100, ["50", "100/3", "25", "20"]),
    ):
        assert all(alias_hz(F(pulses), F(rate)) == 0 for rate in rates)
    assert alias_hz(F(100), F(24)) == 4


@pytest.mark.parametrize("rate", ["30000/1001", "60000/1001"])
def test_near_multiples_breathe_slowly_and_are_not_called_steady(rate: str) -> None:
    # 29.97 and 59.94 under 120 Hz: 0.1199 Hz, once in 8.34 s (computed).
    found = check_light(F(120), F(rate), F(1, 100), 0.5)
    assert found.steadiness == "slow beat"
    assert not found.steady
    assert float(found.beat_hz) == pytest.approx(0.1199, abs=5e-5)
    assert found.beat_period_s is not None
    assert float(found.beat_period_s) == pytest.approx(8.34, abs=5e-3)
    assert found.modulation == pytest.approx(0.5 * abs(sin(1.2 * pi)) / (1.2 * pi))
    assert check_light(F(120), F(rate), F(1, 60), 0.5).steady


def test_nearest_clean_is_nearest_by_ratio_and_may_not_exist() -> None:
    assert nearest_clean(F(100), F(24), F(1, 48)) == F(1, 50)
    assert nearest_clean(F(120), F(25), F(1, 50)) == F(1, 60)
    assert nearest_clean(F(120), F(30), F(1, 77)) == F(1, 77)  # the rate follows the light
    assert nearest_clean(F(100), F(120), F(1, 240)) is None
    for k in range(1, 40):
        target = F(k, 960)
        best = nearest_clean(F(100), F(24), target)
        assert best is not None
        ratios = [max(t / target, target / t) for t in clean_exposures(F(100), F(24))]
        assert max(best / target, target / best) == min(ratios)


def test_impossible_requests() -> None:
    with pytest.raises(RequestError, match="allowed are 50, 60 or none"):
        lamp_hz(55)
    with pytest.raises(RequestError, match="outside 0 to 100 percent"):
        check_light(F(100), F(24), F(1, 50), 1.2)
