"""A photo's reading in words: the verdict, and what to do about doubts."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from math import ceil

from patterns.measure.hold_pattern import pattern_text
from patterns.measure.reading import Reading
from patterns.measure.words import counted, number_list, plural
from patterns.strip.hold import hold_row
from patterns.strip.photo import PhotoReading
from patterns.strip.photo_told import RIGHT_TO
from patterns.timing.rates import format_decimal

__all__ = ["PERCENT", "photo_verdict", "photo_warnings"]

WHOLE = 0.03  # of a second, within which an exposure counts as whole
PERCENT, AT_BEST = round(100 * RIGHT_TO), 2  # right to, per cent


def _sureness(found: PhotoReading) -> str:
    """How many holds are told, and how right they are (two standard uncertainties)."""
    cells, told = len(found.cells), found.told.count(True)
    if not told:
        return f"no hold of the {cells} cells could be told to {PERCENT} %"
    mean = sum(found.cells) / cells
    doubt = max(u for u, t in zip(found.uncertainty, found.told, strict=True) if t) / mean
    right = min(PERCENT, max(AT_BEST, ceil(200 * doubt)))
    holds = f"all {cells} holds" if told == cells else f"{told} of {cells} holds"
    return f"{holds} told, right to {right} %"


def photo_verdict(reading: Reading, found: PhotoReading) -> str:
    """Say in one sentence how frames were held, which were not shown, and how sure that is."""
    cells = len(found.cells)
    rate = format_decimal(found.identity.rate)
    dark = (
        f"{counted(len(reading.dropped), 'cell')} dark: frames {number_list(reading.dropped)} of "
        f"each {cells} were not shown"
        if reading.dropped
        else "no cell dark"
    )
    sureness = _sureness(found)
    if not reading.holds:
        return f"{sureness}; {dark}"
    if reading.refresh_hz is not None and reading.pattern is not None:
        at = f"{format_decimal(reading.refresh_hz)} Hz"
        held = (
            plural(reading.pattern[0], "refresh", "refreshes")
            if len(reading.pattern) == 1
            else pattern_text(reading.pattern)
        )
        must = reading.expected
        same = must is not None and must.cadence.refresh_hz == reading.refresh_hz
        fits = same and must is not None and must.pattern == reading.pattern
        expected = "" if must is None or must.pattern is None else pattern_text(must.pattern)
        tail = f", as {rate} on {at[:-3]} must be" if fits else f", where {expected} was expected"
        return f"held {held} at {at}{tail}; {dark}; {sureness}"
    counts = [h.refreshes for h in reading.holds if h.refreshes]
    if reading.refresh_hz is not None and counts:
        must = reading.expected
        wanted = "" if must is None or must.pattern is None else pattern_text(must.pattern)
        on = f"{rate} on {format_decimal(must.cadence.refresh_hz)}" if must else rate
        return (
            f"held {min(counts)} to {max(counts)} refreshes at "
            f"{format_decimal(reading.refresh_hz)} Hz, in no repeating pattern"
            f"{f', where {on} must be held {wanted}' if wanted else ''}; {dark}; {sureness}"
        )
    if reading.even:
        return f"held evenly, {1000 * reading.holds[0].hold_s:.1f} ms each; {dark}; {sureness}"
    low, high = (f(h.hold_s for h in reading.holds) for f in (min, max))
    return (
        f"held unevenly, {1000 * low:.1f} to {1000 * high:.1f} ms, in no pattern that a known "
        f"refresh gives; {dark}; {sureness}"
    )


def photo_warnings(
    reading: Reading, found: PhotoReading, exposure_s: Fraction | None
) -> Iterator[str]:
    """Doubts about a reading, each with what to do about it."""
    rule = hold_row(found.identity.rate)
    if found.clipped:
        yield (
            f"Cells {number_list(found.clipped)} are too bright for the camera: their holds are at "
            "least this long. Expose a stop less."
        )
    if rule.even_over_s is None:
        yield "At this rate the cells are lit unequally in any exposure: holds are relative only."
    elif exposure_s is None:
        yield (
            "The exposure is neither in the file nor given: say --exposure. Holds are told "
            f"as if it were a multiple of {rule.even_over_s} s."
        )
    else:
        rounds = float(exposure_s) / rule.even_over_s
        if abs(rounds - round(rounds)) * rule.even_over_s > WHOLE or round(rounds) == 0:
            yield (
                f"Exposed for {float(exposure_s):g} s: cells are lit equally often only in a "
                f"multiple of {rule.even_over_s} s, so some look longer than they are. Expose for "
                f"just {rule.even_over_s} s."
            )
        elif round(rounds) > 1:
            yield "Several rounds lie over each other: a single dropped frame shows as a dim cell."
    noisy = tuple(i for i, t in enumerate(found.told) if not t and i not in found.clipped)
    if noisy:
        yield (
            f"Cells {number_list(noisy)} are too noisy to be told to {PERCENT} %: their holds are "
            "left out. Fill the picture with the strip, go straight before the screen, darken "
            "the room, and expose so that the lit cells are bright, at a low ISO."
        )
    if reading.refresh_hz is None:
        yield "The refresh is not told by this photo: give --display to count refreshes."
