"""Clips that repeat without a seam: whole periods of a motion in whole frames."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from patterns.errors import RequestError
from patterns.scenes.ground.country import Country
from patterns.scenes.motion import BarsMotion, Motion, TerrainMotion

__all__ = ["Loop", "loop"]


@dataclass(frozen=True)
class Loop:
    """A motion that closes after whole frames.

    Attributes
    ----------
    motion
        The motion, its speed nudged so that `periods` periods take exactly `frames`.
    frames, periods
        Length in frames and in periods.
    speed_change
        New speed over the speed asked for, less 1. At most half a frame in the length.
    """

    motion: Motion
    frames: int
    periods: int
    speed_change: Fraction


def _speed_and_period(motion: Motion) -> tuple[Fraction, Fraction]:
    if isinstance(motion, BarsMotion):
        return motion.speed_px_s, motion.period_px
    if isinstance(motion, TerrainMotion):
        return motion.ground_speed_m_s, Fraction(Country.PERIOD_M)
    return motion.turn_deg_s, Fraction(360)


def _with_speed(motion: Motion, speed: Fraction) -> Motion:
    if isinstance(motion, BarsMotion):
        return replace(motion, speed_px_s=speed)
    if isinstance(motion, TerrainMotion):
        return replace(motion, ground_speed_m_s=speed)
    return replace(motion, turn_deg_s=speed)


def loop(motion: Motion, rate: Fraction, frames: int) -> Loop:
    """Nearest length to `frames` that holds whole periods, at least one.

    A period rarely takes a whole number of frames, and a seam that is a part of a frame
    out would judder once a round. So the length is rounded to whole frames and the speed
    is nudged to fit, exactly.

    Raises
    ------
    RequestError
        The motion stands still.
    """
    speed, period = _speed_and_period(motion)
    if speed == 0:
        raise RequestError(
            "a motion at speed 0 has no period to loop: give a speed, or no --seamless"
        )
    period_frames = period / abs(speed) * rate
    periods = max(1, round(frames / period_frames))
    length = max(1, round(periods * period_frames))
    nudged = periods * period * rate / length * (1 if speed > 0 else -1)
    return Loop(_with_speed(motion, nudged), length, periods, nudged / speed - 1)
