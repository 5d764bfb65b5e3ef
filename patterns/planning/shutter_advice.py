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
    wished
        Check of the wished exposure.
    clean_s
        Exposures that hold whole cycles and fit a frame, shortest first, seconds.
    nearest_s
        Exposure that holds still nearest to the wished one; None if there is none.
    """

    wished: LightCheck
    clean_s: tuple[Fraction, ...]
    nearest_s: Fraction | None


@dataclass(frozen=True)
class ShutterAdvice:
    """What to set for one rate.

    Attributes
    ----------
    rate, wished_s
        Frames a second, and the exposure of the wished angle in seconds.
    mains
        Judgement under mains light, None in daylight.
    filters
        Filters for the advised exposure, None where no exposure was metered.
    """

    rate: Fraction
    wished_s: Fraction
    mains: MainsAdvice | None
    filters: FilterChoice | None

    @property
    def advised_s(self) -> Fraction:
        """Exposure to set: the nearest that holds still, else the wished one; seconds."""
        return _advised(self.wished_s, self.mains)

    @property
    def advised_deg(self) -> Fraction:
        """Shutter angle that the advised exposure really is, degrees."""
        return shutter_angle(self.advised_s, self.rate)

    @property
    def flickers(self) -> bool:
        """Whether no exposure that fits a frame holds still under the lamps."""
        mains = self.mains
        return mains is not None and mains.nearest_s is None and not mains.wished.steady


def _advised(wished_s: Fraction, mains: MainsAdvice | None) -> Fraction:
    if mains is None or mains.nearest_s is None:
        return wished_s
    return mains.nearest_s


def shutter_advice(request: PlanRequest, rate: Fraction) -> ShutterAdvice:
    """Exposure, mains light and filter for one candidate rate."""
    wished_s = exposure_of_angle(request.angle_deg, rate)
    mains = _mains_advice(request, rate, wished_s)
    filters = None
    if request.metered is not None:
        filters = choose_filters(_advised(wished_s, mains), request.metered.exposure_s)
    return ShutterAdvice(rate, wished_s, mains, filters)


def _mains_advice(request: PlanRequest, rate: Fraction, wished_s: Fraction) -> MainsAdvice | None:
    if request.mains_hz is None:
        return None
    pulses_hz = lamp_hz(request.mains_hz)
    return MainsAdvice(
        check_light(pulses_hz, rate, wished_s, request.lamp_depth),
        clean_exposures(pulses_hz, rate),
        nearest_clean(pulses_hz, rate, wished_s),
    )
