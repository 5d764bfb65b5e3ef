"""A whole plan: for each rate exposure, mains light, filter, and how fast the move may be."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from patterns.planning.rates import (
    FootageAdvice,
    Jump,
    NearRate,
    PlanRequest,
    footage_advice,
    jump_of,
    near_advice,
)
from patterns.scenes.motion import ImageMotion, crossing_time_s, image_motion, speed_map
from patterns.timing.audience import RateStanding, rank
from patterns.timing.mains import LightCheck, check_light, clean_exposures, lamp_hz, nearest_clean
from patterns.timing.rates import limit_cross_s, limit_px_s
from patterns.timing.shutter import FilterChoice, choose_filters, shutter_angle


@dataclass(frozen=True)
class MainsAdvice:
    """What mains light does to one rate."""

    target: LightCheck  # check of the target exposure
    clean_s: tuple[Fraction, ...]  # exposures of whole cycles that fit a frame, shortest first
    nearest_s: Fraction | None  # the exposure that holds still nearest to the target, if any does


@dataclass(frozen=True)
class ShutterAdvice:
    """What to set for one rate."""

    rate: Fraction  # frames a second
    target_s: Fraction  # the target exposure, seconds
    advised_s: Fraction  # to set: the nearest exposure that holds still, else the target; seconds
    mains: MainsAdvice | None  # judgement under mains light, None in daylight
    filters: FilterChoice | None  # for the advised exposure; None where none was metered

    @property
    def advised_deg(self) -> Fraction:
        """Shutter angle that the advised exposure really is, degrees."""
        return shutter_angle(self.advised_s, self.rate)

    @property
    def flickers(self) -> bool:
        """Whether no exposure that fits a frame holds still under the lamps."""
        mains = self.mains
        return mains is not None and mains.nearest_s is None and not mains.target.steady


def shutter_advice(request: PlanRequest, rate: Fraction) -> ShutterAdvice:
    """Exposure, mains light and filter for one candidate rate."""
    target_s = request.shutter.at(rate)
    mains = _mains_advice(request, rate, target_s)
    advised_s = mains.nearest_s if mains and mains.nearest_s is not None else target_s
    metered = request.metered
    filters = choose_filters(advised_s, metered.exposure_s) if metered else None
    return ShutterAdvice(rate, target_s, advised_s, mains, filters)


def _mains_advice(request: PlanRequest, rate: Fraction, target_s: Fraction) -> MainsAdvice | None:
    if request.mains_hz is None:
        return None
    pulses_hz = lamp_hz(request.mains_hz)
    target = check_light(pulses_hz, rate, target_s, request.lamp_depth)
    nearest_s = nearest_clean(pulses_hz, rate, target_s)
    return MainsAdvice(target, clean_exposures(pulses_hz, rate), nearest_s)


@dataclass(frozen=True)
class Remedy:
    """One quantity of the move, changed alone, at which the move just meets the guidance."""

    quantity: str
    unit: str
    now: float
    meets_at: float
    at_most: bool  # whether the guidance is met at or below the value, or at or above it


@dataclass(frozen=True)
class MovementAdvice:
    """The move at one rate against the guidance."""

    rate: Fraction
    fastest_cross_s: float  # time to cross the picture's width at the fastest place, seconds
    typical_cross_s: float  # and at the typical place
    step_px: float  # from frame to frame at the fastest place
    typical_step_px: float
    limit_cross_s: float  # the guidance at this rate, in the same three ways
    limit_px_s: float
    limit_step_px: float
    past_share: float  # share of the moving picture that goes faster, 0 to 1
    remedies: tuple[Remedy, ...]  # what to change, one thing at a time

    @property
    def times_limit(self) -> float:
        """Speed of the fastest place in units of the guidance's limit."""
        return self.step_px / self.limit_step_px

    @property
    def within(self) -> bool:
        """Whether the whole picture keeps to the guidance (to a millionth)."""
        return self.times_limit <= 1 + 1e-6


def movement_advice(request: PlanRequest, speed: ImageMotion, rate: Fraction) -> MovementAdvice:
    """Judge the request's move, which goes at `speed` in the picture, at one rate."""
    limit = float(limit_px_s(rate, request.width))
    places = speed_map(request.motion, request.width, request.height)
    moving = places[np.nan_to_num(places) > 0]
    past = moving > limit * (1 + 1e-6)
    return MovementAdvice(
        rate=rate,
        fastest_cross_s=crossing_time_s(speed.fastest_px_s, request.width),
        typical_cross_s=crossing_time_s(speed.typical_px_s, request.width),
        step_px=speed.fastest_px_s / float(rate),
        typical_step_px=speed.typical_px_s / float(rate),
        limit_cross_s=float(limit_cross_s(rate)),
        limit_px_s=limit,
        limit_step_px=limit / float(rate),
        past_share=float(np.mean(past)) if moving.size else 0.0,
        remedies=_remedies(request, speed.fastest_px_s / limit),
    )


def _remedies(request: PlanRequest, times: float) -> tuple[Remedy, ...]:
    """Values at which the fastest place goes exactly at the limit."""
    quantities = request.motion.quantities(request.width, request.height) if times else ()
    return tuple(
        Remedy(q.name, q.unit, q.value, q.value * times if q.inverse else q.value / times,
               at_most=not q.inverse)
        for q in quantities
    )  # fmt: skip


@dataclass(frozen=True)
class RatePlan:
    """Everything about one candidate rate."""

    standing: RateStanding
    jump: Jump
    near: NearRate | None
    shutter: ShutterAdvice
    movement: MovementAdvice

    @property
    def rate(self) -> Fraction:
        """Frames a second."""
        return self.standing.rate


@dataclass(frozen=True)
class Plan:
    """Answer to a `PlanRequest`."""

    request: PlanRequest
    speed: ImageMotion  # image speed of the move
    rates: tuple[RatePlan, ...]  # candidates, best first
    footage: tuple[FootageAdvice, ...]  # what to do with each rate already shot

    @property
    def best(self) -> RatePlan:
        """The rate advised."""
        return self.rates[0]


def make_plan(request: PlanRequest) -> Plan:
    """Work out all sections of a plan."""
    speed = image_motion(request.motion, request.width, request.height)
    rates = tuple(
        RatePlan(
            ranked,
            jump_of(request, ranked, speed.fastest_px_s),
            near_advice(request, ranked),
            shutter_advice(request, ranked.rate),
            movement_advice(request, speed, ranked.rate),
        )
        for ranked in rank(request.rates, request.audience)
    )
    footage = tuple(footage_advice(request, rate) for rate in dict.fromkeys(request.footage))
    return Plan(request, speed, rates, footage)
