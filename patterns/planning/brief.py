"""What to do, in at most twelve lines of a phone's screen."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from math import ceil, floor, log10

from patterns.planning.movement_advice import MovementAdvice, Remedy
from patterns.planning.plan import Plan
from patterns.planning.rate_words import conform_brief, rate_brief
from patterns.planning.setting_words import filter_brief, shutter_brief
from patterns.planning.words import fps, number

__all__ = ["MOST_LINES", "WIDTH", "Fact", "brief_facts", "brief_text"]

WIDTH, MOST_LINES = 60, 12
LABEL = 10  # columns
SETTINGS, FOOTAGE_NAMED = 4, 2  # rate, shutter, filter and move; then footage


@dataclass(frozen=True)
class Fact:
    """One thing to set: what it is, its value, why, and whether it needs care."""

    what: str
    value: str
    why: str
    mind: bool = False


def brief_facts(plan: Plan) -> tuple[Fact, ...]:
    """What to set: rate, shutter, filter, movement, and footage at hand."""
    best = plan.best
    shutter, filters, movement = best.shutter, best.shutter.filters, best.movement
    footage = [
        Fact(f"Shot {fps(advice.footage)}", *conform_brief(advice))
        for advice in plan.footage[:FOOTAGE_NAMED]
    ]
    return (
        Fact("Rate", *rate_brief(plan), mind=not best.advice.standing.even_everywhere),
        Fact("Shutter", *shutter_brief(shutter, plan.request.mains_hz), mind=shutter.flickers),
        Fact(
            "Filter", *filter_brief(filters), mind=filters is not None and filters.wanted_stops < 0
        ),
        Fact("Move", *_move(movement), mind=not movement.within),
        *footage,
    )


def brief_text(plan: Plan) -> str:
    """At most twelve lines of at most 60 columns, ending in a newline."""
    facts = brief_facts(plan)
    for footage in range(len(facts) - SETTINGS, -1, -1):  # as much of it as there is room for
        lines = _lines(plan, facts[: SETTINGS + footage])
        if len(lines) <= MOST_LINES:
            break
    return "\n".join(lines) + "\n"


def _lines(plan: Plan, facts: tuple[Fact, ...]) -> list[str]:
    lines = _line("Plan", plan.request.motion.brief)
    for fact in facts:
        lines += _line(fact.what, f"{fact.value}: {fact.why}")
    left = len(plan.footage) - (len(facts) - SETTINGS)
    more = f" ({left} more rate{'s' if left > 1 else ''} shot)" if left else ""
    lines += _line("Care", "local rules and licensed practice come first")
    return lines + _line("More", f"--details or --html FILE{more}")


def _line(what: str, words: str) -> list[str]:
    return textwrap.wrap(
        words, WIDTH, initial_indent=f"{what:<{LABEL}}", subsequent_indent=" " * LABEL,
        break_on_hyphens=False,
    )  # fmt: skip


def _move(movement: MovementAdvice) -> tuple[str, str]:
    """How fast one may move at the advised rate, and how that stands to what was asked."""
    if not movement.step_px:
        return "as it is", "nothing moves"
    limits = " or ".join(_limit(remedy) for remedy in movement.remedies)
    times = movement.times_limit
    if movement.within:
        return limits, f"now {100 * times:.0f} % of the guidance"
    return limits, f"now TOO FAST, {number(times, 1)} times the guidance"


def _limit(remedy: Remedy) -> str:
    """Two significant digits, rounded to the side on which the guidance is met."""
    step = 10.0 ** (floor(log10(remedy.meets_at)) - 1)
    steps = remedy.meets_at / step
    value = step * (floor(steps + 1e-6) if remedy.at_most else ceil(steps - 1e-6))
    bound = "at most" if remedy.at_most else "at least"
    return f"{remedy.quantity} {bound} {number(value)} {remedy.unit}"
