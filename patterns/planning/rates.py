"""What a plan is asked for, which rate suits the audience, and what becomes of footage."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from patterns.clip import check_size
from patterns.errors import RequestError
from patterns.scenes.motion import Motion
from patterns.timing.audience import (
    DEFAULT_AUDIENCE,
    Audience,
    RateStanding,
    Showing,
    near_rate,
    standing,
)
from patterns.timing.conform import MODERATE, Conform, expected_repeat_error_s
from patterns.timing.rates import USUAL_RATES, arcmin
from patterns.timing.shutter import USUAL_SHUTTER, MeteredExposure, Shutter


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

    At the fastest place of the picture, on the display where it is largest: timing error
    span x image speed.
    """

    showing: Showing
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
    worst = ranked.worst
    px = float(worst.jump_s) * fastest_px_s
    angle = arcmin(px, request.height, request.viewing_heights)
    return Jump(worst, px, 100 * px / request.width, angle)


def near_advice(request: PlanRequest, named: RateStanding) -> NearRate | None:
    """What the near rate of a candidate does, where the trade has one."""
    near = near_rate(named.rate)
    if near is None:
        return None
    showings = standing(near, request.audience).showings
    return NearRate(near, showings, request.take_s * (named.rate / near - 1))


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
    best = min(
        (c for c in choices if abs(c.conform.speed - 1) <= MODERATE),
        key=lambda c: (c.played.evenness, abs(c.conform.speed - 1)),
        default=None,
    )
    if best is not None and best.played.evenness >= own.evenness:
        best = None
    return FootageAdvice(footage, own, choices, best)
