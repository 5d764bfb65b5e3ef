"""Why a rate stands where it does, what near rates do, and what to do with footage, in words."""

from __future__ import annotations

from fractions import Fraction

from patterns.planning.conform_advice import FootageAdvice
from patterns.planning.plan import Plan
from patterns.planning.rate_advice import NearRate, RateAdvice
from patterns.planning.words import fps, joined, number, percent
from patterns.timing.audience import RateStanding, Showing
from patterns.timing.conform import Conform
from patterns.timing.notation import pattern_text
from patterns.timing.slip import SlowSlip

__all__ = ["conform_brief", "near_groups", "rate_brief", "rate_reason", "repeat_words"]


def _uneven_words(showing: Showing) -> str:
    held, where = showing.cadence, f"on {showing.display.name} Hz ({percent(showing.share)})"
    if showing.slip:
        return f"{where} {_slip_words(showing, showing.slip)}"
    if held.dropped_per_second:
        dropped = number(float(held.dropped_per_second))
        rest = "unevenly" if showing.seen_rms_s else "evenly"
        return f"{where} {dropped} frames a second never show, the others come {rest}"
    return (
        f"{where} {_holds_words(showing)}: {number(float(held.odd_holds_per_second), 1)} "
        f"{'short' if held.odd_hold < held.usual_hold else 'long'} holds a second"
    )


def _holds_words(showing: Showing) -> str:
    if showing.seen_holds:
        return pattern_text(showing.seen_holds)
    return f"{showing.cadence.usual_hold} or {showing.cadence.odd_hold}"


def _slip_words(showing: Showing, slip: SlowSlip) -> str:
    what = "even" if len(slip.pattern) == 1 else _holds_words(showing)
    return f"{what} but for a slip every {number(float(slip.interval_s), 1)} s"


def rate_reason(advice: RateAdvice, above: RateAdvice | None) -> str:
    """Why a rate stands where it does; `above` is the one before it."""
    standing = advice.standing
    even = [f"{s.display.name} Hz" for s in standing.showings if s.even]
    parts = []
    if standing.even_everywhere:
        parts.append(f"even on {'all: ' if len(even) > 1 else ''}{joined(even)}")
    elif even:
        parts.append(f"even on {joined(even)}")
    parts += [_uneven_words(s) for s in standing.showings if not s.even]
    if any(s.slip for s in standing.showings):
        parts.append(
            "what builds up so slowly is not seen as unevenness, so the rank goes by the error "
            "between slips, then by the slips"
        )
    if standing.dropped_per_second:
        parts.append("the rank counts only the frames that show")
    if above is not None and above.standing.evenness == standing.evenness:
        steps = f" ({number(advice.step_px, 1)} px, not {number(above.step_px, 1)})"
        parts.append(
            f"as even as {fps(above.rate)}, and below it only because the lower rate moves the "
            f"picture further from frame to frame{steps if advice.step_px else ''}"
        )
    return "; ".join(parts)


def near_groups(plan: Plan) -> dict[str, str]:
    """Group near rates that do the same: names such as "29.97 instead of 30" to words."""
    groups: dict[str, list[str]] = {}
    for rate in plan.rates:
        near = rate.advice.near
        if near is not None:
            names = groups.setdefault(_near_words(near, plan.request.take_s), [])
            names.append(f"{fps(near.rate)} instead of {fps(rate.rate)}")
    return {", ".join(names): words for words, names in groups.items()}


def _near_words(near: NearRate, take_s: Fraction) -> str:
    """Say what a near rate does over a long take."""
    parts = []
    for slip in near.slips:
        where = f"on {slip.showing.display.name} Hz"
        if slip.every_s is None:
            parts.append(f"{where} no slip")
        else:
            every = number(float(slip.every_s), 1)
            parts.append(f"{where} a slip every {every} s, {float(slip.in_take):.0f} in all")
    drift = float(near.drift_s)
    minutes = number(float(take_s) / 60, 1)
    side = "behind" if drift > 0 else "ahead"
    return f"over {minutes} min {'; '.join(parts)}; its clock is {abs(drift):.1f} s {side} then"


def repeat_words(conform: Conform) -> str:
    """Which frames repeat or drop when footage is left at its own speed."""
    repeats, every = conform.odd_frames
    times = {1: "once", 2: "twice"}.get(repeats, f"{repeats} times")
    if not every:
        return f"every frame shown {times}"
    which = "every other frame" if every == 2 else f"one frame in {number(float(every), 1)}"
    if conform.speed < Fraction(1, 2):
        return f"{which} shown"
    if conform.speed < 1:
        return f"{which} lost"
    return f"{which} shown {times}"


def conform_brief(advice: FootageAdvice) -> tuple[str, str]:
    """What to do with footage of one rate, and why."""
    if advice.best is not None:
        conform = advice.best.conform
        value = f"play it at {percent(conform.speed)} in {fps(conform.timeline)} fps"
        return value, _unevenness(advice.best.played)
    if advice.own.even_everywhere:
        return "leave its rate", "even on every display"
    return "leave its rate", f"{_unevenness(advice.own)}; none better"


def _unevenness(standing: RateStanding) -> str:
    if standing.even_everywhere:
        return "even"
    if not standing.ranked_error_s:
        return f"even but for {'dropped frames' if standing.dropped_per_second else 'slow slips'}"
    return f"uneven by {number(1000 * standing.ranked_error_s, 1)} ms"


def rate_brief(plan: Plan) -> tuple[str, str]:
    """Rate to shoot, and why, with what comes nearest to it."""
    best, others = plan.best, plan.rates[1:]
    displays = [s.display.name for s in best.advice.standing.showings]
    where = f"on {joined(displays)} Hz" if len(displays) < 4 else f"on all {len(displays)} displays"
    why = _unevenness(best.advice.standing)
    if best.advice.standing.even_everywhere:
        why += f" {where}"
    equal = [r for r in others if r.advice.standing.evenness == best.advice.standing.evenness]
    if equal:
        names = joined([fps(r.rate) for r in equal[:2]])
        why += f"; {names} as even: longer steps, more light"
    elif others:
        why += f"; next {fps(others[0].rate)}, {_unevenness(others[0].advice.standing)}"
    return f"{fps(best.rate)} fps", why
