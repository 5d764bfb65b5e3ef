"""A plan as text for a terminal of 80 columns, the verdict first."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from math import isnan

import numpy as np

from patterns.planning.movement_advice import MovementAdvice
from patterns.planning.plan import Plan, RatePlan
from patterns.planning.rate_words import (
    conform_verdict,
    near_words,
    rate_reason,
    rate_verdict,
    repeat_words,
)
from patterns.planning.request import PlanRequest
from patterns.planning.setting_words import (
    check_words,
    filter_words,
    movement_verdict,
    near_light_words,
    remedy_words,
    shutter_verdict,
)
from patterns.planning.words import CAUTIONS, audience_words, fps, move_words, number, percent
from patterns.scenes.speed import speed_at
from patterns.timing.shutter import format_exposure

__all__ = ["near_groups", "plan_text", "speed_letters"]

WIDTH = 79


def plan_text(plan: Plan) -> str:
    """Whole plan, lines of at most 79 characters, ending in a newline."""
    sections = (
        _verdict(plan),
        _rates(plan),
        _shutter(plan),
        _filters(plan),
        _movement(plan),
        _footage(plan),
        _cautions(),
    )
    return "\n".join("\n".join(section) + "\n" for section in sections)


def _wrap(text: str, first: str = "  ", rest: str | None = None) -> list[str]:
    indent = " " * len(first) if rest is None else rest
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=indent, break_on_hyphens=False
    )


def _verdict(plan: Plan) -> Iterator[str]:
    best, request = plan.best, plan.request
    yield from _wrap(f"Plan: {move_words(request.motion)}, {request.width}x{request.height}", "")
    yield ""
    yield from _wrap(rate_verdict(plan), "  Rate      ")
    yield from _wrap(shutter_verdict(best.shutter), "  Shutter   ")
    if best.shutter.filters is not None:
        yield from _wrap(filter_words(best.shutter.filters), "  Filter    ")
    yield from _wrap(movement_verdict(best.movement), "  Movement  ")
    for advice in plan.footage:
        yield from _wrap(conform_verdict(advice), f"  Shot {fps(advice.footage):<5}")


def _rates(plan: Plan) -> Iterator[str]:
    request = plan.request
    yield "1  RATE: how evenly the audience sees it"
    words = audience_words(request.audience, assumed=request.audience_assumed)
    hint = "; --display says others" if request.audience_assumed else ""
    yield from _wrap(f"Displays: {words}{hint}.")
    yield from _wrap(
        "Ranked by expected timing error as seen (RMS, weighted with the shares; without slow "
        "slips and frames that never show), then by slips, dropped frames, and the shorter step. "
        "Jump: how far the fastest place is out of place on the worst display, seen from "
        f"{float(request.viewing_heights):g} picture heights."
    )
    yield ""
    yield "      fps   error  as seen   jump      of     minutes  worst     beat    step"
    yield "             ms      ms       px      width   of arc   on Hz      Hz      px"
    for rate in plan.rates:
        yield _rate_row(rate)
    yield ""
    above = None
    for rate in plan.rates:
        yield from _wrap(rate_reason(rate.advice, above), f"  {fps(rate.rate):>6}: ")
        above = rate.advice
    for names, words in near_groups(plan).items():
        yield from _wrap(f"{names}: {words}.", "  Near rates, ", "    ")


def near_groups(plan: Plan) -> dict[str, str]:
    """Group near rates that do the same: names such as "29.97 beside 30" to words."""
    groups: dict[str, list[str]] = {}
    for rate in plan.rates:
        near = rate.advice.near
        if near is not None:
            names = groups.setdefault(near_words(near, plan.request.take_s), [])
            names.append(f"{fps(near.rate)} beside {fps(rate.rate)}")
    return {", ".join(names): words for words, names in groups.items()}


def _rate_row(rate: RatePlan) -> str:
    advice, jump = rate.advice, rate.advice.jump
    error = f"{1000 * advice.standing.expected_error_s:.2f}"
    seen = f"{1000 * advice.standing.ranked_error_s:.2f}"
    beat = number(float(jump.showing.seen_beat_hz), 3) if jump.showing.seen_beat_hz else "-"
    worst = "-" if jump.showing.even else jump.showing.display.name
    return (
        f"  {advice.place:>2} {fps(rate.rate):>6} {error:>6} {seen:>7} {jump.px:>8.1f} "
        f"{jump.percent_of_width:>7.2f} %{jump.arcmin:>8.1f}  {worst:>7} {beat:>8} "
        f"{advice.step_px:>7.1f}"
    )


def _shutter(plan: Plan) -> Iterator[str]:
    request = plan.request
    yield f"2  SHUTTER: wished {number(float(request.angle_deg), 1)} degrees"
    if request.mains_hz is None:
        yield from _wrap(
            "No mains light (daylight): any exposure holds still. Say --mains 50 or 60."
        )
        for rate in plan.rates:
            yield f"  {fps(rate.rate):>6} fps  {format_exposure(rate.shutter.wished_s)}"
        return
    yield from _wrap(
        f"Mains {request.mains_hz} Hz, light pulses at {2 * request.mains_hz} Hz, lamp depth "
        f"{percent(request.lamp_depth)}{' (worst case)' if request.lamp_depth == 1 else ''}. "
        "Left over = depth x |sin(pi c)/(pi c)|, c cycles in the exposure."
    )
    for rate in plan.rates:
        yield ""
        yield from _mains_lines(rate)


def _mains_lines(rate: RatePlan) -> Iterator[str]:
    mains = rate.shutter.mains
    assert mains is not None
    exposure = format_exposure(rate.shutter.wished_s)
    yield from _wrap(f"{exposure} {check_words(mains.wished)}", f"  {fps(rate.rate):>6} fps  ")
    indent = " " * 14
    near = rate.advice.near
    if mains.wished.beat_hz == 0 and near is not None:
        yield from _wrap(near_light_words(near.rate, mains), indent)
    if mains.clean_s:
        yield from _wrap(f"whole cycles: {_clean_list(rate)}", indent)
    else:
        yield from _wrap("whole cycles: none fits a frame", indent)
    if mains.nearest_s is not None and mains.nearest_s != rate.shutter.wished_s:
        angle = number(float(rate.shutter.advised_deg), 1)
        yield from _wrap(
            f"nearest clean: {format_exposure(mains.nearest_s)}, really {angle} deg", indent
        )


def _clean_list(rate: RatePlan) -> str:
    mains = rate.shutter.mains
    assert mains is not None
    pulses = int(mains.wished.pulses_hz)
    shown = [
        f"{k}/{pulses} s ({number(float(t * rate.rate * 360), 1)} deg)"
        for k, t in enumerate(mains.clean_s[:4], start=1)
    ]
    more = len(mains.clean_s) - len(shown)
    return ", ".join(shown) + (f" and {more} longer" if more else "")


def _filters(plan: Plan) -> Iterator[str]:
    metered = plan.request.metered
    if metered is None:
        yield "3  FILTER: no exposure metered; say --metered 'ISO100 f/2.8 1/2000' or --ev"
        return
    yield f"3  FILTER: metered {metered.text} (EV {metered.ev100:.2f} at ISO 100)"
    yield from _wrap("Set to choose from: ND 0.3 to 3.0 in steps of 0.3 (common practice).")
    yield ""
    yield "      fps   exposure      stops    factor  density  filter             trim"
    for rate in plan.rates:
        filters = rate.shutter.filters
        assert filters is not None
        yield (
            f"   {fps(rate.rate):>6}   {format_exposure(rate.shutter.advised_s):<11}"
            f"{filters.wanted_stops:>7.2f} {filters.factor:>9.4g} {filters.density:>8.2f}  "
            f"{filters.names:<16} {filters.trim_stops:>+6.2f}"
        )
    yield from _wrap("Trim: stops still too bright (+) or too dark (-) after the filter.")


def _movement(plan: Plan) -> Iterator[str]:
    best, request = plan.best.movement, plan.request
    x, y = plan.speed.fastest_xy
    place = f"fastest place {percent(x)} from the left, {percent(y)} from the top"
    yield f"4  MOVEMENT: {place if best.step_px else 'none'}"
    if not best.step_px:
        yield "  Nothing moves in this picture: no guidance to keep."
        return
    yield from _wrap(
        f"It moves at {number(plan.speed.fastest_px_s, 1)} px/s and crosses the width in "
        f"{number(best.fastest_cross_s, 1)} s; half of the moving picture takes more than "
        f"{number(best.typical_cross_s, 1)} s."
    )
    yield from _wrap(
        "Guidance: 7 s to cross at 24 fps and 180 degrees (Chapiro et al. 2019, quoting the "
        "American Cinematographer Manual, 2007); in proportion at other rates by convention, "
        f"so {number(best.limit_step_px, 2)} px from frame to frame at any rate."
    )
    yield ""
    yield "      fps   px/frame   allowed   times    crossing allowed   past it in"
    for rate in plan.rates:
        yield _movement_row(rate.movement)
    yield ""
    yield f"  Met at {fps(plan.best.rate)} fps by one of these, the rest as it is:"
    for remedy in best.remedies:
        yield f"    {remedy_words(remedy)} (now {number(remedy.now)})"
    yield ""
    yield from _map_lines(request, best)


def _movement_row(movement: MovementAdvice) -> str:
    return (
        f"   {fps(movement.rate):>6} {movement.step_px:>9.1f} {movement.limit_step_px:>10.2f} "
        f"{movement.times_limit:>8.2f} {movement.limit_cross_s:>14.1f} s "
        f"{percent(movement.past_share):>15}"
    )


def _map_lines(request: PlanRequest, movement: MovementAdvice) -> Iterator[str]:
    yield from _wrap(
        f"Where, at {fps(movement.rate)} fps: digits are tenths of the allowed speed, # is past "
        "it, blank is sky."
    )
    lines = speed_letters(request, movement.limit_px_s)
    rule = "-" * len(lines[0])
    yield f"    +{rule}+"
    for line in lines:
        yield f"    |{line}|"
    yield f"    +{rule}+"


def speed_letters(request: PlanRequest, limit_px_s: float) -> tuple[str, ...]:
    """Small map of the picture in characters, twice as tall as wide, at most 56 by 20."""
    rows = min(20, max(6, round(28 * request.height / request.width)))
    columns = min(56, max(8, round(2 * rows * request.width / request.height)))
    x = (np.arange(columns) + 0.5) * request.width / columns
    y = (np.arange(rows) + 0.5) * request.height / rows
    speeds = speed_at(request.motion, request.width, request.height, x[None, :], y[:, None])
    return tuple("".join(_letter(s / limit_px_s) for s in row) for row in speeds.tolist())


def _letter(times: float) -> str:
    if isnan(times):  # sky
        return " "
    return "#" if times > 1 + 1e-6 else str(min(9, int(10 * times)))


def _footage(plan: Plan) -> Iterator[str]:
    if not plan.footage:
        yield "5  CONFORM: nothing shot yet; say --footage 24 for what is"
        return
    yield "5  CONFORM: what is already shot, on each candidate timeline"
    for advice in plan.footage:
        yield ""
        yield from _wrap(
            f"Delivered at its own rate: error {1000 * advice.own.ranked_error_s:.2f} ms over "
            "the audience.",
            f"  Shot {fps(advice.footage)}: ",
            "    ",
        )
        yield "     in | played: speed  length   sound  error | left as shot     error | mixed"
        yield "    fps |             %       %  semit.     ms | frames              ms |     %"
        for choice in advice.choices:
            c = choice.conform
            yield (
                f" {fps(c.timeline):>6} | {100 * float(c.speed):>12.2f} "
                f"{100 * float(c.length):>8.2f} {c.semitones:>+7.2f} "
                f"{1000 * choice.played.ranked_error_s:>6.2f} | {repeat_words(c):<14}"
                f"{1000 * choice.repeated_error_s:>8.2f} | {100 * float(c.mixed_share):>5.1f}"
            )
    yield from _wrap(
        "Played: every frame once, at the speed shown. Left as shot: frames repeat or drop. "
        "Mixed: share of frames that blending makes of two, soft where something moves."
    )


def _cautions() -> Iterator[str]:
    yield "6  CAUTIONS"
    for caution in CAUTIONS:
        yield from _wrap(caution, "  - ")
