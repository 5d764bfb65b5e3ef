"""Sections 2 and 3 of a plan: exposure, mains light, and the filter that allows it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from patterns.planning.request import PlanRequest
from patterns.timing.filters import FilterChoice, choose_filters
from patterns.timing.mains import (
    LightCheck,
    check_light,
    clean_exposures,
    lamp_hz,
    nearest_clean,
)
from patterns.timing.shutter import exposure_of_angle, shutter_angle

__all__ = ["MainsAdvice", "ShutterAdvice", "shutter_advice"]


@dataclass(frozen=True)
class MainsAdvice:
    """What mains light does to one rate.

    Attributes
    ----------
    target
        Check of the target exposure.
    clean_s
        Exposures that hold whole cycles and fit a frame, shortest first, seconds.
    nearest_s
        Exposure that holds still nearest to the target; None if there is none.
    """

    target: LightCheck
    clean_s: tuple[Fraction, ...]
    nearest_s: Fraction | None


@dataclass(frozen=True)
class ShutterAdvice:
    """What to set for one rate.

    Attributes
    ----------
    rate, target_s
        Frames a second, and the exposure of the target angle in seconds.
    mains
        Judgement under mains light, None in daylight.
    filters
        Filters for the advised exposure, None where no exposure was metered.
    """

    rate: Fraction
    target_s: Fraction
    mains: MainsAdvice | None
    filters: FilterChoice | None

    @property
    def advised_s(self) -> Fraction:
        """Exposure to set: the nearest that holds still, else the target; seconds."""
        return _advised(self.target_s, self.mains)

    @property
    def advised_deg(self) -> Fraction:
        """Shutter angle that the advised exposure really is, degrees."""
        return shutter_angle(self.advised_s, self.rate)

    @property
    def flickers(self) -> bool:
        """Whether no exposure that fits a frame holds still under the lamps."""
        mains = self.mains
        return mains is not None and mains.nearest_s is None and not mains.target.steady


def _advised(target_s: Fraction, mains: MainsAdvice | None) -> Fraction:
    if mains is None or mains.nearest_s is None:
        return target_s
    return mains.nearest_s


def shutter_advice(request: PlanRequest, rate: Fraction) -> ShutterAdvice:
    """Exposure, mains light and filter for one candidate rate."""
    target_s = exposure_of_angle(request.angle_deg, rate)
    mains = _mains_advice(request, rate, target_s)
    filters = None
    if request.metered is not None:
        filters = choose_filters(_advised(target_s, mains), request.metered.exposure_s)
    return ShutterAdvice(rate, target_s, mains, filters)


def _mains_advice(request: PlanRequest, rate: Fraction, target_s: Fraction) -> MainsAdvice | None:
    if request.mains_hz is None:
        return None
    pulses_hz = lamp_hz(request.mains_hz)
    return MainsAdvice(
        check_light(pulses_hz, rate, target_s, request.lamp_depth),
        clean_exposures(pulses_hz, rate),
        nearest_clean(pulses_hz, rate, target_s),
    )
