"""Cadences in plain words, as text for 80 columns, and as JSON, schema 'evenhold/cadence 1'.

How much is seen is judged by how often the holds change. "Susceptibility ... to motion artifacts
peaks between 4 and 6 beats per second": Poynton, *Digital Video and HDTV* (2003), "2-3 pulldown".
Our convention: below two a second hitches are seen one by one, above 20 they are a doubled edge.
"""

from __future__ import annotations

import json
import textwrap
from collections.abc import Sequence
from fractions import Fraction
from itertools import islice

from patterns.timing.audience import Showing
from patterns.timing.cadence import LONGEST_LISTED, LONGEST_PATTERN, Cadence, SlowSlip, slow_slip
from patterns.timing.notation import interval_text, pattern_text, per_second, plural
from patterns.timing.rates import format_decimal, format_rate

SINGLE_HITCHES_HZ = 2
POYNTON_PEAK_HZ = (4, 6)
FUSED_HZ = 20


def _refreshes(count: int) -> str:
    return plural(count, "refresh", "refreshes")


def _effect(odd_hz: Fraction) -> str:
    """Say what odd holds that come `odd_hz` times a second do to a steady move."""
    if odd_hz < SINGLE_HITCHES_HZ:
        return "a steady move hitches each time"
    if odd_hz > FUSED_HZ:
        return "too fast to see as shaking, but moving edges look doubled"
    if POYNTON_PEAK_HZ[0] <= odd_hz <= POYNTON_PEAK_HZ[1]:
        return "steady moves judder at the most visible pace"
    return "steady moves judder"


def _pattern(holds: tuple[int, ...], beat_hz: Fraction) -> str:
    """Describe a short sequence of unequal holds."""
    if len(holds) == 2:
        return f"holds alternate {holds[0]} and {holds[1]} refreshes, {per_second(beat_hz)}"
    usual = max(set(holds), key=holds.count)
    odd = next(hold for hold in holds if hold != usual)
    if holds.count(odd) == 1:
        return (
            f"most frames last {_refreshes(usual)}, one in {len(holds)} lasts "
            f"{odd}, {per_second(beat_hz)}"
        )
    return f"holds run {pattern_text(holds)} refreshes, and repeat {per_second(beat_hz)}"


def _even(cadence: Cadence) -> str:
    hold_ms = format_decimal(1000 / cadence.rate, 1)
    held = f"every frame is held {_refreshes(cadence.usual_hold)} ({hold_ms} ms)"
    if cadence.display.is_variable:
        return f"Even: the display follows at {format_decimal(cadence.refresh_hz)} Hz and {held}."
    return f"Even: {held}."


def _slipping(slip: SlowSlip, rate: Fraction) -> str:
    """Describe a fast pattern that breaks step now and then."""
    pattern, every = slip.pattern, f"every {interval_text(slip.interval_s)}"
    if len(pattern) == 1:
        if pattern[0] == 1 and not slip.longer:
            return f"Even, but one frame is dropped {every}: a small hitch."
        odd = _refreshes(pattern[0] + (1 if slip.longer else -1))
        return f"Even, but {every} one frame is held {odd} instead of {pattern[0]}: a small hitch."
    beat_hz = rate / len(pattern)
    twice = max(pattern) if slip.longer else min(pattern)
    step = f" (two {twice}s in a row)" if len(pattern) == 2 else ""
    minority = min(pattern.count(hold) for hold in set(pattern)) * beat_hz
    return f"Uneven: {_pattern(pattern, beat_hz)}, with a slip {every}{step}: {_effect(minority)}."


def _dropping(cadence: Cadence) -> str:
    """Fewer refreshes than frames."""
    lost, rate = format_decimal(cadence.dropped_per_second, 1), format_decimal(cadence.rate)
    each = 1 / cadence.ratio
    if each.denominator == 1:
        return (
            f"Loses {lost} of {rate} frames a second: only one frame in {each} shows, evenly, "
            f"so it looks like {format_decimal(cadence.refresh_hz)}."
        )
    return (
        f"Loses {lost} of {rate} frames a second: moves jump ahead "
        f"{per_second(min(cadence.dropped_per_second, cadence.refresh_hz))}."
    )


def verdict(cadence: Cadence) -> str:
    """One sentence that says how the clip is held and what is seen of it."""
    if cadence.even:
        return _even(cadence)
    slip = slow_slip(cadence)
    if slip and 0 not in slip.pattern:
        return _slipping(slip, cadence.rate)
    if cadence.ratio < 1:
        return _dropping(cadence)
    odd_hz = cadence.odd_holds_per_second
    if cadence.period_frames <= LONGEST_PATTERN:
        return f"Uneven: {_pattern(cadence.holds, cadence.beat_hz)}: {_effect(odd_hz)}."
    return (
        f"Uneven: most frames last {_refreshes(cadence.usual_hold)}, others "
        f"{cadence.odd_hold}, {per_second(odd_hz)}: {_effect(odd_hz)}."
    )


def short_verdict(cadence: Cadence) -> str:
    """Word it for a table, in about 16 characters.

    'even 2'; '3:2' (holds in turn); '3:2, slip 8.3 s' (the same, breaking step every 8.3 s);
    '2 (3 in 1 of 12)' (held 2 refreshes, but one of 12 frames 3); 'drops 10/s' (frames lost).
    """
    if cadence.even:
        return pattern_text((cadence.usual_hold,))
    slip = slow_slip(cadence)
    if slip and 0 not in slip.pattern and len(slip.pattern) <= 2:
        return f"{pattern_text(slip.pattern)}, slip {interval_text(slip.interval_s)}"
    if cadence.ratio < 1:
        return f"drops {format_decimal(cadence.dropped_per_second, 1)}/s"
    if cadence.period_frames <= LONGEST_PATTERN:
        return pattern_text(cadence.holds)
    odd = format_decimal(cadence.odd_holds_per_second, 1)
    return f"{cadence.usual_hold} ({cadence.odd_hold} {odd}/s)"


COLUMNS = 80
LONGEST_NAMED = 30  # frames
LABEL_COLUMNS = 16


def _cadence(showing: Showing) -> str:
    held = showing.cadence
    if showing.slip:
        every = interval_text(showing.slip.interval_s)
        return f"{pattern_text(showing.slip.pattern)}, with a slip every {every}"
    if held.period_frames <= LONGEST_NAMED:
        return pattern_text(held.holds)
    return f"{held.usual_hold} and {held.odd_hold}, without a short pattern"


def _period(showing: Showing) -> str:
    frames = showing.seen_frames
    seconds = frames / showing.cadence.rate
    time = f"{format_decimal(1000 * seconds, 1)} ms" if seconds < 1 else interval_text(seconds)
    return f"{plural(frames, 'frame')}, {time}"


def _timing_error(showing: Showing) -> str:
    held = showing.cadence
    whole = f"{1000 * held.timing_error_rms_s:.2f} ms RMS"
    if showing.slip:
        return f"{1000 * showing.seen_rms_s:.2f} ms RMS between slips ({whole} with them)"
    return f"{whole} ({float(1000 * held.timing_error_span_s):.2f} ms from first to last)"


def _how_often(value: Fraction) -> str:
    if 0 < value < 1:
        return f"once in {interval_text(1 / value)}"
    return f"{format_decimal(value, 2)} a second"


def cadence_text(cadence: Cadence) -> str:
    """Write one cadence in full: a labelled line for each figure, the verdict first."""
    showing = Showing(cadence, share=Fraction(1))
    odd = "short holds" if cadence.odd_hold < cadence.usual_hold else "long holds"
    beat_hz = cadence.rate / showing.seen_frames if showing.seen_frames > 1 else Fraction(0)
    running = f"{format_rate(cadence.refresh_hz)} Hz"
    variable = f"{cadence.display.name} Hz, running at " if cadence.display.is_variable else ""
    lines = [
        ("rate", f"{format_rate(cadence.rate)} frames a second"),
        ("display", f"{variable}{running}"),
        ("verdict", verdict(cadence)),
        ("cadence", _cadence(showing)),
        ("period", _period(showing)),
        ("beat", _how_often(beat_hz) if beat_hz else "none"),
        (odd, _how_often(cadence.odd_holds_per_second)),
        ("timing error", _timing_error(showing)),
        ("dropped", _how_often(cadence.dropped_per_second)),
    ]
    rest = " " * LABEL_COLUMNS
    return "\n".join(
        textwrap.fill(f"{label:<{LABEL_COLUMNS}}{text}", COLUMNS - 1, subsequent_indent=rest)
        for label, text in lines
    )


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
        (any(":" in c for c in cells), "3:2", "held 3 and 2 refreshes, in turn"),
        (any("slip" in c for c in cells), "slip 8.3 s", "breaks step every 8.3 s"),
        (any(" of " in c for c in cells), "2 (3 in 1 of 12)", "held 2, but one of 12 frames 3"),
        (any("/s)" in c for c in cells), "2 (3 9.9/s)", "held 2, but 9.9 times a second 3"),
        (any("drops" in c for c in cells), "drops 10/s", "10 frames a second never show"),
    )
    return [f"{sample:<17} {words}" for used, sample, words in kinds if used]


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


SCHEMA = "evenhold/cadence 1"
LISTED_HOLDS = 64
RUNS_OF_A_LONG_PERIOD = 1000


def _holds(cadence: Cadence) -> list[int] | dict[str, object]:
    """List the holds, or their run-length form where the period is over 64 frames."""
    if cadence.period_frames <= LISTED_HOLDS:
        return list(cadence.holds)
    whole = cadence.period_frames <= LONGEST_LISTED
    runs = [list(run) for run in islice(cadence.runs(), None if whole else RUNS_OF_A_LONG_PERIOD)]
    complete = sum(frames for _, frames in runs) == cadence.period_frames
    return {"period_frames": cadence.period_frames, "runs": runs, "complete": complete}


def cadence_record(cadence: Cadence) -> dict[str, object]:
    """Plain values of a cadence (CADENCE.md has the keys): hertz, milliseconds."""
    return {
        "schema": SCHEMA,
        "rate": float(cadence.rate),
        "rate_exact": str(cadence.rate),
        "display": cadence.display.name,
        "refresh": float(cadence.refresh_hz),
        "refresh_exact": str(cadence.refresh_hz),
        "holds": _holds(cadence),
        "period_frames": cadence.period_frames,
        "period_s": float(cadence.period_s),
        "beat_hz": float(cadence.beat_hz),
        "odd_holds_per_second": float(cadence.odd_holds_per_second),
        "timing_error_rms_ms": 1000 * cadence.timing_error_rms_s,
        "timing_error_span_ms": float(1000 * cadence.timing_error_span_s),
        "dropped_per_second": float(cadence.dropped_per_second),
        "even": cadence.even,
        "verdict": verdict(cadence),
    }


def cadence_json(cadences: Sequence[Cadence]) -> str:
    """JSON list of the cadences' records, one key a line."""
    objects = (
        ",\n".join(f"    {json.dumps(key)}: {json.dumps(value)}" for key, value in record.items())
        for record in map(cadence_record, cadences)
    )
    return "[\n" + ",\n".join(f"  {{\n{lines}\n  }}" for lines in objects) + "\n]"
