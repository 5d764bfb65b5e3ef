"""A photo's reading in words: the verdict, and what to do about doubts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from math import ceil

from patterns.reading.hold_pattern import pattern_text
from patterns.reading.photo_cadence import LEAST_SEEN, Cells, Match
from patterns.reading.reading import Reading
from patterns.reading.words import counted, number_list, plural
from patterns.strip.hold import hold_row
from patterns.strip.photo import RIGHT_TO, PhotoReading
from patterns.timing.rates import format_decimal

__all__ = ["PERCENT", "no_holds", "photo_verdict", "photo_warnings"]

PERCENT, AT_BEST = round(100 * RIGHT_TO), 2  # right to, per cent
MISFIT, OFF = 3.0, 0.04  # RMS of the number cells, in uncertainties and in shares of white
CLEAR = 1.2  # the same as `MISFIT`, where no refresh predicts the cells
MOST_UNTOLD = 0.2  # of the cells, where no refresh predicts them
HALF = 0.5  # the same where one does
SLACK = 1.2  # frames, by which a run may be longer or shorter than the exposure makes it
AGAIN = "Play the clip at its own speed, away from its end, and expose once for one second"

UNSTEADY = (
    "some cells have light that no neighbour lacks, as when the player pauses or stalls, the clip "
    f"begins anew, or a photo is made of several exposures. {AGAIN}"
)

NOT_PREDICTED = (
    "the cells are not what this rate gives on one known refresh: the display is another, holds "
    "are uneven, or reflections, a filter or a pause make the light doubtful. Give --display, "
    "darken the room, and expose once for one second"
)


def no_holds(found: PhotoReading, seen: Cells | None, exposure_s: Fraction | None) -> str:
    """Why this photo tells nothing of holds, with what to do; '' if it may."""
    run, rate = found.run, float(found.identity.rate)
    if run is None or seen is None:
        return "its number cells are too small or unsharp to say which frames passed: go nearer"
    if run.misfit > MISFIT:
        return (
            "the frames that passed do not follow one another (the clip's loop, a seek, several "
            f"exposures in one photo), or reflections and the camera's tones hide them. {AGAIN}, "
            "with no filter"
        )
    few = int(seen.whole.sum()) < LEAST_SEEN
    if exposure_s is not None:
        due = rate * float(exposure_s)
        low, high = (run.frames, run.frames) if few else (run.fewest, run.most)
        if not low - 1 - SLACK <= due <= high + SLACK:
            return (
                f"{counted(run.frames, 'frame')} passed in the exposure, where {due:.3g} are due "
                f"in {float(exposure_s):g} s: the clip ran at another speed or paused, or the "
                f"exposure was another. {AGAIN}"
            )
    if few:
        return f"only {counted(run.frames, 'frame')} passed in the exposure: expose for one second"
    return ""


def not_as_measured(seen: Cells, told: int, timed: bool) -> str:
    """Why holds that no refresh predicts are not told either; '' if they may be."""
    if not timed:
        return f"{NOT_PREDICTED}; use --exposure"
    if seen.rounds > 1 or seen.run.misfit > CLEAR:
        return NOT_PREDICTED
    return too_few(seen, told, MOST_UNTOLD)


def too_few(seen: Cells, told: int, untold: float) -> str:
    """Why nothing is said of all cells where only some can be told; '' if it may be."""
    if told >= (1 - untold) * seen.whole.sum():
        return ""
    return (
        f"only {told} of {len(seen.share)} cells could be known to {PERCENT} %: go near, darken "
        "the room, lower the ISO, and expose so that the white marks are just below white"
    )


def _sureness(reading: Reading, seen: Cells, right_to: float) -> str:
    """How many holds are told, and how right they are."""
    cells, told = len(seen.share), len(reading.holds)
    return f"{told} of {cells} cells known, right to {max(AT_BEST, ceil(100 * right_to))} %"


def _losses(reading: Reading, seen: Cells) -> str:
    each = f"of each {len(seen.share)}"
    if reading.dropped and not reading.drops_beyond:
        return f"{counted(len(reading.dropped), 'cell')} dark, as must be on this refresh"
    if reading.dropped and seen.rounds == 1:
        lost = counted(len(reading.dropped), "frame")
        return f"{lost} lost: {number_list(reading.dropped)} {each}"
    if reading.dropped:
        return f"lost in some of {seen.rounds} showings: {number_list(reading.dropped)} {each}"
    return "no frame lost in the cells known"


def photo_verdict(reading: Reading, seen: Cells, right_to: float, matches: Sequence[Match]) -> str:
    """Say in one sentence how frames were held, which were lost, and how sure that is."""
    tail = f"{_losses(reading, seen)}; {_sureness(reading, seen, right_to)}"
    return f"{_own_speed(reading)}{_said(reading, matches)}; {tail}"


def _own_speed(reading: Reading) -> str:
    return "" if reading.seconds else "if the clip ran at its own speed: "


def _said(reading: Reading, matches: Sequence[Match]) -> str:
    """Say how frames were held."""
    low, high = (1000 * f(h.hold_s for h in reading.holds) for f in (min, max))
    if reading.pattern is not None:
        return _held(reading, matches)
    rate = format_decimal(reading.rate or Fraction(0))
    if reading.refresh_hz is not None and matches:
        on = f"{rate} on {format_decimal(reading.refresh_hz)}"
        return f"lit as {on} must be, though single showings are not known"
    if reading.even:
        mean = 1000 * sum(h.hold_s for h in reading.holds) / len(reading.holds)
        return f"held evenly, {mean:.1f} ms each"
    counts = [h.refreshes for h in reading.holds if h.refreshes is not None]
    if counts:
        at = format_decimal(reading.refresh_hz or Fraction(0))
        return f"held {min(counts)} to {max(counts)} refreshes at {at} Hz, in no repeating pattern"
    return f"held for {low:.1f} to {high:.1f} ms"


def _held(reading: Reading, matches: Sequence[Match]) -> str:
    assert reading.pattern is not None
    held = (
        plural(reading.pattern[0], "refresh", "refreshes")
        if len(reading.pattern) == 1
        else pattern_text(reading.pattern)
    )
    rate, must = format_decimal(reading.rate or Fraction(0)), reading.expected
    hz = reading.refresh_hz or (must.cadence.refresh_hz if must else Fraction(0))
    at = format_decimal(hz)
    if matches:
        late = tuple(sorted({cell for m in matches for cell in m.late}))
        told = f", but {counted(len(late), 'frame')} late: {number_list(late)}" if late else ""
        return f"held {held} at {at} Hz, as {rate} on {at} must be{told}"
    if must is not None and must.pattern == reading.pattern:
        odd = [h for h in reading.holds if h.refreshes not in reading.pattern]
        longer = number_list(tuple(h.number for h in odd))
        return f"held {held} at {at} Hz, but for {counted(len(odd), 'frame')}: {longer}"
    wanted = "" if must is None or must.pattern is None else pattern_text(must.pattern)
    return f"held {held} at {at} Hz{f', where {wanted} was expected' if wanted else ''}"


def photo_warnings(
    reading: Reading, found: PhotoReading, seen: Cells, exposure_s: Fraction | None
) -> Iterator[str]:
    """Doubts about a reading, each with what to do about it."""
    rule = hold_row(found.identity.rate)
    if found.clipped:
        yield (
            f"Cells {number_list(found.clipped)} are too bright for the camera: their holds are at "
            "least this long. Expose a stop less."
        )
    if exposure_s is None:
        yield (
            "The exposure is neither in the file nor given, so that the clip's speed is not "
            "checked: use --exposure."
        )
    dark = int((seen.showings == 0).sum())
    if dark:
        yield (
            f"The exposure was over before {counted(dark, 'cell')} of {len(seen.share)} had a "
            f"turn: expose for {rule.even_over_s or 1} s to see them all."
        )
    if seen.rounds > 1:
        yield (
            f"Each cell stands for {seen.rounds} frames: what is given is the mean of their holds."
        )
    noisy = tuple(i for i, t in enumerate(found.told) if not t and i not in found.clipped)
    if noisy:
        yield (
            f"Cells {number_list(noisy)} are too noisy to be known to {PERCENT} %: their holds are "
            "left out. Fill the picture with the strip, go straight before the screen, darken "
            "the room, and expose so that the white marks are just below white, at a low ISO."
        )
    if reading.refresh_hz is None:
        yield "This photo does not show the refresh: give --display to count refreshes."
