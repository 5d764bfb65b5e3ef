"""A long-exposure photo of the hold row: from shares of light to a reading."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from math import gcd, sqrt

from patterns.measure.expected import Expected, TimingError
from patterns.measure.explain import arithmetic_pattern
from patterns.measure.hold_pattern import hold_pattern, pattern_text
from patterns.measure.holds import HeldFrame
from patterns.measure.reading import Reading
from patterns.measure.refresh import USUAL_HZ
from patterns.measure.words import counted, number_list, plural
from patterns.strip.hold import hold_row
from patterns.strip.photo import PhotoReading, Unread
from patterns.timing.cadence import Display, cadence
from patterns.timing.rates import format_decimal

__all__ = ["judge_photo", "unread_photo"]

DARK = 0.3  # of the mean, below which a cell's frame was not shown
WHOLE = 0.03  # of a second, within which an exposure counts as whole
LIKELY = 3.0  # standard uncertainties, within which a hold is a whole number of refreshes
LEAST_UNCERTAINTY = 0.02  # of a hold
COARSEST = 0.16  # of a refresh: an uncertainty beyond that tells no whole number
CUT_CELLS = 2  # cells whose hold the exposure's start and end may cut


def unread_photo(file: str, found: Unread) -> Reading:
    """Reading of a photo whose strip was not read."""
    return Reading(
        kind="photo",
        file=file,
        verdict=f"nothing was read: {found.reason}",
        pictures=1,
        unread=((found.reason, 1),),
        warnings=(
            "Fill the picture with the strip (600 pixels along or more), hold the camera still, "
            "and expose so that the lit cells are bright but not white.",
        ),
    )


def _whole_refreshes(
    holds_s: Sequence[float], sigma_s: Sequence[float], refresh_hz: float
) -> list[int] | None:
    """Holds in refreshes, or None if more than the exposure's two ends are no whole number."""
    counts, broken = [], 0
    for hold, sigma in zip(holds_s, sigma_s, strict=True):
        exact = hold * refresh_hz
        if sigma * refresh_hz > COARSEST:
            return None
        broken += abs(exact - round(exact)) > LIKELY * sigma * refresh_hz
        counts.append(round(exact))
    return counts if broken <= CUT_CELLS else None


def _refresh(
    holds_s: Sequence[float], sigma_s: Sequence[float], rounds_s: int, display: Display | None
) -> tuple[Fraction | None, str, list[int] | None]:
    """Refresh and the holds in it, where the photo tells them or the display was given.

    The coarsest refresh is taken in which holds are whole numbers without a common factor;
    with one (2 and 4), several displays would give the same photo.
    """
    if display is not None and not display.is_variable:
        counts = _whole_refreshes(holds_s, sigma_s, float(display.highest_hz))
        return (display.highest_hz, "given", counts) if counts else (None, "", None)
    for hz in USUAL_HZ:
        if hz.denominator != 1:
            continue  # a second does not tell 59.94 from 60
        counts = _whole_refreshes(holds_s, sigma_s, float(hz))
        if counts and abs(sum(counts) - hz * rounds_s) <= CUT_CELLS:
            common = Counter(counts).most_common(2)
            return (hz, "holds", counts) if gcd(*(n for n, _ in common)) == 1 else (None, "", None)
    return None, "", None


def judge_photo(
    found: PhotoReading,
    *,
    file: str,
    exposure_s: Fraction | None,
    display: Display | None = None,
    warnings: Sequence[str] = (),
) -> Reading:
    """Reading of a photo.

    Parameters
    ----------
    found
        Shares of the exposure for which each cell was lit.
    file
        Name to show.
    exposure_s
        Exposure in seconds; None if neither the file nor the user says it.
    display
        The display, if it is known.
    warnings
        What the reader of the file has to say.
    """
    rate = found.identity.rate
    rule = hold_row(rate)
    # A cell's hold in a second of the clip: its share of the exposure, which is relative only
    # where the exposure is not known; the row is one second's round of frames.
    round_s = rule.even_over_s or 1
    mean = sum(found.cells) / len(found.cells) or 1.0
    holds_s = [max(0.0, share) / mean * round_s / len(found.cells) for share in found.cells]
    unit_s = round_s / len(found.cells)
    sigma_s = [
        sqrt((u / mean * unit_s) ** 2 + (0.015 * unit_s) ** 2 + (LEAST_UNCERTAINTY * hold) ** 2)
        for u, hold in zip(found.uncertainty, holds_s, strict=True)
    ]
    refresh, source, counts = _refresh(holds_s, sigma_s, round_s, display)
    holds = tuple(
        HeldFrame(cell, None, hold, None if counts is None else counts[cell], cell)
        for cell, hold in enumerate(holds_s)
    )
    dark = tuple(cell for cell, hold in enumerate(holds_s) if hold * len(holds_s) < DARK * round_s)
    pattern = hold_pattern(_undisturbed(counts, dark)) if counts else None
    thought = None
    if display is not None or refresh is not None:
        thought = cadence(rate, display or Display.fixed(refresh or Fraction(60)))
    reading = Reading(
        kind="photo",
        file=file,
        verdict="",
        rate=rate,
        clip=found.identity.clip,
        refresh_hz=refresh,
        refresh_from=source,
        pictures=1,
        read=1,
        seconds=float(exposure_s or 0),
        frames_seen=len(holds) - len(dark),
        holds=holds,
        dropped=dark,
        drops_beyond=len(dark) if thought is None or thought.ratio >= 1 else 0,
        pattern=pattern,
        even=_even(holds_s, sigma_s),
        error=_error(holds_s),
        expected=None if thought is None else _expected(thought.rate, thought.display),
        details={
            "exposure_s": None if exposure_s is None else float(exposure_s),
            "relative": [round(share / mean, 4) for share in found.cells],
            "uncertainty": [round(u / mean, 4) for u in found.uncertainty],
            "clipped": list(found.clipped),
        },
    )
    said = (*warnings, *found.warnings, *_warnings(reading, found, exposure_s))
    return replace(reading, verdict=_verdict(reading, found), warnings=said)


def _undisturbed(counts: Sequence[int], dark: Sequence[int]) -> list[int | None]:
    """Holds, but for dark cells and the cells before them, which stood in for them."""
    touched = {cell for place in dark for cell in (place - 1, place)}
    return [None if cell in touched else count for cell, count in enumerate(counts)]


def _even(holds_s: Sequence[float], sigma_s: Sequence[float]) -> bool:
    mean = sum(holds_s) / len(holds_s)
    return all(abs(h - mean) <= 3 * s for h, s in zip(holds_s, sigma_s, strict=True))


def _error(holds_s: Sequence[float]) -> TimingError | None:
    """Timing error of frames that come on one after the other for these times."""
    starts, now = [], 0.0
    for hold in holds_s:
        starts.append(now)
        now += hold
    late = [start - now * i / len(starts) for i, start in enumerate(starts)]
    mean = sum(late) / len(late)
    rms = sqrt(sum((x - mean) ** 2 for x in late) / len(late))
    return TimingError(1000 * rms, 1000 * (max(late) - min(late)), len(late))


def _expected(rate: Fraction, display: Display) -> Expected:
    thought = cadence(rate, display)
    error = TimingError(
        1000 * thought.timing_error_rms_s, float(1000 * thought.timing_error_span_s), 0
    )
    return Expected(thought, arithmetic_pattern(thought), error)


def _verdict(reading: Reading, found: PhotoReading) -> str:
    cells = len(found.cells)
    rate = format_decimal(found.identity.rate)
    dark = (
        f"{counted(len(reading.dropped), 'cell')} dark: frames {number_list(reading.dropped)} of "
        f"each {cells} were not shown"
        if reading.dropped
        else "no cell dark"
    )
    sure = max(reading.details["uncertainty"])
    sureness = f"holds right to {100 * max(sure, LEAST_UNCERTAINTY):.0f} %"
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
    if reading.refresh_hz is not None:
        counts = [h.refreshes for h in reading.holds if h.refreshes]
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


def _warnings(reading: Reading, found: PhotoReading, exposure_s: Fraction | None) -> Iterator[str]:
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
            "The exposure is neither in the file nor given: say --exposure-seconds. Holds are told "
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
    if reading.refresh_hz is None:
        yield "The refresh is not told by this photo: give --display to count refreshes."
