"""Loops close exactly, in whole frames."""

from __future__ import annotations

from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patterns.errors import RequestError
from patterns.scenes.bars.motion import BarsMotion
from patterns.scenes.motion import loop
from patterns.scenes.orbit.motion import OrbitMotion

RATES = st.sampled_from([F(24000, 1001), F(24), F(25), F(30), F(60000, 1001), F(120)])


@given(
    speed=st.fractions(F(1, 10), 2000, max_denominator=1001),
    period=st.fractions(8, 2000, max_denominator=100),
    rate=RATES,
    frames=st.integers(2, 5000),
)
def test_the_last_frame_leads_to_the_first(speed: F, period: F, rate: F, frames: int) -> None:
    motion = BarsMotion(speed, period, period / 2)
    found = loop(motion, rate, frames)
    assert isinstance(found.motion, BarsMotion)
    assert found.motion.speed_px_s * found.frames / rate == found.periods * period
    assert abs(found.speed_change) * found.frames <= 1


def test_a_whole_turn_at_six_degrees_a_second_is_a_minute() -> None:
    found = loop(OrbitMotion(turn_deg_s=F(-6)), F(24), 240)
    assert (found.frames, found.periods) == (1440, 1)
    assert found.speed_change == 0
    assert isinstance(found.motion, OrbitMotion)
    assert found.motion.turn_deg_s == -6


def test_what_stands_still_cannot_loop() -> None:
    with pytest.raises(RequestError, match="speed 0"):
        loop(OrbitMotion(turn_deg_s=F(0)), F(24), 24)
