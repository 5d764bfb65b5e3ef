"""Footage in words and as JSON: its times, its motion, what viewers see of it, what to do."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from typing import Any

import numpy as np

from patterns.footage.measure import Facts
from patterns.footage.motion import Shot
from patterns.timing.audience import DEFAULT_AUDIENCE, Showing
from patterns.timing.cadence import DEFAULT_DISPLAYS, Display, cadence
from patterns.timing.cadence_text import short_verdict
from patterns.timing.conform import MODERATE, Conform, Proposal, proposals, repeat_span_s
from patterns.timing.notation import joined, plural
from patterns.timing.rates import (
    arcmin,
    beyond_guidance,
    format_decimal,
    format_rate,
    limit_cross_s,
    limit_px_s,
)

AUDIENCE = tuple(display for display, _ in DEFAULT_AUDIENCE.displays)
VIEWING_HEIGHTS = Fraction(3)  # picture heights from the screen
GAPS = 3  # lengths of pictures that are named
TAKEN = ("times", "motion", "fastest")  # rows on what a plan takes from a file
Row = tuple[str, str]


def rows(facts: Facts) -> Iterator[Row]:
    """Labels and words, a line or two each."""
    yield "times", _times(facts)
    if len(facts.shots) > 1:
        starts = [_start_s(facts, shot.first) for shot in facts.shots[1:]]
        cuts = ", ".join(f"{start_s:.1f}" for start_s in starts[:8])
        more = " s ..." if len(starts) > 8 else " s"
        yield "shots", f"{len(facts.shots)}, cut at {cuts}{more}"
    if facts.freezes:
        told = [
            f"{count} pictures the same from {_start_s(facts, first):.1f} s"
            for first, count in facts.freezes[:4]
        ]
        yield "freezes", "; ".join(told) + (" ..." if len(facts.freezes) > 4 else "")
    shot = facts.fastest
    if shot is None:
        why = max(facts.shots, key=lambda s: s.last - s.first).why if facts.shots else "too short"
        yield "motion", f"cannot be told: {why}"
    elif not shot.fastest_px_s:
        yield "motion", "still: nothing moves by as much as can be measured"
    else:
        yield "motion", _typical(facts, shot)
        yield "fastest", _fastest(facts, shot)
    for display in DEFAULT_DISPLAYS:
        yield f"on {display.name} Hz", _on(facts, display)
    if shot is not None and shot.fastest_px_s:
        yield "guidance", _guidance(facts, shot)
    yield "to do", to_do(facts)


def _start_s(facts: Facts, picture: int) -> float:
    return float(facts.times[picture] - facts.times[0])


def _times(facts: Facts) -> str:
    info = facts.info
    parts = []
    if info.rate is not None:
        exact = all(t - info.times[0] == n / info.rate for n, t in enumerate(info.times))
        tick = f"to a tick of 1/{1 / info.tick_s} s"
        parts.append(f"{format_rate(info.rate)} fps, {'exactly' if exact else tick}")
    else:
        parts.append(f"variable: {_gaps(facts)}")
    parts.append(f"{info.pictures} pictures, {format_decimal(info.duration_s, 2)} s")
    if info.left_out:
        parts.append(f"its edit list leaves out {plural(info.left_out, 'more picture')}")
    if facts.interlaced:
        parts.append("interlaced: each picture shows two moments")
    elif info.fields and info.fields != "progressive":
        parts.append(f"marked as interlaced ({info.fields}), but its pictures are whole")
    if info.capture_hz is not None:
        speed = format_decimal(100 * facts.file_rate / info.capture_hz, 1)
        taken = format_decimal(info.capture_hz)
        parts.append(f"taken at {taken} by the maker's tag: plays at {speed} % of real speed")
    return "; ".join(parts)


def _gaps(facts: Facts) -> str:
    """How long the pictures of a variable file last."""
    times = facts.info.times
    gaps_ms = [round(1000 * float(after - before), 1) for before, after in pairwise(times)]
    usual = Counter(gaps_ms).most_common(GAPS)
    listed = ", ".join(f"{gap:g} ms ({100 * n / len(gaps_ms):.0f} %)" for gap, n in usual)
    slope, off_ms = line_through(times)
    text = f"pictures last {min(gaps_ms):g} to {max(gaps_ms):g} ms, mostly {listed}; "
    text += f"{1 / slope:.3f} a second by a line through all times, off it by up to {off_ms:.1f} ms"
    long, short = max(usual[:2])[0], min(usual[:2])[0]
    if len(usual) > 1 and abs(long / short - 1.5) < 0.02 and min(n for _, n in usual[:2]) > 3:
        text += "; 3 and 2 fields in turn, as flags of a telecine ask for"
    return text


def line_through(times: tuple[Fraction, ...]) -> tuple[float, float]:
    """Seconds a picture by least squares, and how far a time is off the line at most, ms."""
    shown = np.array([float(time_s - times[0]) for time_s in times])
    n = np.arange(len(shown))
    slope, start = np.polyfit(n, shown, 1)
    return float(slope), float(1000 * np.abs(shown - slope * n - start).max())


def _speed(facts: Facts, px_s: float) -> str:
    """Pixels a frame, per cent of the width a second and seconds to cross it."""
    width = facts.info.width
    frame_px, share = px_s / float(facts.rate), 100 * px_s / width
    cross_s = format_decimal(width / px_s, 1)
    return f"{frame_px:.1f} px a frame, {share:.1f} % of the width a second, {cross_s} s to cross"


def _typical(facts: Facts, shot: Shot) -> str:
    if not facts.typical_px_s:
        return "still in most of the shots"
    speed = _speed(facts, facts.typical_px_s)
    return f"{speed}; {_way(shot)}" if len(facts.shots) == 1 else f"{speed}, over all shots"


def _way(shot: Shot) -> str:
    way = {"": "many ways", "up": "up", "down": "down"}.get(shot.way, f"to the {shot.way}")
    way = shot.way if shot.way in ("outwards", "inwards") else way
    part = f", in {100 * shot.moving:.0f} % of the picture" if shot.moving < 0.5 else ""
    return f"{way}, {shot.steadiness}{part}"


def _fastest(facts: Facts, shot: Shot) -> str:
    x, y = (f"{100 * share:.0f} %" for share in shot.fastest_xy)
    least = "at least " if shot.lower_bound else ""
    error = 300 * shot.fastest_error_px_s / shot.fastest_px_s
    spread = f"give or take {error:.0f} %; " if error > 5 else ""
    where = f"{x} across, {y} down"
    if len(facts.shots) > 1:
        start_s = _start_s(facts, shot.first)
        where += f", from {start_s:.1f} s on: {_way(shot)}"
    followed = f"{100 * shot.sure:.0f} % followed"
    return f"{least}{_speed(facts, shot.fastest_px_s)} ({spread}{where}; {followed})"


def jump_s(facts: Facts, display: Display) -> Fraction:
    """Latest less earliest frame against an even clock on a display, seconds."""
    done = facts.conversion
    if done is not None and done.kind == "repeat" and done.footage is not None:
        return repeat_span_s(Conform(done.footage, done.timeline), display)
    return Showing(cadence(facts.file_rate, display), Fraction(1)).jump_s


def _on(facts: Facts, display: Display) -> str:
    span_s, shot = jump_s(facts, display), facts.fastest
    if facts.info.rate is None:
        return "uneven, as the times are"
    text = short_verdict(cadence(facts.file_rate, display))
    if facts.conversion is not None:
        text = f"{text}, but the frames in it come unevenly"
    if span_s and shot is not None and shot.fastest_px_s:
        px = float(span_s) * shot.fastest_px_s
        seen = arcmin(px, facts.info.height, VIEWING_HEIGHTS)
        text += f"; the fastest jumps {px:.1f} px, {seen:.1f}'"
    return text


def times_guidance(facts: Facts, shot: Shot) -> float:
    """Fastest speed over the most that the guidance for pans allows at the footage's rate."""
    return shot.fastest_px_s / float(limit_px_s(facts.rate, facts.info.width))


def _guidance(facts: Facts, shot: Shot) -> str:
    times = times_guidance(facts, shot)
    least_s = format_decimal(limit_cross_s(facts.rate), 1)
    rule = f"at {format_decimal(facts.rate)} fps {least_s} s to cross at least"
    if times > 1:
        return f"TOO FAST, {beyond_guidance(times)} ({rule})"
    if shot.lower_bound:
        return f"not known: what was followed keeps to {100 * times:.0f} % of it ({rule})"
    return f"within it, at {100 * times:.0f} % ({rule})"


def to_do(facts: Facts) -> str:
    """What helps, if anything does."""
    done = facts.conversion
    if facts.interlaced or (done is not None and done.kind != "repeat"):
        return "go back to the original: this cannot be undone without loss; edit at its own rate"
    offered = proposals(facts.rate, AUDIENCE)
    best = next((p for p in offered if abs(p.conform.speed - 1) <= MODERATE), None)
    if facts.info.rate is not None and done is None:
        return _conform(best)
    to = "" if best is None else f" --to {format_decimal(best.conform.timeline)}"
    return f"evenhold conform FILE --{'even-out' if done is None else 'undo-repeats'}{to}"


def _conform(best: Proposal | None) -> str:
    """What to do with a file that needs nothing but another rate, if that."""
    if best is None:
        on = joined([display.name for display in AUDIENCE])
        return f"leave its rate: none within 30 % of its speed is even on {on} Hz"
    where = joined([display.name for display in best.even_on])
    if best.conform.speed == 1:
        return f"leave its rate: even on {where} Hz"
    command = f"evenhold conform FILE --to {format_decimal(best.conform.timeline)}"
    if abs(best.conform.speed - 1) < Fraction(1, 500):
        return f"leave its rate, or {command}, which takes the slips away"
    percent = format_decimal(100 * best.conform.speed, 1)
    return f"{command}: {percent} % of the speed, even on {where} Hz"


def facts_json(facts: Facts) -> dict[str, Any]:
    """Key `footage` of the schema 'evenhold/reading 1'."""
    info, done, shot = facts.info, facts.conversion, facts.fastest
    slope, off_ms = line_through(info.times) if info.pictures > 1 else (None, None)
    return {
        "rate_exact": None if info.rate is None else str(info.rate),
        "times": _times(facts),
        "mean_hz": None if slope is None else round(1 / slope, 6),
        "off_line_ms": None if off_ms is None else round(off_ms, 4),
        "fields": info.fields,
        "interlaced": facts.interlaced,
        "hidden_by_edit_list": info.left_out,
        "taken_hz": None if info.capture_hz is None else float(info.capture_hz),
        "conversion": None
        if done is None
        else {
            "kind": done.kind,
            "footage": None if done.footage is None else str(done.footage),
            "words": done.words,
        },
        "cannot_be_told": facts.hidden if done is None and facts.hidden else None,
        "typical_px_s": None if shot is None else round(facts.typical_px_s, 3),
        "fastest_px_s": None if shot is None else round(shot.fastest_px_s, 3),
        "fastest_is_lower_bound": None if shot is None else shot.lower_bound,
        "times_guidance": None if shot is None else round(times_guidance(facts, shot), 4),
        "freezes": [
            {"first_picture": first, "pictures": count, "start_s": round(_start_s(facts, first), 6)}
            for first, count in facts.freezes
        ],
        "shots": [_shot_json(facts, shot) for shot in facts.shots],
        "displays": [
            {
                "display": display.name,
                "cadence": short_verdict(cadence(facts.file_rate, display)),
                "jump_ms": None
                if info.rate is None
                else round(1000 * float(jump_s(facts, display)), 4),
            }
            for display in DEFAULT_DISPLAYS
        ],
        "to_do": to_do(facts),
    }


def _shot_json(facts: Facts, shot: Shot) -> dict[str, Any]:
    known = not shot.why
    return {
        "first_picture": shot.first,
        "last_picture": shot.last,
        "start_s": round(_start_s(facts, shot.first), 6),
        "not_known": shot.why or None,
        "typical_px_s": round(shot.typical_px_s, 3) if known else None,
        "fastest_px_s": round(shot.fastest_px_s, 3) if known else None,
        "fastest_error_px_s": round(shot.fastest_error_px_s, 3) if known else None,
        "fastest_x": round(shot.fastest_xy[0], 3) if known else None,
        "fastest_y": round(shot.fastest_xy[1], 3) if known else None,
        "fastest_is_lower_bound": shot.lower_bound if known else None,
        "way": shot.way or None,
        "spread": round(shot.unsteady, 3) if known else None,
        "moving": round(shot.moving, 3) if known else None,
        "sure": round(shot.sure, 3),
    }
