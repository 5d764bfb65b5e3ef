"""Section 1 of a plan: candidate rates ranked by how evenly the audience sees them."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import atan, degrees

from patterns.planning.request import PlanRequest
from patterns.timing.audience import RateStanding, Showing, near_rate, rank, standing

__all__ = ["Jump", "NearRate", "RateAdvice", "Slip", "arcmin", "rate_advice"]


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
