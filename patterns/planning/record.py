"""A plan as JSON."""

from __future__ import annotations

from fractions import Fraction
from math import isfinite
from typing import Any

from patterns.planning.plan import (
    FootageAdvice,
    MovementAdvice,
    NearRate,
    Plan,
    PlanRequest,
    RatePlan,
    ShutterAdvice,
)
from patterns.planning.words import CAUTIONS, rate_reasons
from patterns.timing.audience import Showing

SCHEMA = "evenhold/plan 1"

Json = dict[str, Any]


def plan_json(plan: Plan) -> Json:
    """Plan as an object of plain JSON values; exact times as 'numerator/denominator'."""
    x, y = plan.speed.fastest_xy
    speed = {
        "fastest_px_per_s": plan.speed.fastest_px_s,
        "typical_px_per_s": plan.speed.typical_px_s,
        "fastest_x": x,
        "fastest_y": y,
    }
    rates = [
        {"rate": str(rate.rate), "place": place, **_rate(rate, plan.request.take_s, reason)}
        for place, (rate, reason) in enumerate(zip(plan.rates, rate_reasons(plan), strict=True), 1)
    ]
    return {
        "schema": SCHEMA,
        "request": _plain(_request(plan.request)),
        "image_motion": _plain(speed),
        "best_rate": str(plan.best.rate),
        "rates": _plain(rates),
        "footage": _plain([_footage(advice) for advice in plan.footage]),
        "cautions": list(CAUTIONS),
    }


def _plain(value: Any) -> Any:
    """Numbers to five significant digits, more than a camera can be set to; infinite ones None."""
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    if isinstance(value, float | Fraction):
        return float(f"{float(value):.5g}") if isfinite(value) else None
    return value


def _fields(source: object, *names: str) -> Json:
    return {name: getattr(source, name) for name in names}


def _request(request: PlanRequest) -> Json:
    metered, shutter = request.metered, request.shutter
    return {
        "displays": [
            {"display": display.name, "share": share}
            for display, share in request.audience.displays
        ],
        "displays_assumed": request.audience_assumed,
        "rates": [str(rate) for rate in request.rates],
        "move": request.motion.words,
        **_fields(request, "width", "height"),
        "shutter_deg": None if shutter.exposure_s else shutter.angle_deg,
        "exposure_s": None if shutter.exposure_s is None else str(shutter.exposure_s),
        "mains_hz": request.mains_hz,
        "lamp_depth": request.lamp_depth,
        "metered": metered
        and {
            **_fields(metered, "iso", "aperture"),
            "exposure_s": str(metered.exposure_s),
            "ev100": metered.ev100,
        },
        "footage": [str(rate) for rate in request.footage],
        **_fields(request, "viewing_heights", "take_s"),
    }


def _rate(rate: RatePlan, take_s: Fraction, reason: str) -> Json:
    standing = rate.standing
    return {
        "expected_error_ms": 1000 * standing.expected_error_s,
        "ranked_error_ms": 1000 * standing.ranked_error_s,
        "slips_per_s": standing.slips_per_second,
        "dropped_per_s": standing.dropped_per_second,
        "even": standing.even_everywhere,
        "jump": {
            "display": standing.worst.display.name,
            **_fields(rate.jump, "px", "percent_of_width", "arcmin"),
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
        "share": showing.share,
        "refresh": str(held.refresh_hz),
        "holds": showing.seen_holds,
        "slip_every_s": showing.slip.interval_s if showing.slip else None,
        "period_frames": held.period_frames,
        "even": held.even,
        **_fields(held, "beat_hz", "odd_holds_per_second", "dropped_per_second"),
        "timing_error_rms_ms": 1000 * held.timing_error_rms_s,
        "timing_error_span_ms": 1000 * held.timing_error_span_s,
    }


def _near(near: NearRate | None, take_s: Fraction) -> Json | None:
    if near is None:
        return None
    return {
        "rate": str(near.rate),
        "drift_s": near.drift_s,
        "slips": [
            {
                "display": showing.display.name,
                "every_s": showing.slip.interval_s if showing.slip else None,
                "in_take": take_s / showing.slip.interval_s if showing.slip else 0.0,
            }
            for showing in near.showings
        ],
    }


def _shutter(advice: ShutterAdvice) -> Json:
    mains = advice.mains
    return {
        "wished_s": str(advice.target_s),
        "advised_s": str(advice.advised_s),
        "advised_deg": advice.advised_deg,
        "mains": mains
        and {
            **_fields(mains.target, "pulses_hz", "cycles", "steadiness", "modulation"),
            **_fields(mains.target, "beat_hz", "beat_period_s"),
            "whole_cycles_s": [str(exposure) for exposure in mains.clean_s],
            "nearest_s": None if mains.nearest_s is None else str(mains.nearest_s),
        },
    }


def _filter(advice: ShutterAdvice) -> Json | None:
    filters = advice.filters
    if filters is None:
        return None
    return {
        "stops": filters.wanted_stops,
        **_fields(filters, "factor", "density"),
        "filters": filters.densities,
        "trim_stops": filters.trim_stops,
    }


def _movement(movement: MovementAdvice) -> Json:
    return {
        **_fields(movement, "fastest_cross_s", "typical_cross_s"),
        "fastest_step_px": movement.step_px,
        **_fields(movement, "typical_step_px", "limit_cross_s", "limit_step_px", "times_limit"),
        **_fields(movement, "past_share", "within"),
        "meets_limit": [
            {
                **_fields(remedy, "quantity", "unit", "now", "meets_at"),
                "bound": "at most" if remedy.at_most else "at least",
            }
            for remedy in movement.remedies
        ],
    }


def _footage(advice: FootageAdvice) -> Json:
    return {
        "footage": str(advice.footage),
        "own_error_ms": 1000 * advice.own.ranked_error_s,
        "advised_timeline": None if advice.best is None else str(advice.best.conform.timeline),
        "timelines": [
            {
                "timeline": str(choice.conform.timeline),
                **_fields(choice.conform, "speed", "length", "semitones"),
                "played_error_ms": 1000 * choice.played.ranked_error_s,
                "played_even": choice.played.even_everywhere,
                "odd_frame_shown": choice.conform.odd_frames[0],
                "odd_frame_in": choice.conform.odd_frames[1],
                "repeated_error_ms": 1000 * choice.repeated_error_s,
                "mixed_share": choice.conform.mixed_share,
            }
            for choice in advice.choices
        ],
    }
