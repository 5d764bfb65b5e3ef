"""A whole plan: every section computed from one request."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from patterns.planning.rates import FootageAdvice, RateAdvice, footage_advice, rate_advice
from patterns.planning.request import PlanRequest
from patterns.planning.settings import (
    MovementAdvice,
    ShutterAdvice,
    movement_advice,
    shutter_advice,
)
from patterns.scenes.motion import ImageMotion
from patterns.scenes.speed import image_motion


@dataclass(frozen=True)
class RatePlan:
    """Everything about one candidate rate."""

    advice: RateAdvice
    shutter: ShutterAdvice
    movement: MovementAdvice

    @property
    def rate(self) -> Fraction:
        """Frames a second."""
        return self.advice.rate


@dataclass(frozen=True)
class Plan:
    """Answer to a `PlanRequest`.

    Attributes
    ----------
    speed
        Image speed of the move.
    rates
        Candidates, best first.
    footage
        What to do with each rate already shot.
    """

    request: PlanRequest
    speed: ImageMotion
    rates: tuple[RatePlan, ...]
    footage: tuple[FootageAdvice, ...]

    @property
    def best(self) -> RatePlan:
        """The rate advised."""
        return self.rates[0]


def make_plan(request: PlanRequest) -> Plan:
    """Work out all sections of a plan."""
    speed = image_motion(request.motion, request.width, request.height)
    rates = tuple(
        RatePlan(
            advice,
            shutter_advice(request, advice.rate),
            movement_advice(request, speed, advice.rate),
        )
        for advice in rate_advice(request, speed.fastest_px_s)
    )
    footage = tuple(footage_advice(request, rate) for rate in dict.fromkeys(request.footage))
    return Plan(request, speed, rates, footage)
