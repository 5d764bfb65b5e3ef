"""A photo's reading in words: the verdict, and what to do about doubts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from math import ceil

from patterns.reading.photo_cadence import LEAST_SEEN, Cells, Match
from patterns.reading.reading import Reading
from patterns.reading.words import held_words
from patterns.strip.code import hold_row
from patterns.strip.photo import RIGHT_TO, PhotoReading
from patterns.timing.notation import counted, number_list
from patterns.timing.rates import format_decimal

PERCENT, AT_BEST = round(100 * RIGHT_TO), 2  # right to, per cent
MISFIT = 3.0  # RMS of the number cells, in uncertainties
LEAST_KNOWN = 0.5  # of the cells
SLACK = 1.2  # frames, by which a run may be longer or shorter than the exposure makes it
AGAIN = "Play the clip at its own speed, away from its end, and expose once for one second"

NOT_PREDICTED = (
    "the cells are not what this rate gives on one known refresh: the display is another, frames "
    "are held otherwise (a stall, a converted rate), or reflections, a filter or a pause make the "
    "light doubtful. Give --display, darken the room, and expose once for one second, or film "
    "the screen in slow motion"
)


def no_holds(found: PhotoReading, seen: Cells | None, exposure_s: Fraction | None) -> str:
    """Why this photo says nothing of holds, with what to do; '' if it may."""
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


def too_few(seen: Cells, known: int) -> str:
    """Why nothing is said of all cells where only some can be known; '' if it may be."""
    if known >= LEAST_KNOWN * seen.whole.sum():
        return ""
    return (
        f"only {known} of {len(seen.share)} cells could be known to {PERCENT} %: go near, darken "
        "the room, lower the ISO, and expose so that the white marks are just below white"
    )


def photo_verdict(reading: Reading, seen: Cells, right_to: float, matches: Sequence[Match]) -> str:
    """Say in one sentence how frames were held, which were lost, and how sure that is."""
    cells, known = len(seen.share), len(reading.holds)
    condition = "" if reading.seconds else "if the clip ran at its own speed: "
    sure = f"{known} of {cells} cells known, right to {max(AT_BEST, ceil(100 * right_to))} %"
    return f"{condition}{_held(reading, matches)}; {_losses(reading, seen)}; {sure}"


def _held(reading: Reading, matches: Sequence[Match]) -> str:
    refresh, due = reading.refresh_hz, reading.expected
    if refresh is not None and reading.pattern is not None and due is not None:
        late = tuple(sorted({cell for m in matches for cell in m.late}))
        but = f", but {counted(len(late), 'frame')} late: {number_list(late)}" if late else ""
        return f"{held_words(reading, [refresh], due.cadence)}{but}"
    if refresh is not None:
        on = f"{format_decimal(reading.rate or Fraction(0))} on {format_decimal(refresh)}"
        return f"lit as {on} must be, though single showings are not known"
    held_ms = [1000 * hold.hold_s for hold in reading.holds]
    if reading.even:
        return f"held evenly, {sum(held_ms) / len(held_ms):.1f} ms each"
    return f"held for {min(held_ms):.1f} to {max(held_ms):.1f} ms"


def _losses(reading: Reading, seen: Cells) -> str:
    lost, each = reading.dropped, f"of each {len(seen.share)}"
    if not lost:
        return "no frame lost in the cells known"
    if not reading.drops_beyond:
        return f"{counted(len(lost), 'cell')} dark, as must be on this refresh"
    if seen.rounds == 1:
        return f"{counted(len(lost), 'frame')} lost: {number_list(lost)} {each}"
    return f"lost in some of {seen.rounds} showings: {number_list(lost)} {each}"


def photo_warnings(
    reading: Reading, found: PhotoReading, seen: Cells, exposure_s: Fraction | None
) -> Iterator[str]:
    """Doubts about a reading, each with what to do about it."""
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
    if dark := int((seen.showings == 0).sum()):
        whole_s = hold_row(found.identity.rate).even_over_s or 1
        yield (
            f"The exposure was over before {counted(dark, 'cell')} of {len(seen.share)} had a "
            f"turn: expose for {whole_s} s to see them all."
        )
    if seen.rounds > 1:
        yield (
            f"Each cell stands for {seen.rounds} frames: what is given is the mean of their holds."
        )
    noisy = [i for i, known in enumerate(found.known) if not known and i not in found.clipped]
    if noisy:
        yield (
            f"Cells {number_list(noisy)} are too noisy to be known to {PERCENT} %: their holds are "
            "left out. Fill the picture with the strip, go straight before the screen, darken "
            "the room, and expose so that the white marks are just below white, at a low ISO."
        )
    if reading.refresh_hz is None:
        yield "This photo does not show the refresh: give --display to count refreshes."
