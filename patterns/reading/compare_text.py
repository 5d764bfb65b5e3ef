"""A comparison as text for a terminal, and as JSON, schema 'evenhold/comparison 1'."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

from patterns.reading.compare import Comparison, Entry

__all__ = ["SCHEMA", "comparison_json", "comparison_text", "table_rows"]

SCHEMA = "evenhold/comparison 1"
WIDTH = 79
HEAD = ("device", "clip", "cadence", "timing error", "frames lost", "longest hold")


LEAST_SPREAD_MS = 0.05  # a smaller one would be written as nothing


def _milliseconds(value: float | None, spread: float | None = None) -> str:
    if value is None:
        return "-"
    shown = f" ± {spread:.1f}" if spread is not None and spread >= LEAST_SPREAD_MS else ""
    return f"{value:.1f}{shown} ms"


def table_rows(entries: Sequence[Entry]) -> list[tuple[str, ...]]:
    """Head and one row an entry: device, clip, cadence, error, losses, longest hold."""
    rows: list[tuple[str, ...]] = [HEAD]
    for e in entries:
        rows.append(
            (
                e.label,
                e.clip or "unknown",
                e.pattern,
                _milliseconds(e.error_ms, e.spread_ms),
                e.lost_words,
                _milliseconds(e.worst_ms),
            )
        )
    return rows


def _wrap(text: str, first: str = "", rest: str = "  ") -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def comparison_text(found: Comparison) -> str:
    """Verdict, table, ranking with reasons, and what cannot be compared."""
    lines = [*_wrap(found.verdict), ""]
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
            lines += _wrap(text, f"  {place:<3}", "     ")
    if found.cautions:
        lines.append("")
    for caution in found.cautions:
        lines += _wrap(caution, "! ")
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
                    {
                        "place": s.place,
                        "label": s.entry.label,
                        "tied": s.tied,
                        "reason": s.reason,
                    }
                    for s in standings
                ],
            }
            for clip, standings in found.rankings
        ],
        "cautions": list(found.cautions),
    }
