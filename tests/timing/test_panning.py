"""The panning guidance against figures worked from its sources."""

from __future__ import annotations

from fractions import Fraction

import pytest

from patterns.scenes.motion import hfov_of_focal_length
from patterns.timing.rates import beyond_guidance, limit_cross_s, limit_px_s

F = Fraction


def test_seven_seconds_at_24() -> None:
    # Chapiro et al. (2019), section 4.1, quoting the American Cinematographer Manual (2007).
    assert limit_cross_s(F(24)) == 7


@pytest.mark.parametrize(
    ("focal_mm", "rate", "deg_s"),
    [
        (24, 24, 10.53),
        (24, 25, 10.97),
        (24, 30, 13.17),
        (24, 60, 26.34),
        (35, 24, 7.78),
        (70, 24, 4.12),
    ],
)
def test_pan_rates_that_follow(focal_mm: float, rate: int, deg_s: float) -> None:
    # hfov/7 x rate/24, computed; the proportion to the rate is a convention.
    found = hfov_of_focal_length(focal_mm) / float(limit_cross_s(F(rate)))
    assert found == pytest.approx(deg_s, abs=6e-3)


def test_a_film_panning_table_agrees_within_a_fifth() -> None:
    # From memory, no source seen: 90 degrees in 30 s on 35 mm with a 100 mm lens at 48 fps;
    # computed from it, 4.2 s for the width of a frame of 21.95 mm.
    across = 30 * hfov_of_focal_length(100 * 36 / 21.95) / 90
    assert across == pytest.approx(4.2, abs=0.05)
    assert float(limit_cross_s(F(48))) == pytest.approx(across, rel=0.2)


@pytest.mark.parametrize("rate", ["24000/1001", "24", "25", "30", "60", "120"])
def test_the_step_from_frame_to_frame_is_the_same_at_every_rate(rate: str) -> None:
    assert limit_px_s(F(rate), 1920) / F(rate) == F(1920, 168)
    assert float(F(1920, 168)) == pytest.approx(11.43, abs=5e-3)  # computed


def test_a_little_beyond_is_not_said_to_be_once_the_guidance() -> None:
    assert beyond_guidance(1.03) == "just beyond the guidance"
    assert beyond_guidance(1.24) == "1.2 times the guidance"
