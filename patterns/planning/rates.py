"""Which rate suits the audience, and what to do with footage shot at another."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import atan, degrees

from patterns.planning.request import PlanRequest
from patterns.timing.audience import RateStanding, Showing, near_rate, rank, standing
from patterns.timing.conform import Conform, expected_repeat_error_s


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
class Slip:
    """How often a near rate's pattern breaks step on one display; None where it does not."""

    showing: Showing
    every_s: Fraction | None
    in_take: Fraction


@dataclass(frozen=True)
class NearRate:
    """The rate that differs by 1000/1001 and often goes by the same name.

    Attributes
    ----------
    rate
        The near rate.
    slips
        For each display, how often its own pattern slips, and how often in the long take.
    drift_s
        How far its clock is from that of the named rate after the long take, seconds;
        above 0 it runs longer.
    """

    rate: Fraction
    slips: tuple[Slip, ...]
    drift_s: Fraction


@dataclass(frozen=True)
class RateAdvice:
    """One candidate rate, with what it does to this move."""

    place: int
    standing: RateStanding
    jump: Jump
    step_px: float
    near: NearRate | None

    @property
    def rate(self) -> Fraction:
        """Frames a second."""
        return self.standing.rate


def arcmin(px: float, height: int, viewing_heights: Fraction) -> float:
    """Visual angle in minutes of arc of `px` pixels seen from a distance in picture heights."""
    return 60 * degrees(2 * atan(px / (2 * float(viewing_heights) * height)))


def rate_advice(request: PlanRequest, fastest_px_s: float) -> tuple[RateAdvice, ...]:
    """Candidates, best first, for a move whose fastest place goes at `fastest_px_s`."""
    return tuple(
        RateAdvice(
            place,
            ranked,
            _jump(request, ranked, fastest_px_s),
            fastest_px_s / float(ranked.rate),
            _near(request, ranked),
        )
        for place, ranked in enumerate(rank(request.rates, request.audience), start=1)
    )


def _jump(request: PlanRequest, ranked: RateStanding, fastest_px_s: float) -> Jump:
    worst = ranked.worst
    px = float(worst.jump_s) * fastest_px_s
    return Jump(
        worst,
        px,
        100 * px / request.width,
        arcmin(px, request.height, request.viewing_heights),
    )


def _near(request: PlanRequest, named: RateStanding) -> NearRate | None:
    near = near_rate(named.rate)
    if near is None:
        return None
    slips = tuple(
        _slip(showing, request.take_s) for showing in standing(near, request.audience).showings
    )
    return NearRate(near, slips, request.take_s * (named.rate / near - 1))


def _slip(showing: Showing, take_s: Fraction) -> Slip:
    if showing.slip is None:
        return Slip(showing, None, Fraction(0))
    return Slip(showing, showing.slip.interval_s, take_s / showing.slip.interval_s)


# A change of speed beyond this shows in how people, birds and water move; our convention.
MAX_SPEED_CHANGE = Fraction(3, 10)


@dataclass(frozen=True)
class ConformChoice:
    """Footage on one timeline, with the expected timing error of each way to put it there.

    Attributes
    ----------
    conform
        Footage and timeline.
    played
        How the timeline's own rate stands with the audience: conformed footage stands so.
    repeated_error_s
        Expected timing error if left at its own speed, frames repeating or dropping.
    """

    conform: Conform
    played: RateStanding
    repeated_error_s: float

    @property
    def acceptable(self) -> bool:
        """Whether the change of speed is small enough to be offered without being asked for."""
        return abs(self.conform.speed - 1) <= MAX_SPEED_CHANGE


@dataclass(frozen=True)
class FootageAdvice:
    """One rate already shot.

    Attributes
    ----------
    own
        How it stands if it is delivered at its own rate.
    choices
        It on each candidate timeline.
    best
        The choice advised, None where delivering at its own rate is as even.
    """

    footage: Fraction
    own: RateStanding
    choices: tuple[ConformChoice, ...]
    best: ConformChoice | None


def footage_advice(request: PlanRequest, footage: Fraction) -> FootageAdvice:
    """Compare the ways to show `footage` to the request's audience.

    Advised is the least expected timing error among delivery at its own rate and
    conforming within 30 % of its speed; equal ones by the least change of speed.
    """
    own = standing(footage, request.audience)
    choices = tuple(
        _choice(request, Conform(footage, rate))
        for rate in sorted(set(request.rates))
        if rate != footage
    )
    best = min(
        (c for c in choices if c.acceptable),
        key=lambda c: (c.played.evenness, abs(c.conform.speed - 1)),
        default=None,
    )
    if best is not None and best.played.evenness >= own.evenness:
        best = None
    return FootageAdvice(footage, own, choices, best)


def _choice(request: PlanRequest, conform: Conform) -> ConformChoice:
    return ConformChoice(
        conform,
        standing(conform.timeline, request.audience),
        expected_repeat_error_s(conform, request.audience),
    )
