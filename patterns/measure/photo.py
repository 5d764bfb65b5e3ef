"""A long-exposure photo of the hold row: from shares of light to a reading."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from math import gcd, sqrt

from patterns.measure.expected import Expected, TimingError
from patterns.measure.explain import arithmetic_pattern
from patterns.measure.hold_pattern import hold_pattern
from patterns.measure.holds import HeldFrame
from patterns.measure.photo_words import PERCENT, photo_verdict, photo_warnings
from patterns.measure.reading import Reading
from patterns.measure.refresh import USUAL_HZ
from patterns.strip.hold import hold_row
from patterns.strip.photo import PhotoReading, Unread
from patterns.timing.cadence import Display, cadence

__all__ = ["judge_photo", "unread_photo"]

DARK = 0.3  # of the mean, below which a cell's frame was not shown
SURELY_DARK = 0.5  # of the mean, below which it then is by three standard uncertainties
NOISY = f"hold cells too noisy to be told to {PERCENT} %"
CLIPPED = "hold cells over-exposed"
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
        if found.told[cell]
    )
    dark = _dark(found, mean)
    thought = None
    if display is not None or refresh is not None:
        thought = cadence(rate, display or Display.fixed(refresh or Fraction(60)))
    pattern = None
    if counts:
        steady = None if refresh is None else refresh / rate
        pattern = hold_pattern(_undisturbed(counts, dark, found.told), steady)
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
        unread=_not_told(found),
        seconds=float(exposure_s or 0),
        frames_seen=len(found.cells) - len(dark),
        holds=holds,
        dropped=dark,
        drops_beyond=len(dark) if thought is None or thought.ratio >= 1 else 0,
        pattern=pattern,
        even=_even(holds_s, sigma_s),
        error=_error(holds_s) if all(found.told) else None,
        expected=None if thought is None else _expected(thought.rate, thought.display),
        details={
            "exposure_s": None if exposure_s is None else float(exposure_s),
            "relative": [
                round(share / mean, 4) if told else None
                for share, told in zip(found.cells, found.told, strict=True)
            ],
            "uncertainty": [round(u / mean, 4) for u in found.uncertainty],
            "clipped": list(found.clipped),
            "not_told": [cell for cell, told in enumerate(found.told) if not told],
        },
    )
    said = (*warnings, *found.warnings, *photo_warnings(reading, found, exposure_s))
    return replace(reading, verdict=photo_verdict(reading, found), warnings=said)


def _dark(found: PhotoReading, mean: float) -> tuple[int, ...]:
    """Cells that were surely not lit for a frame's time, whether or not their hold is told."""
    return tuple(
        cell
        for cell, (share, sigma) in enumerate(zip(found.cells, found.uncertainty, strict=True))
        if share < DARK * mean and share + 3 * sigma < SURELY_DARK * mean
    )


def _not_told(found: PhotoReading) -> tuple[tuple[str, int], ...]:
    """Why the holds of cells are not told, with how many they are."""
    noisy = found.told.count(False) - len(found.clipped)
    reasons = ((NOISY, noisy), (CLIPPED, len(found.clipped)))
    return tuple((reason, count) for reason, count in reasons if count)


def _undisturbed(
    counts: Sequence[int], dark: Sequence[int], told: Sequence[bool]
) -> list[int | None]:
    """Holds that are told, but for dark cells and the cells before, which stood in for them."""
    touched = {cell for place in dark for cell in (place - 1, place)}
    return [
        None if cell in touched or not told[cell] else count for cell, count in enumerate(counts)
    ]


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
