"""Section 4 of a plan: how fast the move is, and when it meets the trade's guidance."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import inf

import numpy as np

from patterns.planning.request import PlanRequest
from patterns.scenes.bars.light import crossing_px
from patterns.scenes.motion import BarsMotion, ImageMotion, TerrainMotion
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
        remedies=_remedies(request, speed.fastest_px_s / limit, limit),
    )


def _remedies(request: PlanRequest, times: float, limit: float) -> tuple[Remedy, ...]:
    """Values at which the fastest place goes exactly at the limit.

    Image speed is in proportion to bar speed, ground speed or turn rate, and over flat
    ground in inverse proportion to height, whatever the lens and the pitch.
    """
    motion, width, height = request.motion, request.width, request.height
    if not times:
        return ()
    if isinstance(motion, BarsMotion):
        way = crossing_px(motion, width, height)
        now = way / abs(float(motion.speed_px_s))
        return (Remedy("crossing time", "s", now, way / limit, at_most=False),)
    if isinstance(motion, TerrainMotion):
        speed, up = float(motion.ground_speed_m_s), float(motion.height_m)
        return (
            Remedy("ground speed", "m/s", speed, speed / times, at_most=True),
            Remedy("height", "m", up, up * times, at_most=False),
        )
    turn = abs(float(motion.turn_deg_s))
    seconds = 360 / turn if turn else inf
    return (
        Remedy("turn rate", "deg/s", turn, turn / times, at_most=True),
        Remedy("time for a whole turn", "s", seconds, seconds * times, at_most=False),
    )
