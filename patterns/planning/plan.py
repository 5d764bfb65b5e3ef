"""A whole plan: what it is asked for, and what it advises on each rate and on footage shot."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from patterns.clip import check_size
from patterns.errors import RequestError
from patterns.scenes.motion import ImageMotion, Motion, crossing_time_s, image_motion, speed_map
from patterns.timing.audience import (
    DEFAULT_AUDIENCE,
    Audience,
    RateStanding,
    Showing,
    near_rate,
    rank,
    standing,
)
from patterns.timing.conform import MODERATE, Conform, expected_repeat_error_s
from patterns.timing.mains import LightCheck, check_light, clean_exposures, lamp_hz, nearest_clean
from patterns.timing.rates import USUAL_RATES, arcmin, limit_cross_s, limit_px_s
from patterns.timing.shutter import (
    USUAL_SHUTTER,
    FilterChoice,
    MeteredExposure,
    Shutter,
    choose_filters,
    shutter_angle,
)


@dataclass(frozen=True)
class PlanRequest:
    """All that decides a plan."""

    motion: Motion  # the move
    audience: Audience = DEFAULT_AUDIENCE  # displays with shares
    audience_assumed: bool = True  # whether they are a default that nobody stated
    rates: tuple[Fraction, ...] = USUAL_RATES  # candidates, frames a second
    width: int = 1920  # of the whole picture, pixels
    height: int = 1080
    shutter: Shutter = USUAL_SHUTTER  # target shutter, not closed
    mains_hz: int | None = None  # mains frequency where lamps light the scene; None: daylight
    lamp_depth: float = 1.0  # their modulation (max - min)/(max + min), 0 to 1
    metered: MeteredExposure | None = None  # what the meter says is right, or None
    footage: tuple[Fraction, ...] = ()  # rates of what is already shot
    viewing_heights: Fraction = Fraction(3)  # distance from the screen in picture heights
    take_s: Fraction = Fraction(600)  # the long take over which near rates are compared, seconds

    def __post_init__(self) -> None:
        if not self.rates:
            raise RequestError("a plan needs at least one candidate rate: try --rates 24,30")
        if not all(self.shutter.at(rate) for rate in self.rates):
            raise RequestError(
                "shutter 0 degrees is outside 1 to 360 for a shoot: 180 is the usual choice"
            )
        if not Fraction(1, 2) <= self.viewing_heights <= 20:
            raise RequestError(
                f"viewing distance {float(self.viewing_heights):g} is outside 0.5 to 20 "
                "picture heights: try 3"
            )
        check_size(self.width, self.height)
        if not 0 < self.take_s <= 86400:
            raise RequestError(f"take of {float(self.take_s):g} s is outside 0 to 86400 s: try 600")


@dataclass(frozen=True)
class Jump:
    """How far the picture is out of place between its latest and its earliest frame.

    At its fastest place, on the standing's `worst` display: timing error span x image speed.
    """

    px: float
    percent_of_width: float
    arcmin: float


@dataclass(frozen=True)
class NearRate:
    """The rate that differs by 1000/1001 and often goes by the same name."""

    rate: Fraction  # the near rate
    showings: tuple[Showing, ...]  # it on each display, with its own slips
    drift_s: Fraction  # by how much longer it runs than the named rate in the long take, seconds


def jump_of(request: PlanRequest, ranked: RateStanding, fastest_px_s: float) -> Jump:
    """Jump of a candidate in a move whose fastest place goes at `fastest_px_s`."""
    px = float(ranked.worst.jump_s) * fastest_px_s
    angle = arcmin(px, request.height, request.viewing_heights)
    return Jump(px, 100 * px / request.width, angle)


def near_advice(request: PlanRequest, named: RateStanding) -> NearRate | None:
    """What the near rate of a candidate does, where the trade has one."""
    near = near_rate(named.rate)
    if near is None:
        return None
    showings = standing(near, request.audience).showings
    return NearRate(near, showings, request.take_s * (named.rate / near - 1))


@dataclass(frozen=True)
class MainsAdvice:
    """What mains light does to one rate."""

    target: LightCheck  # check of the target exposure
    clean_s: tuple[Fraction, ...]  # exposures of whole cycles that fit a frame, shortest first
    nearest_s: Fraction | None  # the exposure that holds still nearest to the target, if any does


@dataclass(frozen=True)
class ShutterAdvice:
    """What to set for one rate."""

    target_s: Fraction  # the target exposure, seconds
    advised_s: Fraction  # to set: the nearest exposure that holds still, else the target; seconds
    advised_deg: Fraction  # shutter angle that this really is, degrees
    mains: MainsAdvice | None  # judgement under mains light, None in daylight
    filters: FilterChoice | None  # for the advised exposure; None where none was metered

    @property
    def flickers(self) -> bool:
        """Whether no exposure that fits a frame holds still under the lamps."""
        mains = self.mains
        return mains is not None and mains.nearest_s is None and not mains.target.steady


def shutter_advice(request: PlanRequest, rate: Fraction) -> ShutterAdvice:
    """Exposure, mains light and filter for one candidate rate."""
    advised_s = target_s = request.shutter.at(rate)
    mains = None
    if request.mains_hz is not None:
        pulses_hz = lamp_hz(request.mains_hz)
        target = check_light(pulses_hz, rate, target_s, request.lamp_depth)
        nearest_s = nearest_clean(pulses_hz, rate, target_s)
        mains = MainsAdvice(target, clean_exposures(pulses_hz, rate), nearest_s)
        advised_s = target_s if nearest_s is None else nearest_s
    metered = request.metered
    filters = choose_filters(advised_s, metered.exposure_s) if metered else None
    return ShutterAdvice(target_s, advised_s, shutter_angle(advised_s, rate), mains, filters)


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
    times = speed.fastest_px_s / limit
    quantities = request.motion.quantities(request.width, request.height) if times else ()
    return MovementAdvice(
        fastest_cross_s=crossing_time_s(speed.fastest_px_s, request.width),
        typical_cross_s=crossing_time_s(speed.typical_px_s, request.width),
        step_px=speed.fastest_px_s / float(rate),
        typical_step_px=speed.typical_px_s / float(rate),
        limit_cross_s=float(limit_cross_s(rate)),
        limit_px_s=limit,
        limit_step_px=limit / float(rate),
        past_share=float(np.mean(past)) if moving.size else 0.0,
        remedies=tuple(
            Remedy(
                q.name,
                q.unit,
                q.value,
                meets_at=q.value * times if q.inverse else q.value / times,
                at_most=not q.inverse,
            )
            for q in quantities
        ),
    )


@dataclass(frozen=True)
class ConformChoice:
    """Footage on one timeline, with the expected timing error of each way to put it there."""

    conform: Conform  # footage and timeline
    played: RateStanding  # how the timeline's own rate stands: conformed footage stands so
    repeated_error_s: float  # expected if left at its own speed, frames repeating or dropping


@dataclass(frozen=True)
class FootageAdvice:
    """One rate already shot."""

    footage: Fraction
    own: RateStanding  # how it stands if it is delivered at its own rate
    choices: tuple[ConformChoice, ...]  # it on each candidate timeline
    best: ConformChoice | None  # advised; None where delivering at its own rate is as even


def footage_advice(request: PlanRequest, footage: Fraction) -> FootageAdvice:
    """Compare the ways to show `footage` to the request's audience.

    Advised is the least expected timing error among delivery at its own rate and
    conforming within 30 % of its speed; equal ones by the least change of speed.
    """
    audience = request.audience
    own = standing(footage, audience)
    ways = [Conform(footage, rate) for rate in sorted(set(request.rates)) if rate != footage]
    choices = tuple(
        ConformChoice(way, standing(way.timeline, audience), expected_repeat_error_s(way, audience))
        for way in ways
    )
    better = [choice for choice in choices if choice.played.evenness < own.evenness]
    best = min(
        (choice for choice in better if abs(choice.conform.speed - 1) <= MODERATE),
        key=lambda choice: (choice.played.evenness, abs(choice.conform.speed - 1)),
        default=None,
    )
    return FootageAdvice(footage, own, choices, best)


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
