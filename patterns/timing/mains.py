"""Which exposures hold still under mains light, and what is left in those that do not.

A lamp brightens twice in each cycle of the mains: F = 2 x its frequency. Of a modulation
m = (max - min)/(max + min), m |sin(pi F T)/(pi F T)| is left in an exposure of T seconds, and
varies from frame to frame at the alias |F - n f|: an average over a box; for a lamp that is no
sine its fundamental. Nothing varies where F T is whole, or F/f.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import floor, log2, pi, sin
from typing import Literal

from patterns.errors import RequestError

MAINS_HZ = (50, 60)
SLOW_BEAT_HZ = Fraction(1, 2)  # below it the light breathes rather than flickers; our convention

Steadiness = Literal["whole cycles", "rate follows the light", "slow beat", "flickers"]


def lamp_hz(mains_hz: int) -> Fraction:
    """Pulses of light a second on a mains of 50 or 60 Hz.

    Raises `RequestError`: another frequency.
    """
    if mains_hz not in MAINS_HZ:
        raise RequestError(f"mains {mains_hz} Hz is unknown: allowed are 50, 60 or none")
    return Fraction(2 * mains_hz)


def residual_share(pulses_hz: Fraction, exposure_s: Fraction) -> float:
    """Share (0 to 1) of the lamp's modulation that is left in an exposure: |sinc(F T)|."""
    cycles = pulses_hz * exposure_s
    if cycles == 0:
        return 1.0
    if cycles.denominator == 1:
        return 0.0
    # The sine's argument is reduced exactly first, so that long exposures keep their digits.
    return abs(sin(pi * float(cycles % 1))) / (pi * float(cycles))


def alias_hz(pulses_hz: Fraction, rate: Fraction) -> Fraction:
    """Frequency at which what is left varies from frame to frame; 0 if F/f is whole."""
    nearest = floor(pulses_hz / rate + Fraction(1, 2))
    return abs(pulses_hz - nearest * rate)


def clean_exposures(pulses_hz: Fraction, rate: Fraction) -> tuple[Fraction, ...]:
    """Exposures in seconds that hold whole cycles of the light and fit a frame, shortest first."""
    return tuple(k / pulses_hz for k in range(1, floor(pulses_hz / rate) + 1))


def nearest_clean(pulses_hz: Fraction, rate: Fraction, target_s: Fraction) -> Fraction | None:
    """Exposure nearest to `target_s`, by ratio, that holds still at this rate; the shorter of two.

    The target itself where the rate follows the light; None where a frame is too short.
    """
    if alias_hz(pulses_hz, rate) == 0:
        return target_s
    clean = clean_exposures(pulses_hz, rate)
    if not clean or target_s == 0:
        return clean[0] if clean else None
    return min(clean, key=lambda t: abs(log2(float(t / target_s))))


@dataclass(frozen=True)
class LightCheck:
    """What one exposure at one rate makes of the mains light."""

    pulses_hz: Fraction  # pulses of light a second
    cycles: Fraction  # cycles of the light in the exposure
    modulation: float  # what is left of the lamp's, as a share of the mean exposure, 0 to 1
    beat_hz: Fraction  # frequency at which it varies from frame to frame; 0 if it stands still
    steadiness: Steadiness  # why it holds still, or that it does not

    @property
    def steady(self) -> bool:
        """Whether every frame gets the same light, to the last digit."""
        return self.steadiness in ("whole cycles", "rate follows the light")

    @property
    def beat_period_s(self) -> Fraction | None:
        """Seconds of one beat, None if there is none."""
        return 1 / self.beat_hz if self.beat_hz else None


def check_light(
    pulses_hz: Fraction, rate: Fraction, exposure_s: Fraction, depth: float
) -> LightCheck:
    """Judge an exposure under light that pulses `pulses_hz` times a second.

    `depth`: modulation of the lamp, (max - min)/(max + min), 0 to 1.
    Raises `RequestError`: depth outside 0 to 1.
    """
    if not 0 <= depth <= 1:
        raise RequestError(f"lamp depth {depth:.0%} is outside 0 to 100 percent: try 100")
    cycles, beat = pulses_hz * exposure_s, alias_hz(pulses_hz, rate)
    modulation = depth * residual_share(pulses_hz, exposure_s)
    steadiness: Steadiness = "flickers"
    if cycles and cycles.denominator == 1:
        steadiness = "whole cycles"
    elif beat == 0:
        steadiness = "rate follows the light"
    elif beat < SLOW_BEAT_HZ:
        steadiness = "slow beat"
    return LightCheck(pulses_hz, cycles, modulation, beat, steadiness)
