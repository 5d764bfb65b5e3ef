"""A plan in words: the sentences of its sections, and its brief of at most twelve lines."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor, log10

from patterns.planning.plan import (
    FootageAdvice,
    MainsAdvice,
    MovementAdvice,
    Plan,
    RatePlan,
    Remedy,
    ShutterAdvice,
)
from patterns.timing.audience import Audience, RateStanding, Showing
from patterns.timing.mains import LightCheck, alias_hz
from patterns.timing.notation import joined, pattern_text, plural
from patterns.timing.rates import beyond_guidance, format_decimal
from patterns.timing.shutter import FilterChoice, format_exposure

CAUTIONS = (
    "Flying: keep to the local rules for height, distance, line of sight and airspace, and to "
    "the aircraft's own limits; a speed or height named here is arithmetic, not permission. "
    "Whether to fly it is the pilot's decision, not the plan's.",
    "People: nobody uninvolved under or near the flight; warn those who take part; stop when "
    "someone comes in.",
    "Lights and mains: leave fixed wiring, generators and stage lighting to licensed people; "
    "keep cables dry near water. Lamps differ: film ten seconds and look before the take.",
    "Flashing: a picture that pulses or flashes can hurt a photosensitive person; check clips "
    "before they are shown.",
    "This is an aid to judgement. Local rules and licensed practice come first.",
)


fps = format_decimal  # '24' or '29.97'


def number(value: float, digits: int = 2) -> str:
    """Plain decimal without trailing zeros: 8, 3.33, 0.5."""
    return format_decimal(value, digits)


def percent(share: Fraction | float) -> str:
    """'80 %'."""
    return f"{number(100 * float(share), 1)} %"


def audience_words(audience: Audience, *, assumed: bool) -> str:
    """'60 Hz 80 %, 120 Hz 20 %', and that it is assumed where it is."""
    parts = ", ".join(f"{d.name} Hz {percent(share)}" for d, share in audience.displays)
    return f"{parts} (assumed)" if assumed else parts


def _uneven_words(showing: Showing) -> str:
    held, where = showing.cadence, f"on {showing.display.name} Hz ({percent(showing.share)})"
    if showing.slip:
        what = "even" if len(showing.slip.pattern) == 1 else _holds_words(showing)
        return f"{where} {what} but for a slip every {number(float(showing.slip.interval_s), 1)} s"
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


def rate_reasons(plan: Plan) -> list[str]:
    """Why each rate stands where it does."""
    aboves = (None, *plan.rates)
    return [_reason(rate, above) for rate, above in zip(plan.rates, aboves, strict=False)]


def _reason(rate: RatePlan, above: RatePlan | None) -> str:
    standing, step_px = rate.standing, rate.movement.step_px
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
        steps = f" ({number(step_px, 1)} px, not {number(above.movement.step_px, 1)})"
        parts.append(
            f"as even as {fps(above.rate)}, and below it only because the lower rate moves the "
            f"picture further from frame to frame{steps if step_px else ''}"
        )
    return "; ".join(parts)


def conform_brief(advice: FootageAdvice) -> tuple[str, str]:
    """What to do with footage of one rate, and why."""
    if advice.best is not None:
        conform = advice.best.conform
        value = f"evenhold conform FILE --to {fps(conform.timeline)}"
        return value, f"at {percent(conform.speed)}, {_unevenness(advice.best.played)}"
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
    displays = [s.display.name for s in best.standing.showings]
    where = f"on {joined(displays)} Hz" if len(displays) < 4 else f"on all {len(displays)} displays"
    why = _unevenness(best.standing)
    if best.standing.even_everywhere:
        why += f" {where}"
    equal = [r for r in others if r.standing.evenness == best.standing.evenness]
    if equal:
        names = joined([fps(r.rate) for r in equal[:2]])
        why += f"; {names} as even: longer steps, more light"
    elif others:
        why += f"; next {fps(others[0].rate)}, {_unevenness(others[0].standing)}"
    return f"{fps(best.rate)} fps", why


TRIM_STOPS = 0.05  # less than this is not worth a turn of the ring


def check_words(check: LightCheck) -> str:
    """Say what mains light does to the target exposure."""
    cycles = number(float(check.cycles), 3)
    follows = f"the light's {fps(check.pulses_hz)} Hz is a multiple of the rate"
    if check.steadiness == "whole cycles":
        whole = plural(int(check.cycles), "whole cycle")
        held = f"holds still: {whole} of the light in each frame"
        return f"{held}; at any exposure too, {follows}" if check.beat_hz == 0 else held
    beat = number(float(check.beat_hz), 3)
    left = f"{number(100 * check.modulation, 1)} % modulation left ({cycles} cycles)"
    if check.steadiness == "rate follows the light":
        return f"holds still at any exposure: {follows}"
    if check.steadiness == "slow beat":
        period = number(float(1 / check.beat_hz), 2)
        return f"nearly: {left}, breathing once in {period} s ({beat} Hz)"
    return f"flickers: {left}, beating at {beat} Hz"


def clean_words(advice: ShutterAdvice, rate: Fraction) -> str:
    """Which exposures hold whole cycles of the light, with their angles."""
    mains = advice.mains
    if mains is None or not mains.clean_s:
        return "no whole cycle fits a frame"
    pulses = int(mains.target.pulses_hz)
    shown = [
        f"{k}/{pulses} s ({number(float(t * rate * 360), 1)})"
        for k, t in enumerate(mains.clean_s[:4], start=1)
    ]
    more = len(mains.clean_s) - len(shown)
    return f"whole cycles: {', '.join(shown)}" + (f" and {more} longer" if more else "")


def near_light_words(near: Fraction, mains: MainsAdvice) -> str:
    """Say what a near rate makes of light that the named rate follows exactly."""
    beat = alias_hz(mains.target.pulses_hz, near)
    return (
        f"{fps(near)} would not follow it, but breathe once in {number(float(1 / beat), 1)} s "
        "unless the exposure holds whole cycles"
    )


def shutter_brief(advice: ShutterAdvice, mains_hz: int | None) -> tuple[str, str]:
    """Exposure to set, with the angle that it is, and what lamps make of it."""
    value = f"{format_exposure(advice.advised_s)} ({number(float(advice.advised_deg), 1)} deg)"
    if advice.mains is None:
        return value, "for daylight (lamps: --mains)"
    if advice.flickers:
        return value, f"FLICKERS under {mains_hz} Hz lamps: take a lower rate or other light"
    return value, f"still under {mains_hz} Hz lamps"


def filter_brief(filters: FilterChoice | None) -> tuple[str, str]:
    """Filter to fit, and what remains to be set on the lens."""
    if filters is None:
        return "not known", 'use --metered "ISO100 f/2.8 1/2000"'
    trim = filters.trim_stops
    if not filters.densities and trim < -TRIM_STOPS:
        return "none", f"{number(-trim, 1)} stops too DARK; open up or raise the ISO"
    if abs(trim) < TRIM_STOPS:
        return filters.described, "exposed as metered"
    way = "close" if trim > 0 else "open"
    return filters.described, f"then {way} by {number(abs(trim), 1)} stop"


def remedy_words(remedy: Remedy, step: float = 0.01) -> str:
    """Say at which value, rounded to `step` on the side where it is met, the guidance is met."""
    steps = remedy.meets_at / step
    value = step * (floor(steps + 1e-6) if remedy.at_most else ceil(steps - 1e-6))
    bound = "at most" if remedy.at_most else "at least"
    return f"{remedy.quantity} {bound} {number(value)} {remedy.unit}"


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
    exposed = shutter_brief(shutter, plan.request.mains_hz)
    too_dark = filters is not None and filters.wanted_stops < 0
    return (
        Fact("Rate", *rate_brief(plan), mind=not best.standing.even_everywhere),
        Fact("Shutter", *exposed, mind=shutter.flickers),
        Fact("Filter", *filter_brief(filters), mind=too_dark),
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
    more = f" ({plural(left, 'more rate')} shot)" if left else ""
    lines += _line("Care", "local rules and licensed practice come first")
    return lines + _line("More", f"--details or --html FILE{more}")


def _line(what: str, text: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=f"{what:<{LABEL}}", subsequent_indent=" " * LABEL,
        break_on_hyphens=False,
    )  # fmt: skip


def _move(movement: MovementAdvice) -> tuple[str, str]:
    """How fast one may move at the advised rate, and how that stands to what was asked."""
    if not movement.step_px:
        return "as it is", "nothing moves"
    # two significant digits
    steps = [10.0 ** (floor(log10(remedy.meets_at)) - 1) for remedy in movement.remedies]
    limits = " or ".join(map(remedy_words, movement.remedies, steps))
    times = movement.times_limit
    if movement.within:
        return limits, f"now {100 * times:.0f} % of the guidance"
    return limits, f"now TOO FAST, {beyond_guidance(times)}"
