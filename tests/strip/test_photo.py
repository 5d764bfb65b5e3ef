"""Relative holds from simulated long exposures, against what the screen truly did."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from patterns.picture.arrays import FloatArray
from patterns.strip.code import hold_row
from patterns.strip.photo import RIGHT_TO, PhotoReading, read_photo
from patterns.strip.photo_light import Known, Scales, smooth_field
from patterns.strip.photo_pixels import LightCurve, fit_curve
from patterns.strip.read import Unread
from tests.simulation.camera import _tone
from tests.simulation.photo import cell_errors, photo_case, take
from tests.simulation.photo_faults import cases, photograph
from tests.simulation.photo_trial import claimed, read_case, wrong_claims

TOLERANCE = 0.08  # of the true hold, or of the mean hold where that is longer


def error(rate: Fraction, display: int, exposure_s: float, seed: int) -> float:
    """Largest error of a cell's hold; all must be told."""
    case = photo_case("moderate", rate, display, seed)
    picture, truth = take(case, exposure_s, hold_row(rate).cells)
    reading = read_photo(picture)
    assert isinstance(reading, PhotoReading), reading
    assert reading.identity.rate == rate
    assert reading.clipped == ()
    assert all(reading.known)
    return float(cell_errors(np.array(reading.cells), truth).max())


@pytest.mark.parametrize(
    ("rate", "display", "exposure_s", "seed"),
    [
        ("24000/1001", 50, 0.5, 5),
        ("30", 120, 1.0, 3),
        ("50", 144, 2.0, 9),
    ],
)
def test_holds_within_eight_percent(rate: str, display: int, exposure_s: float, seed: int) -> None:
    """At the shortest exposure, the usual and the longest; the table by photo_trial is wider."""
    assert error(Fraction(rate), display, exposure_s, seed) < TOLERANCE


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


def standard_code(light: FloatArray) -> FloatArray:
    """IEC 61966-2-1."""
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def camera_code(light: FloatArray, contrast: float) -> FloatArray:
    """The same, then a phone's S-curve."""
    return np.asarray(_tone(light.astype(np.float32), contrast), np.float64)


def fitted(code: FloatArray, light: FloatArray) -> tuple[LightCurve, float]:
    return fit_curve(lambda curve: np.log(curve.light(code) / light))


FRACTIONS = np.array([1 / 30, 1 / 16, 1 / 8, 1 / 4, 1 / 2, 3 / 4])


@pytest.mark.parametrize("power", [0.9, 1.0, 1.1])
def test_curve_of_unresolved_halftones_is_found(power: float) -> None:
    """Known answer: where light was raised to 1/power, the curve's exponent undoes that."""
    code = standard_code(FRACTIONS ** (1 / power))
    curve, rms = fitted(code, FRACTIONS)
    assert rms < 0.02
    assert np.abs(curve.light(code) / FRACTIONS - 1).max() < 0.04


@pytest.mark.parametrize("contrast", [0.0, 0.25, 0.5])
def test_curve_of_a_camera_holds_below_its_darkest_reference(contrast: float) -> None:
    curve, rms = fitted(camera_code(FRACTIONS, contrast), FRACTIONS)
    dark = np.array([0.004, 0.01, 0.02])
    assert rms < 0.005
    assert np.abs(curve.light(camera_code(dark, contrast)) / dark - 1).max() < 0.1


def test_curve_that_falls_is_seen() -> None:
    assert LightCurve().rises
    assert not LightCurve(p=-1.5).rises


def test_field_is_right_to_what_it_says() -> None:
    """A slope and a reflection, seen through noise in patches above and below a row."""
    rng = np.random.default_rng(3)
    at = np.stack([np.tile(np.linspace(0, 1, 40), 2), np.repeat([0.01, 0.05], 40)], 1)
    row = np.stack([np.linspace(0.1, 0.6, 25), np.full(25, 0.035)], 1)

    def truth(p: FloatArray) -> FloatArray:
        return 0.05 + 0.02 * p[:, 0] + 0.04 * np.exp(-0.5 * ((p[:, 0] - 0.3) / 0.12) ** 2)

    def terms(p: FloatArray) -> FloatArray:
        return np.concatenate([np.ones((len(p), 1)), p], axis=1)

    noise = 0.002
    scales = Scales((0.1, 0.3), (0.06, 0.2), (0.001, 0.01, 0.03), (0.0002, 0.001))
    sigmas = []
    for _ in range(20):
        values = truth(at) + noise * rng.standard_normal(len(at))
        known = Known(at, np.full(len(at), noise**2), terms(at))
        field = smooth_field(known, values, row, terms(row), scales)
        off = field.weights @ values - truth(row)
        assert np.abs(off).max() < 0.004
        sigmas.append(off / np.sqrt(np.diag(field.covariance)))
    assert 0.6 < np.sqrt(np.mean(np.square(sigmas))) < 1.4


@pytest.mark.parametrize(("level", "count", "least"), [("moderate", 2, 1.0), ("hard", 4, 0.5)])
def test_every_hold_that_is_told_is_within_eight_percent(
    level: str, count: int, least: float
) -> None:
    errors, told, sigmas = [], [], []
    for i in range(count):
        rate, display = (
            (Fraction(24), 60),
            (Fraction(30), 144),
            (Fraction(25), 90),
            (Fraction(50), 60),
        )[i]
        case = photo_case(level, rate, display, 21000 + i)
        picture, truth = take(case, 1.0, hold_row(rate).cells)
        reading = read_photo(picture)
        assert isinstance(reading, PhotoReading), reading
        cells = np.array(reading.cells)
        errors.append(cell_errors(cells, truth))
        told.append(reading.known)
        off = cells / cells.mean() - truth / truth.mean()
        sigmas.append(off / (np.array(reading.uncertainty) / cells.mean()))
    error, known, sigma = (np.concatenate(part) for part in (errors, told, sigmas))
    assert (error[known] <= RIGHT_TO).all(), error[known].max()
    assert known.mean() >= least
    # what is stated about each cell is neither too good nor much too bad
    assert 0.5 < np.sqrt(np.mean(sigma**2)) < 1.2
    assert (np.abs(sigma) > 3.5).mean() < 0.01


# One case of each kind that was read wrongly before; the whole trial is
# python -m tests.simulation.photo_trial SEED, whose seeds 2 and 3 tuned nothing.
REGRESSION = {
    "steady 7": "told",  # 59.94 on 60 Hz: every cell lit twice
    "lost 4": "told",
    "exposure 9": "told",  # 0.9 s
    "seam 2": "unsure",
    "double 0": "unsure",
    "stack 0": "unsure",
    "window 7": "unsure",
}


@pytest.mark.parametrize("name", REGRESSION)
def test_photos_of_what_goes_wrong_lead_to_no_wrong_claim(name: str) -> None:
    (case,) = (c for c in cases(1) if c.name == name)
    picture, shown = photograph(case)
    said = read_case(case, picture)
    assert list(wrong_claims(case, shown, said)) == []
    assert claimed(said) is (REGRESSION[name] == "told"), said.verdict
