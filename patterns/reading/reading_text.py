"""A reading as text for a terminal of 80 columns, the verdict first; and as CSV."""

from __future__ import annotations

import csv
import io
import textwrap
from collections import Counter
from collections.abc import Iterator

from patterns.reading.reading import Reading, inter_arrival
from patterns.timing.notation import number_list, pattern_text
from patterns.timing.rates import format_decimal, format_rate

__all__ = ["reading_csv", "reading_text"]

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


def reading_text(reading: Reading) -> str:
    """Whole reading, lines of at most 79 characters, without a final newline."""
    head = textwrap.wrap(
        f"{reading.file}: {reading.verdict}.", WIDTH, subsequent_indent="  ", break_on_hyphens=False
    )
    lines = [*head, "", *_table(reading)]
    if reading.holds:
        lines += ["", *_histogram(reading)]
    for text in reading.explanation:
        lines += ["", *textwrap.wrap(text, WIDTH, break_on_hyphens=False)]
    if reading.warnings:
        lines.append("")
    for text in reading.warnings:
        lines += textwrap.wrap(
            text, WIDTH, initial_indent="! ", subsequent_indent="  ", break_on_hyphens=False
        )
    return "\n".join(lines)


def _row(label: str, text: str) -> list[str]:
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=f"{label:<{LABEL}}",
        subsequent_indent=" " * LABEL,
        break_on_hyphens=False,
    )


def _table(reading: Reading) -> Iterator[str]:
    for label, text in _rows(reading):
        yield from _row(label, text)


def _rows(r: Reading) -> Iterator[tuple[str, str]]:
    yield "read as", f"{KINDS[r.kind]}{_why(r)}"
    reasons = "; ".join(f"{count} {reason}" for reason, count in r.unread)
    yield "pictures", f"{r.read} of {r.pictures} read{f' ({reasons})' if reasons else ''}"
    if r.rate is not None:
        claim = "it seems to be shot at" if r.kind == "footage" else "the strip says"
        yield "rate", f"{claim} {format_rate(r.rate)} frames a second"
    yield from _refresh_row(r)
    if r.capture_hz is not None:
        yield "camera", f"{r.capture_hz:.5g} pictures a second"
    if r.holds and r.kind != "footage":
        yield from _against(r)
    arrival = inter_arrival(r.holds)
    if arrival is not None:
        yield (
            "inter-arrival",
            f"{arrival['mean']:.2f} ms mean, {arrival['sd']:.2f} sd, {arrival['min']:.2f} to "
            f"{arrival['max']:.2f} (frame inter-arrival time, ITU-T P.931)",
        )
    for label, numbers in (
        ("dropped", r.dropped),
        ("repeated" if r.kind in ("clip", "footage") else "held too long", r.repeated),
        ("out of order", r.out_of_order),
        ("not known", r.unseen),
    ):
        # a photo that tells no hold tells no lack of drops either
        if numbers or (label == "dropped" and (r.holds or r.kind != "photo")):
            yield label, f"{len(numbers)}{f': {number_list(numbers)}' if numbers else ''}"
    if r.blended:
        yield "mixed", f"{len(r.blended)}, first at {r.blended[0].start_s:.3f} s"


def _why(r: Reading) -> str:
    """By what the kind of a video was told, and how to override it where that is not sure."""
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
    for name, count in names[:20]:
        bar = "#" * max(1, round(BAR * count / most))
        yield f"{name:>10}   {count:>8}  {bar}"
    if len(names) > 20:
        yield f"{'...':>10}   {sum(count for _, count in names[20:]):>8}"


def reading_csv(reading: Reading) -> str:
    """Holds as comma-separated values, one frame a line, with a head line."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["number", "start_s", "start_exact", "hold_s", "refreshes"])
    for frame in reading.holds:
        writer.writerow(
            [
                frame.number,
                "" if frame.start_s is None else f"{frame.start_s:.6f}",
                "" if frame.start_exact is None else str(frame.start_exact),
                f"{frame.hold_s:.6f}",
                "" if frame.refreshes is None else frame.refreshes,
            ]
        )
    return text.getvalue()
