"""Relative holds from simulated long exposures, against what the screen truly did."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from patterns.strip.hold import hold_row
from patterns.strip.photo import PhotoReading, Unread, read_photo
from patterns.strip.photo_curve import LightCurve, fit_curve
from tests.simulation.photo import photo_case, take

TOLERANCE = 0.08  # of the mean hold


def error(rate: Fraction, display: int, exposure_s: float, seed: int) -> float:
    """Largest error of a cell's hold, in mean holds."""
    case = photo_case("moderate", rate, display, seed)
    picture, truth = take(case, exposure_s, hold_row(rate).cells)
    reading = read_photo(picture)
    assert isinstance(reading, PhotoReading), reading
    assert reading.identity.rate == rate
    assert reading.clipped == ()
    return float(np.abs(reading.relative - truth / truth.mean()).max())


@pytest.mark.parametrize(
    ("rate", "display", "exposure_s"),
    [(Fraction(24), 60, 1.0), (Fraction(25), 60, 0.5), (Fraction(30000, 1001), 144, 2.0)],
)
def test_holds_within_eight_percent(rate: Fraction, display: int, exposure_s: float) -> None:
    assert error(rate, display, exposure_s, 11) < TOLERANCE


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(12))
def test_holds_of_more_photos(seed: int) -> None:
    rates = (Fraction(24000, 1001), Fraction(24), Fraction(25), Fraction(30), Fraction(50))
    assert error(rates[seed % 5], (50, 60, 90, 120, 144)[seed // 2 % 5], 1.0, seed) < TOLERANCE


def test_two_three_pulldown_shows_in_plain_sight() -> None:
    """24 on 60 Hz holds frames for 2 and 3 refreshes by turns: Poynton, Digital Video and
    HDTV (2003), "2-3 pulldown" (second-hand)."""
    rate = Fraction(24)
    case = photo_case("moderate", rate, 60, 40)
    case = replace(case, screen=replace(case.screen, response_s=1e-4))
    picture, truth = take(case, 1.0, 24)
    reading = read_photo(picture)
    assert isinstance(reading, PhotoReading)
    refreshes = np.array(reading.cells) * 60
    whole = np.rint(truth * 60)
    undisturbed = np.abs(truth * 60 - whole) < 0.02
    assert set(whole[undisturbed]) >= {2.0, 3.0}
    assert np.abs(refreshes - whole)[undisturbed].max() < TOLERANCE * 3


def test_over_exposed_references_are_said() -> None:
    case = photo_case("moderate", Fraction(24), 60, 3)
    picture, _ = take(replace(case, sensor=replace(case.sensor, gain=4.0)), 1.0, 24)
    reading = read_photo(picture)
    assert isinstance(reading, Unread)
    assert "clipped" in reading.reason or "over-exposed" in reading.reason


def test_pictures_that_are_no_such_photo() -> None:
    rng = np.random.default_rng(1)
    assert read_photo(np.zeros((20, 3000, 3), np.uint8)) == Unread(
        "the picture is smaller than any strip"
    )
    assert isinstance(read_photo(rng.integers(0, 256, (400, 600, 3), np.uint8)), Unread)
    assert isinstance(read_photo(np.full((400, 600), 128, np.uint8)), Unread)


@pytest.mark.parametrize("power", [0.8, 1.0, 1.25])
def test_curve_of_unresolved_halftones_is_found(power: float) -> None:
    """Known answer: where light was raised to 1/power, the curve's exponent is `power`."""
    fractions = np.array([1 / 30, 1 / 16, 1 / 8, 1 / 4, 1 / 2, 3 / 4])
    written = fractions ** (1 / power)

    def misfit(curve: LightCurve) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        return np.asarray(np.log(curve.light(written) / fractions), np.float64)

    curve, rms = fit_curve(misfit)
    assert rms < 0.02
    assert np.abs(curve.light(written) / fractions - 1).max() < 0.04
