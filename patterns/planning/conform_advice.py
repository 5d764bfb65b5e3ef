"""Section 5 of a plan: what to do with footage that is already shot at another rate."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from patterns.planning.request import PlanRequest
from patterns.timing.audience import RateStanding, standing
from patterns.timing.conform import Conform, expected_repeat_error_s

__all__ = ["MAX_SPEED_CHANGE", "ConformChoice", "FootageAdvice", "footage_advice"]

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
