"""Exposure values against the definition and worked figures; parsing of what people type."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patterns.errors import RequestError
from patterns.timing.shutter import (
    MeteredExposure,
    exposure_for_ev100,
    exposure_value,
    parse_metered,
)

F = Fraction


def test_worked_values() -> None:
    # EV = log2(N^2/t), from memory; numbers computed.
    assert exposure_value(F("2.8"), F(1, 50)) == pytest.approx(8.615, abs=5e-4)
    assert exposure_value(F(1), F(1)) == 0
    # f/16 at 1/ISO s in full sun (rule from memory): EV 14.644 at 1/100, 14.966 at 1/125.
    assert MeteredExposure(F(100), F(16), F(1, 100)).ev100 == pytest.approx(14.644, abs=5e-4)
    assert MeteredExposure(F(100), F(16), F(1, 125)).ev100 == pytest.approx(14.966, abs=5e-4)
    assert MeteredExposure(F(400), F(16), F(1, 400)).ev100 == pytest.approx(14.644, abs=5e-4)


@pytest.mark.parametrize(
    "text",
    [
        "ISO100 f/2.8 1/2000",
        "iso 100, f2.8, 1/2000 s",
        "1/2000s F/2.8 ISO-100",
        "f/2.8 1/2000 EI100",
        "  ISO:100  1/2000sec  f 2.8 ",
        "T2.8 1/2000 iso=100",
        "ISO100 f/2.8 0.0005",
    ],
)
def test_forms_that_people_type(text: str) -> None:
    assert parse_metered(text) == MeteredExposure(F(100), F("2.8"), F(1, 2000))


def test_whole_seconds() -> None:
    assert parse_metered("ISO 800 f/4 2s").exposure_s == 2
    assert parse_metered("ISO 800 f/4 2s").text == "ISO 800, f/4, 2 s"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("f/2.8 1/2000", "has no ISO speed"),
        ("ISO100 1/2000", "has no aperture"),
        ("ISO100 f/2.8", "has no exposure time"),
        ("ISO100 ISO200 f/2.8 1/50", "more than one ISO speed"),
        ("ISO100 f/2.8 1/50 1/60", "more than one exposure time"),
        ("ISO100 f/2.8 1/50 cloudy", "'cloudy' left over"),
        ("ISO100 f/2.8 1/0", "not a time"),
        ("ISO0 f/2.8 1/50", "outside 1 to"),
        ("ISO100 f/0 1/50", "outside 0.5 to 128"),
        ("ISO100 f/2.8 0", "outside 1e-09 to 1e"),
        ("", "has no ISO speed"),
    ],
)
def test_what_cannot_be_read_is_said_with_an_example(text: str, message: str) -> None:
    with pytest.raises(RequestError, match=message):
        parse_metered(text)


@given(
    st.floats(-5, 20), st.sampled_from([50, 100, 200, 800]), st.sampled_from(["1.4", "2.8", "11"])
)
def test_exposure_for_a_brightness_meters_that_brightness(
    ev: float, iso: int, aperture: str
) -> None:
    found = exposure_for_ev100(ev, F(iso), F(aperture))
    assert found.ev100 == pytest.approx(ev, abs=1e-4)


def test_brightness_beyond_sense() -> None:
    with pytest.raises(RequestError, match="full sun is about 15"):
        exposure_for_ev100(40, F(100), F("2.8"))
    with pytest.raises(RequestError, match="above 0"):
        exposure_for_ev100(10, F(0), F("2.8"))
    with pytest.raises(RequestError, match="above 0"):
        exposure_for_ev100(10, F(100), F(0))
