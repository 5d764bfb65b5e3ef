"""A plan in words: numbers, rates, shutter, filter, movement, footage and the cautions."""

from __future__ import annotations

from fractions import Fraction
from math import ceil, floor

from patterns.planning.plan import MainsAdvice, Plan, RatePlan, Remedy, ShutterAdvice
from patterns.planning.rates import FootageAdvice, NearRate
from patterns.timing.audience import Audience, RateStanding, Showing
from patterns.timing.mains import LightCheck, alias_hz
from patterns.timing.notation import joined, pattern_text, plural
from patterns.timing.rates import format_decimal
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


def near_groups(plan: Plan) -> dict[str, str]:
    """Group near rates that do the same: names such as "29.97 instead of 30" to words."""
    groups: dict[str, list[str]] = {}
    for rate in plan.rates:
        near = rate.near
        if near is not None:
            names = groups.setdefault(_near_words(near, plan.request.take_s), [])
            names.append(f"{fps(near.rate)} instead of {fps(rate.rate)}")
    return {", ".join(names): words for words, names in groups.items()}


def _near_words(near: NearRate, take_s: Fraction) -> str:
    """Say what a near rate does over a long take."""
    parts = []
    for showing in near.showings:
        where = f"on {showing.display.name} Hz"
        if showing.slip is None:
            parts.append(f"{where} no slip")
        else:
            every_s = showing.slip.interval_s
            count = f"{float(take_s / every_s):.0f} in all"
            parts.append(f"{where} a slip every {number(float(every_s), 1)} s, {count}")
    drift = float(near.drift_s)
    minutes = number(float(take_s) / 60, 1)
    side = "behind" if drift > 0 else "ahead"
    return f"over {minutes} min {'; '.join(parts)}; its clock is {abs(drift):.1f} s {side} then"


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
