"""Shutter, mains light, filter and movement in words."""

from __future__ import annotations

from fractions import Fraction
from math import ceil, floor

from patterns.planning.movement_advice import MovementAdvice, Remedy
from patterns.planning.shutter_advice import MainsAdvice, ShutterAdvice
from patterns.planning.words import fps, number, percent
from patterns.timing.filters import FilterChoice
from patterns.timing.mains import LightCheck, alias_hz
from patterns.timing.shutter import format_exposure

__all__ = [
    "check_words",
    "filter_words",
    "movement_verdict",
    "near_light_words",
    "remedy_words",
    "shutter_verdict",
]


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
