"""A plan as JSON."""

from __future__ import annotations

from fractions import Fraction
from math import isfinite
from typing import Any

from patterns.planning.plan import MovementAdvice, Plan, RatePlan, ShutterAdvice
from patterns.planning.rates import FootageAdvice, NearRate, PlanRequest
from patterns.planning.words import CAUTIONS, rate_reasons
from patterns.timing.audience import Showing

SCHEMA = "evenhold/plan 1"

Json = dict[str, Any]


def plan_json(plan: Plan) -> Json:
    """Plan as an object of plain JSON values; exact times as 'numerator/denominator'."""
    x, y = plan.speed.fastest_xy
    return {
        "schema": SCHEMA,
        "request": _request(plan.request),
        "image_motion": {
            "fastest_px_per_s": _round(plan.speed.fastest_px_s),
            "typical_px_per_s": _round(plan.speed.typical_px_s),
            "fastest_x": _round(x),
            "fastest_y": _round(y),
        },
        "best_rate": str(plan.best.rate),
        "rates": [
            _rate(place, rate, reason, plan.request.take_s)
            for place, (rate, reason) in enumerate(
                zip(plan.rates, rate_reasons(plan), strict=True), start=1
            )
        ],
        "footage": [_footage(advice) for advice in plan.footage],
        "cautions": list(CAUTIONS),
    }


def _round(value: float | Fraction | None) -> float | None:
    """Five significant digits, more than a camera can be set to; None for none or infinite."""
    if value is None or not isfinite(value):
        return None
    return float(f"{float(value):.5g}")


def _numbers(source: object, *names: str) -> Json:
    return {name: _round(getattr(source, name)) for name in names}


def _request(request: PlanRequest) -> Json:
    metered, shutter = request.metered, request.shutter
    return {
        "displays": [
            {"display": display.name, "share": _round(share)}
            for display, share in request.audience.displays
        ],
        "displays_assumed": request.audience_assumed,
        "rates": [str(rate) for rate in request.rates],
        "move": request.motion.words,
        "width": request.width,
        "height": request.height,
        "shutter_deg": None if shutter.exposure_s else _round(shutter.angle_deg),
        "exposure_s": None if shutter.exposure_s is None else str(shutter.exposure_s),
        "mains_hz": request.mains_hz,
        "lamp_depth": _round(request.lamp_depth),
        "metered": metered
        and {
            **_numbers(metered, "iso", "aperture"),
            "exposure_s": str(metered.exposure_s),
            "ev100": _round(metered.ev100),
        },
        "footage": [str(rate) for rate in request.footage],
        **_numbers(request, "viewing_heights", "take_s"),
    }


def _rate(place: int, rate: RatePlan, reason: str, take_s: Fraction) -> Json:
    standing = rate.standing
    return {
        "rate": str(rate.rate),
        "place": place,
        "expected_error_ms": _round(1000 * standing.expected_error_s),
        "ranked_error_ms": _round(1000 * standing.ranked_error_s),
        "slips_per_s": _round(standing.slips_per_second),
        "dropped_per_s": _round(standing.dropped_per_second),
        "even": standing.even_everywhere,
        "jump": {
            "display": rate.jump.showing.display.name,
            **_numbers(rate.jump, "px", "percent_of_width", "arcmin"),
        },
        "reason": reason,
        "displays": [_showing(showing) for showing in standing.showings],
        "near": _near(rate.near, take_s),
        "shutter": _shutter(rate.shutter),
        "filter": _filter(rate.shutter),
        "movement": _movement(rate.movement),
    }


def _showing(showing: Showing) -> Json:
    held = showing.cadence
    return {
        "display": showing.display.name,
        "share": _round(showing.share),
        "refresh": str(held.refresh_hz),
        "holds": None if showing.seen_holds is None else list(showing.seen_holds),
        "slip_every_s": _round(showing.slip.interval_s) if showing.slip else None,
        "period_frames": held.period_frames,
        "even": held.even,
        **_numbers(held, "beat_hz", "odd_holds_per_second", "dropped_per_second"),
        "timing_error_rms_ms": _round(1000 * held.timing_error_rms_s),
        "timing_error_span_ms": _round(1000 * held.timing_error_span_s),
    }


def _near(near: NearRate | None, take_s: Fraction) -> Json | None:
    if near is None:
        return None
    return {
        "rate": str(near.rate),
        "drift_s": _round(near.drift_s),
        "slips": [
            {
                "display": showing.display.name,
                "every_s": _round(showing.slip.interval_s) if showing.slip else None,
                "in_take": _round(take_s / showing.slip.interval_s) if showing.slip else 0.0,
            }
            for showing in near.showings
        ],
    }


def _shutter(advice: ShutterAdvice) -> Json:
    mains = advice.mains
    return {
        "wished_s": str(advice.target_s),
        "advised_s": str(advice.advised_s),
        "advised_deg": _round(advice.advised_deg),
        "mains": mains
        and {
            **_numbers(mains.target, "pulses_hz", "cycles"),
            "steadiness": mains.target.steadiness,
            **_numbers(mains.target, "modulation", "beat_hz", "beat_period_s"),
            "whole_cycles_s": [str(exposure) for exposure in mains.clean_s],
            "nearest_s": None if mains.nearest_s is None else str(mains.nearest_s),
        },
    }


def _filter(advice: ShutterAdvice) -> Json | None:
    filters = advice.filters
    if filters is None:
        return None
    return {
        "stops": _round(filters.wanted_stops),
        **_numbers(filters, "factor", "density"),
        "filters": [_round(density) for density in filters.densities],
        "trim_stops": _round(filters.trim_stops),
    }


def _movement(movement: MovementAdvice) -> Json:
    return {
        **_numbers(movement, "fastest_cross_s", "typical_cross_s"),
        "fastest_step_px": _round(movement.step_px),
        **_numbers(
            movement,
            *("typical_step_px", "limit_cross_s", "limit_step_px", "times_limit", "past_share"),
        ),
        "within": movement.within,
        "meets_limit": [
            {
                "quantity": remedy.quantity,
                "unit": remedy.unit,
                **_numbers(remedy, "now", "meets_at"),
                "bound": "at most" if remedy.at_most else "at least",
            }
            for remedy in movement.remedies
        ],
    }


def _footage(advice: FootageAdvice) -> Json:
    return {
        "footage": str(advice.footage),
        "own_error_ms": _round(1000 * advice.own.ranked_error_s),
        "advised_timeline": None if advice.best is None else str(advice.best.conform.timeline),
        "timelines": [
            {
                "timeline": str(choice.conform.timeline),
                **_numbers(choice.conform, "speed", "length", "semitones"),
                "played_error_ms": _round(1000 * choice.played.ranked_error_s),
                "played_even": choice.played.even_everywhere,
                "odd_frame_shown": choice.conform.odd_frames[0],
                "odd_frame_in": _round(choice.conform.odd_frames[1]),
                "repeated_error_ms": _round(1000 * choice.repeated_error_s),
                "mixed_share": _round(choice.conform.mixed_share),
            }
            for choice in advice.choices
        ],
    }
