"""Section 4 of a plan: how fast the move is, and when it meets the trade's guidance."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from patterns.planning.request import PlanRequest
from patterns.scenes.motion import ImageMotion
from patterns.scenes.speed import crossing_time_s, speed_map
from patterns.timing.panning import limit_cross_s, limit_px_s

__all__ = ["MovementAdvice", "Remedy", "movement_advice"]


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
    """The move at one rate against the guidance.

    Attributes
    ----------
    fastest_cross_s, typical_cross_s
        Time to cross the picture's width at the fastest and the typical place, seconds.
    step_px, typical_step_px
        Pixels from frame to frame at those places.
    limit_cross_s, limit_px_s, limit_step_px
        The guidance at this rate.
    past_share
        Share of the moving picture that goes faster, 0 to 1.
    remedies
        What to change, one thing at a time.
    """

    rate: Fraction
    fastest_cross_s: float
    typical_cross_s: float
    step_px: float
    typical_step_px: float
    limit_cross_s: float
    limit_px_s: float
    limit_step_px: float
    past_share: float
    remedies: tuple[Remedy, ...]

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
