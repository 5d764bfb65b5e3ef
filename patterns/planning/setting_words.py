"""Shutter, mains light, filter and movement in words."""

from __future__ import annotations

from fractions import Fraction
from math import ceil, floor

from patterns.planning.movement_advice import Remedy
from patterns.planning.shutter_advice import MainsAdvice, ShutterAdvice
from patterns.planning.words import fps, number
from patterns.timing.filters import FilterChoice
from patterns.timing.mains import LightCheck, alias_hz
from patterns.timing.shutter import format_exposure

__all__ = [
    "check_words",
    "clean_words",
    "filter_brief",
    "near_light_words",
    "remedy_words",
    "shutter_brief",
]

TRIM_STOPS = 0.05  # less than this is not worth a turn of the ring


def check_words(check: LightCheck) -> str:
    """Say what mains light does to the target exposure."""
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


def remedy_words(remedy: Remedy) -> str:
    """Say at which value of one quantity the guidance is met."""
    # Rounded to the side on which the guidance is met.
    hundredths = 100 * remedy.meets_at
    value = floor(hundredths + 1e-6) if remedy.at_most else ceil(hundredths - 1e-6)
    bound = "at most" if remedy.at_most else "at least"
    return f"{remedy.quantity} {bound} {number(value / 100)} {remedy.unit}"
