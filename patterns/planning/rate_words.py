"""Why a rate stands where it does, what near rates do, and what to do with footage, in words."""

from __future__ import annotations

from fractions import Fraction

from patterns.planning.conform_advice import FootageAdvice
from patterns.planning.plan import Plan, RatePlan
from patterns.planning.rate_advice import NearRate, RateAdvice
from patterns.planning.words import fps, joined, number, percent
from patterns.timing.audience import RateStanding, Showing
from patterns.timing.conform import Conform
from patterns.timing.slip import SlowSlip

__all__ = ["conform_verdict", "near_words", "rate_reason", "rate_verdict", "repeat_words"]


def _uneven_words(showing: Showing) -> str:
    held, where = showing.cadence, f"on {showing.display.name} Hz ({percent(showing.share)})"
    if showing.slip:
        return f"{where} {_slip_words(showing, showing.slip)}"
    if held.dropped_per_second:
        dropped = number(float(held.dropped_per_second))
        rest = "unevenly" if showing.seen_rms_s else "evenly"
        return f"{where} {dropped} frames a second never show, the others come {rest}"
    return (
        f"{where} frames stay {_holds_words(showing)} refreshes: "
        f"{number(float(held.odd_holds_per_second))} odd ones a second"
    )


def _holds_words(showing: Showing) -> str:
    if showing.seen_holds:
        return ",".join(map(str, showing.seen_holds))
    return f"{showing.cadence.usual_hold} or {showing.cadence.odd_hold}"


def _slip_words(showing: Showing, slip: SlowSlip) -> str:
    what = "even" if len(slip.pattern) == 1 else f"frames stay {_holds_words(showing)} refreshes"
    return (
        f"{what} but for one slip each {number(float(slip.interval_s), 1)} s (error "
        f"{number(1000 * showing.cadence.timing_error_rms_s)} ms over the whole beat, "
        f"{number(1000 * showing.seen_rms_s)} ms between slips)"
    )


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


def near_words(near: NearRate, take_s: Fraction) -> str:
    """Say what a near rate does over a long take, beside the rate that it is near to."""
    slips = []
    for slip in near.slips:
        where = f"on {slip.showing.display.name} Hz"
        if slip.every_s is None:
            slips.append(f"{where} none, the display follows")
        else:
            slips.append(
                f"{where} one refresh each {number(float(slip.every_s), 1)} s, "
                f"{number(float(slip.in_take), 0)} times"
            )
    drift = float(near.drift_s)
    side = "behind" if drift > 0 else "ahead"
    return (
        f"over {number(float(take_s) / 60, 1)} min, slips {'; '.join(slips)}; clock "
        f"{number(abs(drift), 2)} s {side} at the end"
    )


def repeat_words(conform: Conform) -> str:
    """Which frames repeat when footage is left at its own speed."""
    repeats, every = conform.odd_frames
    if not every:
        return f"each x{repeats}"
    if conform.speed < Fraction(1, 2):
        return f"1 of {number(float(every))} shown"
    if conform.speed < 1:
        return f"1 of {number(float(every))} lost"
    return f"1 of {number(float(every))} x{repeats}"


def conform_verdict(advice: FootageAdvice) -> str:
    """Say what to do with footage of one rate."""
    error = _error_words(advice.own)
    if advice.best is None:
        if advice.own.even_everywhere:
            return f"leave it at {fps(advice.footage)}: even on the audience's displays"
        return (
            f"leave it at {fps(advice.footage)} ({error}): no candidate within 30 % of its speed "
            "is more even"
        )
    conform = advice.best.conform
    even = _error_words(advice.best.played)
    return (
        f"play it at {percent(conform.speed)} in {fps(conform.timeline)} ({even}; left at "
        f"{fps(advice.footage)}: {error}), unless its speed or sound must stay as shot"
    )


def _error_words(standing: RateStanding) -> str:
    if standing.even_everywhere:
        return "even"
    if not standing.ranked_error_s:
        return f"even but for {'dropped frames' if standing.dropped_per_second else 'slow slips'}"
    return f"error {number(1000 * standing.ranked_error_s)} ms"


def rate_verdict(plan: Plan) -> str:
    """Name the rate to shoot and what comes nearest to it."""
    best = plan.best
    text = f"{fps(best.rate)} fps: {_standing_words(best)}"
    others = plan.rates[1:]
    equal = [r for r in others if r.advice.standing.evenness == best.advice.standing.evenness]
    if equal:
        names = joined([fps(r.rate) for r in equal])
        return (
            f"{text}; {names} {'is' if len(equal) == 1 else 'are'} as even, with longer steps "
            "but more light and less data"
        )
    if others:
        text += f"; next {fps(others[0].rate)}, {_error_words(others[0].advice.standing)}"
    return text


def _standing_words(rate: RatePlan) -> str:
    standing = rate.advice.standing
    if standing.even_everywhere:
        return "every frame equally long on every display"
    return _error_words(standing) + " over the audience"
