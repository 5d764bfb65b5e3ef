"""What a conform changes, in words and as JSON, and the rates that it proposes."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from patterns.conform.conform import Conformed
from patterns.conform.footage import Footage
from patterns.timing.cadence import Display, cadence
from patterns.timing.cadence_text import short_verdict
from patterns.timing.conform import MODERATE, Conform, Proposal
from patterns.timing.rates import format_decimal, format_rate, limit_cross_s

SCHEMA = "evenhold/conform 1"


def _proposed(
    name: str, footage: Footage, displays: Sequence[Display], found: Sequence[Proposal]
) -> str:
    head = f"{name}: {format_rate(footage.rate)} fps, {_length(footage)}; give --to FPS:"
    lines = [head]
    for proposal in found:
        speed = proposal.conform.speed
        note = "as shot" if speed == 1 else "faster" if speed > 1 else "slower"
        if abs(speed - 1) > MODERATE:
            note += ", which shows in how people and water move"
        where = " and ".join(display.name for display in proposal.even_on)
        percent = format_decimal(100 * speed, 1)
        rate = format_decimal(proposal.conform.timeline)
        lines.append(f"  {rate:>6}  even on {where} Hz, at {percent} % of the speed: {note}")
    if not found:
        lines.append("  no usual rate is even on any of these displays")
    elif len(found[0].even_on) < len(displays):
        lines.append("  no usual rate is even on all of these displays")
    return "\n".join(lines)


def _length(footage: Footage) -> str:
    return f"{footage.frames} frames, {format_decimal(footage.frames / footage.rate)} s"


def _guidance(conform: Conform) -> str:
    """What the guidance for pans allows before and after: the same step from frame to frame."""
    before, after = (
        format_decimal(limit_cross_s(rate), 1) for rate in (conform.footage, conform.timeline)
    )
    return f"{before} -> {after} s to cross at least: a move that kept to that still does"


def _pace(conform: Conform) -> str:
    percent = format_decimal(100 * conform.speed, 2)
    if conform.speed == 1:
        return f"{percent} %: nothing moves faster or slower"
    how = "faster" if conform.speed > 1 else "slower"
    return f"{percent} %: everything in the picture moves {how}"


_SOUND = {
    "none": "there was none",
    "drop": "left out",
    "keep-pitch": "at the new speed, its pitch kept; coded anew",
    "with-speed": "at the new speed, {:+.1f} semitones; coded anew",
}


def conform_text(
    name: str,
    footage: Footage,
    displays: Sequence[Display],
    done: Conformed | None,
    found: Sequence[Proposal],
) -> str:
    """A labelled line for each fact, before and after; without `done` a line a proposal."""
    if done is None:
        return _proposed(name, footage, displays, found)
    conform = done.conform
    rates = (conform.footage, conform.timeline)
    rows = [("rate", " -> ".join(format_rate(rate) for rate in rates) + " fps")]
    seconds = " -> ".join(format_decimal(footage.frames / rate) for rate in rates)
    rows.append(("length", f"{seconds} s, {footage.frames} frames"))
    rows.append(("speed", _pace(conform)))
    for display in displays:
        held = " -> ".join(short_verdict(cadence(rate, display)) for rate in rates)
        rows.append((f"on {display.name:>3} Hz", held))
    rows.append(("guidance", _guidance(conform)))
    if footage.rhythm:
        rows.append(("repeats", f"{footage.rhythm.repeats} pictures taken out"))
    elif footage.looked_at:
        rows.append(
            ("repeats", f"no rhythm of them seen in the first {footage.looked_at} pictures")
        )
    if footage.moved_s is not None:
        moved = f"timed evenly: moved by up to {1000 * float(footage.moved_s):.1f} ms"
        rows.append(("times", f"{moved} before the change of speed"))
    rows.append(("sound", _SOUND[done.sound].format(conform.semitones)))
    rows.append(("kept", ", ".join(done.kept) or "no tags and no timecode in it"))
    rows += [("not kept", what) for what in done.lost]
    return "\n".join([f"{done.target}", *(f"  {name:<9} {what}" for name, what in rows)])


def conform_json(
    name: str,
    footage: Footage,
    displays: Sequence[Display],
    done: Conformed | None,
    found: Sequence[Proposal],
) -> dict[str, Any]:
    """The same as an object, schema 'evenhold/conform 1'; without `done` the proposals."""
    shown: dict[str, Any] = {
        "schema": SCHEMA,
        "file": name,
        "written": None if done is None else str(done.target),
        "frames": footage.frames,
        "repeats_removed": footage.rhythm.repeats if footage.rhythm else 0,
        "looked_at": footage.looked_at,
        "moved_ms": None if footage.moved_s is None else round(1000 * float(footage.moved_s), 3),
        "before": _side(footage.rate, footage.frames, displays),
        "after": None if done is None else _side(done.conform.timeline, footage.frames, displays),
        "proposals": [
            {
                **_rate(proposal.conform.timeline),
                "speed": round(float(proposal.conform.speed), 6),
                "even_on": [display.name for display in proposal.even_on],
            }
            for proposal in found
        ],
    }
    if done is not None:
        shown |= {
            "speed": round(float(done.conform.speed), 6),
            "speed_exact": str(done.conform.speed),
            "sound": done.sound,
            "kept": list(done.kept),
            "not_kept": list(done.lost),
        }
    return shown


def _rate(rate: Fraction) -> dict[str, Any]:
    return {"rate": round(float(rate), 6), "rate_exact": str(rate)}


def _side(rate: Fraction, frames: int, displays: Sequence[Display]) -> dict[str, Any]:
    held = {display.name: short_verdict(cadence(rate, display)) for display in displays}
    return {**_rate(rate), "seconds": round(float(frames / rate), 6), "cadence": held}
