"""Shutter angle and exposure time."""

from __future__ import annotations

from fractions import Fraction

import pytest

from patterns.errors import RequestError
from patterns.timing.shutter import (
    exposure_of_angle,
    format_exposure,
    parse_angle,
    parse_exposure,
    shutter_angle,
)


@pytest.mark.parametrize(
    ("angle", "rate", "exposure"),
    [
        # exposure = angle / (360 x rate), "180 degrees at 24 is 1/48 s": Brown,
        # *Cinematography: Theory and Practice*, exposure, table 10.6 (second-hand).
        ("180", "24", "1/48"),
        # 172.8 degrees gives 1/50 s at 24: common practice under 50 Hz mains, no source.
        ("172.8", "24", "1/50"),
        ("360", "30", "1/30"),
        ("0", "24", "0"),
    ],
)
def test_angles_and_exposures_of_the_trade(angle: str, rate: str, exposure: str) -> None:
    assert exposure_of_angle(Fraction(angle), Fraction(rate)) == Fraction(exposure)
    assert shutter_angle(Fraction(exposure), Fraction(rate)) == Fraction(angle)


def test_an_ntsc_rate_keeps_the_angle_exact() -> None:
    exposure = exposure_of_angle(Fraction(180), Fraction(24000, 1001))
    assert exposure == Fraction(1001, 48000)


def test_an_exposure_longer_than_a_frame_names_the_longest() -> None:
    with pytest.raises(RequestError, match=r"1/20 s does not fit .* the longest allowed is 1/24 s"):
        shutter_angle(Fraction(1, 20), Fraction(24))


@pytest.mark.parametrize("text", ["361", "720"])
def test_an_angle_beyond_a_circle_is_refused(text: str) -> None:
    with pytest.raises(RequestError, match="outside 0 to 360 degrees"):
        parse_angle(text)


@pytest.mark.parametrize("text", ["", "-1", "half", "nan", "1/2"])
def test_what_is_no_angle_is_refused(text: str) -> None:
    with pytest.raises(RequestError, match="is not an angle"):
        parse_angle(text)


def test_exposures_are_read_as_fractions_and_decimals() -> None:
    assert parse_exposure("1/50") == parse_exposure("0.02") == parse_exposure("1/50 s")
    assert parse_exposure("1/59.94") == Fraction(100, 5994)


@pytest.mark.parametrize("text", ["", "1/0", "fast", "-1/50", "1/"])
def test_what_is_no_exposure_is_refused(text: str) -> None:
    with pytest.raises(RequestError, match="is not a time"):
        parse_exposure(text)


@pytest.mark.parametrize(
    ("exposure", "text"),
    [("1/48", "1/48 s"), ("1001/48000", "1/47.952 s"), ("0", "0 s"), ("3/4", "0.75 s")],
)
def test_exposures_are_written_as_photographers_do(exposure: str, text: str) -> None:
    assert format_exposure(Fraction(exposure)) == text
