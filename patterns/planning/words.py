"""The plan's findings as sentences, the same in the terminal and on the printed page."""

from __future__ import annotations

from fractions import Fraction
from math import ceil, floor

from patterns.planning.conform_advice import FootageAdvice
from patterns.planning.movement_advice import MovementAdvice, Remedy
from patterns.planning.plan import Plan, RatePlan
from patterns.planning.rate_advice import NearRate, RateAdvice
from patterns.planning.shutter_advice import MainsAdvice, ShutterAdvice
from patterns.scenes.motion import BarsMotion, Motion, TerrainMotion
from patterns.timing.audience import Audience, RateStanding, Showing
from patterns.timing.conform import Conform
from patterns.timing.filters import FilterChoice
from patterns.timing.mains import LightCheck, alias_hz
from patterns.timing.rates import format_decimal
from patterns.timing.shutter import format_exposure
from patterns.timing.slip import SlowSlip

__all__ = [
    "CAUTIONS",
    "audience_words",
    "check_words",
    "conform_verdict",
    "filter_words",
    "fps",
    "move_words",
    "movement_verdict",
    "near_light_words",
    "near_words",
    "number",
    "percent",
    "rate_reason",
    "rate_verdict",
    "remedy_words",
    "repeat_words",
    "shutter_verdict",
]

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


def number(value: float, digits: int = 2) -> str:
    """Plain decimal without trailing zeros: 8, 3.33, 0.5."""
    text = f"{value:.{digits}f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text).replace("-0", "0", text == "-0")


def fps(rate: Fraction) -> str:
    """'24' or '29.97'."""
    return format_decimal(rate)


def move_words(motion: Motion) -> str:
    """Describe the move in one line."""
    if isinstance(motion, BarsMotion):
        return f"{motion.direction} bars at {number(abs(float(motion.speed_px_s)), 1)} px/s"
    lens = f"field {number(motion.hfov_deg, 1)} deg"
    if isinstance(motion, TerrainMotion):
        down = (
            "straight down" if motion.flight == "down" else f"pitch {float(motion.pitch_deg):g} deg"
        )
        look = {"forward": "forward flight", "sideways": "sideways flight", "down": "flight"}
        return (
            f"{look[motion.flight]} at {float(motion.ground_speed_m_s):g} m/s, "
            f"{float(motion.height_m):g} m up, {down}, {lens}"
        )
    return (
        f"orbit of a {motion.subject} at {number(abs(float(motion.turn_deg_s)))} deg/s, radius "
        f"{float(motion.radius_m):g} m, {float(motion.height_m):g} m up, {lens}"
    )


def percent(share: Fraction | float) -> str:
    """'80 %'."""
    return f"{number(100 * float(share), 1)} %"


def audience_words(audience: Audience, *, assumed: bool) -> str:
    """'60 Hz 80 %, 120 Hz 20 %', and that it is assumed where it is."""
    parts = ", ".join(f"{d.name} Hz {percent(share)}" for d, share in audience.displays)
    return f"{parts} (assumed)" if assumed else parts


def _and(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


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
        parts.append(f"even on {'all: ' if len(even) > 1 else ''}{_and(even)}")
    elif even:
        parts.append(f"even on {_and(even)}")
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


def near_light_words(near: Fraction, mains: MainsAdvice) -> str:
    """Say what a near rate makes of light that the named rate follows exactly."""
    beat = alias_hz(mains.wished.pulses_hz, near)
    return (
        f"{fps(near)} would not follow it: the light would breathe once in "
        f"{number(float(1 / beat))} s ({number(float(beat), 3)} Hz) unless the exposure holds "
        "whole cycles"
    )


def check_words(check: LightCheck) -> str:
    """Say what mains light does to the wished exposure."""
    cycles = number(float(check.cycles), 3)
    follows = f"the light's {fps(check.pulses_hz)} Hz is a multiple of the rate"
    if check.steadiness == "whole cycles":
        plural = "" if check.cycles == 1 else "s"
        held = f"holds still: {cycles} whole cycle{plural} of the light in each frame"
        return f"{held}; at any exposure too, {follows}" if check.beat_hz == 0 else held
    beat = number(float(check.beat_hz), 3)
    left = f"{number(100 * check.modulation, 1)} % modulation left ({cycles} cycles)"
    if check.steadiness == "rate follows the light":
        return f"holds still at any exposure: {follows}"
    if check.steadiness == "slow beat":
        period = number(float(1 / check.beat_hz), 2)
        return f"nearly: {left}, breathing once in {period} s ({beat} Hz)"
    return f"flickers: {left}, beating at {beat} Hz"


def shutter_verdict(advice: ShutterAdvice) -> str:
    """Name the exposure to set, with the angle that it really is."""
    text = f"{format_exposure(advice.advised_s)} ({number(float(advice.advised_deg), 1)} deg)"
    if advice.mains is None:
        return text
    if advice.mains.nearest_s is None:
        return (
            f"{text}; a frame is too short for one cycle of the light: it "
            f"{check_words(advice.mains.wished)}"
        )
    if advice.mains.wished.steadiness == "rate follows the light":
        return f"{text}, still under the lamps at any exposure"
    wished = (
        "" if advice.advised_s == advice.wished_s else f", not {format_exposure(advice.wished_s)}"
    )
    return f"{text}, still under the lamps{wished}"


def filter_words(filters: FilterChoice) -> str:
    """Filter to fit, and what remains to be trimmed."""
    stops = filters.wanted_stops
    if not filters.densities:
        if stops < -0.05:
            return (
                f"no filter: {number(-stops)} stops too DARK as metered; open the aperture, raise "
                "the ISO or add light by as much"
            )
        if stops <= 0.05:
            return "no filter: the metered exposure is the wanted one"
        return f"no filter: {number(stops)} stop too bright, trim it with aperture or ISO"
    return f"{filters.names}; {_trim_words(filters.trim_stops)}"


def _trim_words(trim: float) -> str:
    if abs(trim) < 0.05:
        return "nothing to trim (under 0.05 stop)"
    if trim > 0:
        return f"then {number(trim)} stop too bright: close the aperture or lower the ISO"
    return f"then {number(-trim)} stop too dark: open the aperture or raise the ISO"


def movement_verdict(movement: MovementAdvice) -> str:
    """Whether the move keeps to the guidance, with both numbers."""
    if not movement.step_px:
        return "nothing moves"
    crossing = f"fastest place crosses in {number(movement.fastest_cross_s, 1)} s"
    limit = f"{number(movement.limit_cross_s, 1)} s"
    if movement.within:
        return f"{crossing}: within the guidance ({limit} at {fps(movement.rate)} fps)"
    return (
        f"{crossing}: too fast, {number(movement.times_limit)} times the guidance ({limit} at "
        f"{fps(movement.rate)} fps) and past it in {percent(movement.past_share)} of the moving "
        f"picture; met by {' or '.join(remedy_words(r) for r in movement.remedies)}"
    )


def remedy_words(remedy: Remedy) -> str:
    """Say at which value of one quantity the guidance is met."""
    # Rounded to the side on which the guidance is met.
    hundredths = 100 * remedy.meets_at
    value = floor(hundredths + 1e-6) if remedy.at_most else ceil(hundredths - 1e-6)
    bound = "at most" if remedy.at_most else "at least"
    return f"{remedy.quantity} {bound} {number(value / 100)} {remedy.unit}"


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
        names = _and([fps(r.rate) for r in equal])
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
