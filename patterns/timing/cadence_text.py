"""Cadences as text for a terminal of 80 columns: one in full, or many as a grid."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from fractions import Fraction
from itertools import islice

from patterns.timing.cadence import Cadence
from patterns.timing.rates import format_decimal, format_rate
from patterns.timing.verdict import interval_text, short_verdict, verdict

__all__ = ["cadence_grid", "cadence_text"]

COLUMNS = 80
LISTED_HOLDS = 24
LISTED_RUNS = 6
LABEL_COLUMNS = 16


def _sequence(cadence: Cadence) -> str:
    if cadence.period_frames <= LISTED_HOLDS:
        return ", ".join(str(hold) for hold in cadence.holds)
    runs = list(islice(cadence.runs(), LISTED_RUNS + 1))
    words = [f"{hold}" if count == 1 else f"{hold} x {count}" for hold, count in runs[:LISTED_RUNS]]
    return ", ".join(words) + (", ..." if len(runs) > LISTED_RUNS else "")


def _period(cadence: Cadence) -> str:
    seconds = cadence.period_s
    time = f"{format_decimal(1000 * seconds, 1)} ms" if seconds < 1 else interval_text(seconds)
    return f"{cadence.period_frames} frame{'s' if cadence.period_frames > 1 else ''}, {time}"


def _how_often(value: Fraction) -> str:
    if 0 < value < 1:
        return f"once in {interval_text(1 / value)}"
    return f"{format_decimal(value, 2)} a second"


def _display(cadence: Cadence) -> str:
    if not cadence.display.is_variable:
        return f"{format_rate(cadence.refresh_hz)} Hz"
    return f"{cadence.display.name} Hz, running at {format_rate(cadence.refresh_hz)} Hz"


def _labelled(label: str, text: str) -> str:
    indent = " " * LABEL_COLUMNS
    return textwrap.fill(
        text, COLUMNS - 1, initial_indent=f"{label:<{LABEL_COLUMNS}}", subsequent_indent=indent
    )


def cadence_text(cadence: Cadence) -> str:
    """Write one cadence in full: a labelled line for each figure, the verdict first."""
    span_ms, rms_ms = 1000 * cadence.timing_error_span_s, 1000 * cadence.timing_error_rms_s
    lines = [
        ("rate", f"{format_rate(cadence.rate)} frames a second"),
        ("display", _display(cadence)),
        ("verdict", verdict(cadence)),
        ("holds", f"{_sequence(cadence)} refreshes"),
        ("period", _period(cadence)),
        ("beat", _how_often(cadence.beat_hz) if cadence.beat_hz else "none"),
        ("odd holds", _how_often(cadence.odd_holds_per_second)),
        ("timing error", f"{rms_ms:.2f} ms RMS, {float(span_ms):.2f} ms span"),
        ("dropped", f"{_how_often(cadence.dropped_per_second)}"),
    ]
    return "\n".join(_labelled(label, text) for label, text in lines)


def _table(rows: Sequence[Sequence[str]]) -> list[str]:
    """Set cells in columns as wide as their widest."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return [
        "   ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]


def _columns_that_fit(rows: Sequence[Sequence[str]], start: int) -> int:
    """Return how many columns from `start` on, at least one, fit beside the first column."""
    count = 1
    while start + count < len(rows[0]):
        part = [[row[0], *row[start : start + count + 1]] for row in rows]
        if max(map(len, _table(part))) >= COLUMNS:
            break
        count += 1
    return count


def _key(cells: Sequence[str]) -> list[str]:
    """Explain the kinds of cell that occur."""
    kinds = (
        (any(c.startswith("even") for c in cells), "even 2", "every frame held 2 refreshes"),
        (any(c[0].isdigit() and " " not in c for c in cells), "3,2", "held 3 and 2, in turn"),
        (any("slip" in c for c in cells), "slip 8.3s", "the pattern breaks step every 8.3 s"),
        (any("(" in c for c in cells), "2 (3) 2/s", "held 2, but 3 twice a second"),
        (any("drops" in c for c in cells), "drops 10/s", "10 frames a second never show"),
    )
    return [f"{sample:<11} {words}" for used, sample, words in kinds if used]


def cadence_grid(cadences: Sequence[Sequence[Cadence]]) -> str:
    """Write rows of cadences, one row a rate and one column a display, within 80 columns.

    Displays that do not fit side by side follow in further blocks.
    """
    head = ["fps"] + [f"{c.display.name} Hz" for c in cadences[0]]
    body = [[format_decimal(row[0].rate), *map(short_verdict, row)] for row in cadences]
    rows, blocks, start = [head, *body], [], 1
    while start < len(head):
        count = _columns_that_fit(rows, start)
        blocks.append("\n".join(_table([[row[0], *row[start : start + count]] for row in rows])))
        start += count
    key = _key([cell for row in body for cell in row[1:]])
    return "\n\n".join([*blocks, "\n".join(key)])
