"""Devices beside each other: what can be compared, who holds frames more evenly, and how surely.

Readings are compared clip by clip, by the timing error's RMS. Its uncertainty is the standard
error of the mean over stretches of 24 frames.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import hypot, sqrt
from statistics import stdev
from typing import Any

from patterns.errors import RequestError
from patterns.reading.hold_cadence import timing_error
from patterns.reading.reading import Reading
from patterns.reading.reading_text import wrapped
from patterns.timing.notation import pattern_text, plural
from patterns.timing.rates import format_decimal

FEWEST_FRAMES = 24
STRETCH_FRAMES = 24
CLEAR = 2.0  # combined standard errors that a difference must have to be called one
COUNTS_MS = 0.3  # below this two errors are equal, whatever their spread
SCHEMA = "evenhold/comparison 1"
HEAD = ("device", "clip", "cadence", "timing error", "frames lost", "longest hold")
LEAST_SPREAD_MS = 0.05  # a smaller one would be written as nothing


@dataclass(frozen=True)
class Entry:
    """One device on one clip."""

    label: str  # the device, as the user calls it
    reading: Reading  # what was read

    @property
    def clip(self) -> str:
        """Which clip: its rate and identity as text; '' if unknown."""
        rate, identity = self.reading.rate, self.reading.clip
        if rate is None or identity is None:
            return ""
        return f"{format_decimal(rate)} fps, clip {identity:04x}"

    @property
    def error_ms(self) -> float | None:
        """Timing error RMS, milliseconds; None if it cannot be known."""
        return None if self.reading.error is None else self.reading.error.rms_ms

    @cached_property
    def spread_ms(self) -> float | None:
        """Its standard error, from how it varies from stretch to stretch; None as above."""
        rate, frames = self.reading.rate, self.reading.holds
        if rate is None or any(frame.start_s is None for frame in frames):
            return None
        starts = range(0, len(frames) - STRETCH_FRAMES + 1, STRETCH_FRAMES)
        found = [timing_error(frames[n : n + STRETCH_FRAMES], rate) for n in starts]
        errors = [error.rms_ms for error in found if error is not None]
        return stdev(errors) / sqrt(len(errors)) if len(errors) > 1 else None

    @property
    def lost(self) -> int:
        """Frames lost that the cadence does not lose."""
        return self.reading.drops_beyond

    @property
    def worst_ms(self) -> float | None:
        """Longest hold, milliseconds; None if none is known."""
        holds = self.reading.holds
        return 1000 * max(frame.hold_s for frame in holds) if holds else None

    @property
    def lost_per_minute(self) -> float:
        """Frames lost a minute; 0 for a reading without length."""
        minutes = self.reading.seconds / 60
        return self.lost / minutes if minutes else 0.0

    @property
    def lost_words(self) -> str:
        """'none' or '2 in 5 s': what was seen, not what would be in a minute."""
        return f"{self.lost} in {self.reading.seconds:.0f} s" if self.lost else "none"

    @property
    def pattern(self) -> str:
        """Pattern held, in words for a table."""
        found = self.reading.pattern
        if found is not None:
            return pattern_text(found)
        if self.reading.even:
            return "even"
        return "none" if self.reading.holds else "-"


@dataclass(frozen=True)
class Standing:
    """A device's place on a clip; `tied` where it cannot be known from the one before it."""

    place: int
    entry: Entry
    tied: bool
    reason: str


@dataclass(frozen=True)
class Comparison:
    """Result."""

    entries: tuple[Entry, ...]  # as they are ranked, clip by clip; then those that are not
    # for each clip with two or more comparable entries, the standings, best first
    rankings: tuple[tuple[str, tuple[Standing, ...]], ...]
    cautions: tuple[str, ...]  # what cannot be compared, and why
    verdict: str  # one sentence


def _unfit(entry: Entry) -> str | None:
    """Why a reading cannot be compared, or None."""
    if not entry.clip:
        return f"{entry.label}: its clip is not known, so it is compared with none"
    if entry.error_ms is None or len(entry.reading.holds) < FEWEST_FRAMES:
        count = plural(len(entry.reading.holds), "frame")
        return (
            f"{entry.label} on {entry.clip}: {count} with a known hold, {FEWEST_FRAMES} are "
            "needed; film two seconds or more"
        )
    return None


def _loss_class(entry: Entry) -> int:
    """Losses come first: none, some, many (more than one in two seconds)."""
    return 0 if not entry.lost else 1 if entry.lost_per_minute <= 30 else 2


def _reason(better: Entry | None, entry: Entry) -> tuple[str, bool]:
    """Say why an entry stands where it does, and whether it is tied with the one before."""
    error = f"timing error {entry.error_ms:.1f} ms"
    lost = f"frames lost: {entry.lost_words}"
    if better is None:
        return f"{error}; {lost}", False
    assert better.error_ms is not None
    assert entry.error_ms is not None
    if _loss_class(better) != _loss_class(entry):
        return f"loses more frames: {entry.lost_words}, against {better.lost_words}", False
    apart = abs(entry.error_ms - better.error_ms)
    measured = max(COUNTS_MS, CLEAR * hypot(better.spread_ms or 0.0, entry.spread_ms or 0.0))
    if apart <= measured:
        return f"{error}: within {measured:.1f} ms of the one before, which counts as equal", True
    return f"{error}, {apart:.1f} ms more than the one before", False


def _rank(entries: Sequence[Entry]) -> tuple[Standing, ...]:
    ordered = sorted(entries, key=lambda e: (_loss_class(e), e.error_ms or 0.0, e.label))
    standings: list[Standing] = []
    for index, entry in enumerate(ordered):
        reason, tied = _reason(ordered[index - 1] if index else None, entry)
        place = standings[-1].place if tied else index + 1
        standings.append(Standing(place, entry, tied, reason))
    return tuple(standings)


def _verdict(rankings: Sequence[tuple[str, tuple[Standing, ...]]]) -> str:
    """Name the best and the worst, clip by clip; one sentence where there is one clip."""
    if not rankings:
        return "Nothing can be compared: no two readings are of the same clip and long enough."
    words = []
    for clip, standings in rankings:
        where = f"On {clip}: " if len(rankings) > 1 else ""
        best = sorted(s.entry.label for s in standings if s.place == 1)
        if len(best) == len(standings):
            words.append(f"{where}No difference can be shown between {' and '.join(best)}.")
            continue
        worst = standings[-1].entry
        fault = (
            f"lost {plural(worst.lost, 'frame', 'frames')} in {worst.reading.seconds:.0f} s"
            if worst.lost
            else f"timing error {worst.error_ms:.1f} ms"
        )
        words.append(f"{where}Best: {' and '.join(best)}. Worst: {worst.label}, {fault}.")
    return " ".join(words)


def compare(labelled: Sequence[tuple[str, Reading]]) -> Comparison:
    """Compare readings, each with its device; raises `RequestError` for fewer than two."""
    if len(labelled) < 2:
        raise RequestError("a comparison takes two readings or more: give another file")
    entries = tuple(Entry(label, reading) for label, reading in labelled)
    cautions = [reason for entry in entries if (reason := _unfit(entry))]
    by_clip: dict[str, list[Entry]] = {}
    for entry in entries:
        if _unfit(entry) is None:
            by_clip.setdefault(entry.clip, []).append(entry)
    rankings = []
    for clip, some in by_clip.items():
        if len(some) > 1:
            rankings.append((clip, _rank(some)))
        else:
            cautions.append(f"{some[0].label}: no other device was read on {clip}")
    kinds = sorted({entry.reading.kind for entry in entries})
    if len(kinds) > 1:
        cautions.append(
            f"Readings of different kinds ({', '.join(kinds)}) are beside each other: a file shows "
            "what was delivered, a recording what was shown."
        )
    ranked = [standing.entry for _, standings in rankings for standing in standings]
    others = (entry for entry in entries if all(entry is not r for r in ranked))
    return Comparison((*ranked, *others), tuple(rankings), tuple(cautions), _verdict(rankings))


def _milliseconds(value: float | None, spread: float | None = None) -> str:
    if value is None:
        return "-"
    shown = f" ± {spread:.1f}" if spread is not None and spread >= LEAST_SPREAD_MS else ""
    return f"{value:.1f}{shown} ms"


def table_rows(entries: Sequence[Entry]) -> list[tuple[str, ...]]:
    """Head and one row an entry: device, clip, cadence, error, losses, longest hold."""
    rows = []
    for e in entries:
        error, worst = _milliseconds(e.error_ms, e.spread_ms), _milliseconds(e.worst_ms)
        rows.append((e.label, e.clip or "unknown", e.pattern, error, e.lost_words, worst))
    return [HEAD, *rows]


def comparison_text(found: Comparison) -> str:
    """Verdict, table, ranking with reasons, and what cannot be compared."""
    lines = [*wrapped(found.verdict), ""]
    rows = table_rows(found.entries)
    widths = [max(len(row[i]) for row in rows) for i in range(len(HEAD))]
    for row in rows:
        cells = (
            f"{cell:<{width}}" if i < 3 else f"{cell:>{width}}"
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        lines.append("  ".join(cells).rstrip())
    for clip, standings in found.rankings:
        lines += ["", clip]
        for standing in standings:
            place = f"{standing.place}{'=' if standing.tied else '.'}"
            text = f"{standing.entry.label}: {standing.reason}"
            lines += wrapped(text, f"  {place:<3}", "     ")
    if found.cautions:
        lines.append("")
    for caution in found.cautions:
        lines += wrapped(caution, "! ")
    return "\n".join(lines)


def comparison_json(found: Comparison) -> dict[str, Any]:
    """The comparison as a JSON object."""
    return {
        "schema": SCHEMA,
        "verdict": found.verdict,
        "devices": [
            {
                "label": e.label,
                "file": e.reading.file,
                "kind": e.reading.kind,
                "clip": e.clip,
                "pattern": None if e.reading.pattern is None else list(e.reading.pattern),
                "timing_error_rms_ms": e.error_ms,
                "spread_ms": e.spread_ms,
                "lost": e.lost,
                "seconds": e.reading.seconds,
                "drops_per_minute": e.lost_per_minute,
                "worst_hold_ms": e.worst_ms,
                "frames": len(e.reading.holds),
                "verdict": e.reading.verdict,
            }
            for e in found.entries
        ],
        "rankings": [
            {
                "clip": clip,
                "standings": [
                    {"place": s.place, "label": s.entry.label, "tied": s.tied, "reason": s.reason}
                    for s in standings
                ],
            }
            for clip, standings in found.rankings
        ],
        "cautions": list(found.cautions),
    }
