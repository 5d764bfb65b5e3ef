"""A reading as text for a terminal of 80 columns, and as CSV."""

from __future__ import annotations

import io
import textwrap
from collections import Counter
from collections.abc import Iterator

from patterns.reading.reading import Reading, inter_arrival
from patterns.timing.notation import number_list, pattern_text
from patterns.timing.rates import format_decimal, format_rate

WIDTH = 79
LABEL = 17
KINDS = {
    "clip": "a clip or its transcode",
    "recording": "a recording of a screen",
    "photo": "a long-exposure photo",
    "footage": "footage without a strip",
    "browser": "measured in a browser",
}
BAR = 30  # characters of the longest bar
MOST_BARS = 20


def wrapped(text: str, first: str = "", rest: str = "  ") -> list[str]:
    """Lines of a paragraph that begin so."""
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def reading_text(reading: Reading) -> str:
    """Whole reading, lines of at most 79 characters, without a final newline."""
    lines = [*wrapped(f"{reading.file}: {reading.verdict}."), ""]
    for label, text in _rows(reading):
        lines += wrapped(text, f"{label:<{LABEL}}", " " * LABEL)
    if reading.holds and (reading.kind != "footage" or reading.repeated):
        lines += ["", *_histogram(reading)]
    for text in reading.explanation:
        lines += ["", *wrapped(text, rest="")]
    if reading.warnings:
        lines.append("")
    for text in reading.warnings:
        lines += wrapped(text, "! ")
    return "\n".join(lines)


def _rows(r: Reading) -> Iterator[tuple[str, str]]:
    yield "read as", f"{KINDS[r.kind]}{_why(r)}"
    reasons = "; ".join(f"{count} {reason}" for reason, count in r.unread)
    yield "pictures", f"{r.read} of {r.pictures} read{f' ({reasons})' if reasons else ''}"
    if r.rate is not None:
        claim = "it seems to be shot at" if r.kind == "footage" else "the strip says"
        yield "rate", f"{claim} {format_rate(r.rate)} frames a second"
    if r.footage is not None:
        # here, because other readings need not wait for what speaks of footage
        from patterns.footage.seen import rows as footage_rows

        yield from footage_rows(r.footage)
    else:
        yield from _refresh_row(r)
    if r.capture_hz is not None:
        yield "camera", f"{r.capture_hz:.5g} pictures a second"
    if r.holds and r.kind != "footage":
        yield from _against(r)
    if (arrival := None if r.footage and not r.repeated else inter_arrival(r.holds)) is not None:
        spread = f"{arrival['sd']:.2f} sd, {arrival['min']:.2f} to {arrival['max']:.2f}"
        named = "frame inter-arrival time, ITU-T P.931"
        yield "inter-arrival", f"{arrival['mean']:.2f} ms mean, {spread} ({named})"
    for label, numbers in (
        ("dropped", r.dropped),
        ("repeated" if r.kind in ("clip", "footage") else "held too long", r.repeated),
        ("out of order", r.out_of_order),
        ("not known", r.unseen),
    ):
        # what shows no hold shows no lack of drops either
        if numbers or (label == "dropped" and r.holds and r.kind != "footage"):
            yield label, f"{len(numbers)}{f': {number_list(numbers)}' if numbers else ''}"
    if r.blended:
        yield "mixed", f"{len(r.blended)}, first at {r.blended[0].start_s:.3f} s"


def _why(r: Reading) -> str:
    """By what the kind of a video is known, and how to override it where that is not sure."""
    why, sure = r.details.get("kind_from"), r.details.get("kind_sure")
    if not why or (sure and r.kind == "clip"):
        return ""
    return f" ({why})" if sure else f" (not sure: {why}; --as overrides)"


def _refresh_row(r: Reading) -> Iterator[tuple[str, str]]:
    if r.kind in ("clip", "footage"):
        if r.refresh_hz is not None:
            yield "file", f"{format_rate(r.refresh_hz)} pictures a second"
    elif r.refresh_hz is not None:
        how = "as given" if r.refresh_from == "given" else "found from the holds"
        yield "refresh", f"{format_rate(r.refresh_hz)} Hz, {how}"
    elif r.refresh_candidates:
        listed = ", ".join(format_decimal(hz, 2) for hz in r.refresh_candidates)
        yield "refresh", f"not decided by the holds: {listed} Hz would look the same"
    else:
        yield "refresh", "not known"


def _against(r: Reading) -> Iterator[tuple[str, str]]:
    """Measured beside expected."""
    expected = r.expected
    unknown = "not known" if r.even is None else "even" if r.even else "none that repeats"
    measured = pattern_text(r.pattern) if r.pattern else unknown
    must = ""
    if expected is not None:
        wanted = pattern_text(expected.pattern) if expected.pattern else "longer than 30 frames"
        on = format_decimal(expected.cadence.refresh_hz, 2)
        must = f"   expected {wanted} on {on} {'Hz' if r.kind != 'clip' else 'a second'}"
    yield "pattern", f"{measured}{must}"
    if r.error is not None:
        text = f"{r.error.rms_ms:.2f} ms RMS, {r.error.span_ms:.2f} ms span"
        if expected is not None and expected.error is not None:
            text += f"   expected {expected.error.rms_ms:.2f} and {expected.error.span_ms:.2f}"
        yield "timing error", text


def _histogram(r: Reading) -> Iterator[str]:
    """How many frames were held how long."""
    unit = "pictures" if r.kind in ("clip", "footage") else "refreshes"
    if any(h.refreshes is not None for h in r.holds):
        counts = Counter(h.refreshes for h in r.holds)
        rows = sorted(counts.items(), key=lambda item: (item[0] is None, item[0] or 0))
        yield f"held for ({unit})   frames"
        names = [("?" if value is None else str(value), count) for value, count in rows]
    else:
        binned = Counter(round(1000 * h.hold_s) for h in r.holds)
        names = [(f"{value} ms", count) for value, count in sorted(binned.items())]
        yield "held for        frames"
    most = max(count for _, count in names)
    for name, count in names[:MOST_BARS]:
        bar = "#" * max(1, round(BAR * count / most))
        yield f"{name:>10}   {count:>8}  {bar}"
    if len(names) > MOST_BARS:
        yield f"{'...':>10}   {sum(count for _, count in names[MOST_BARS:]):>8}"


def reading_csv(reading: Reading) -> str:
    """Holds as comma-separated values, one frame a line, with a head line."""
    import csv  # here, because most readings are not written as a table

    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["number", "start_s", "start_exact", "hold_s", "refreshes"])
    for f in reading.holds:  # what is None is left empty
        start = None if f.start_s is None else f"{f.start_s:.6f}"
        writer.writerow([f.number, start, f.start_exact, f"{f.hold_s:.6f}", f.refreshes])
    return text.getvalue()
