"""A long-exposure photo of the hold row: from its file and shares of light to a reading."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from contextlib import suppress
from fractions import Fraction
from math import ceil, sqrt
from pathlib import Path

import numpy as np
from PIL import ExifTags, Image, ImageOps

from patterns.errors import InputError
from patterns.picture.arrays import UInt8Array
from patterns.reading.hold_cadence import HeldFrame, TimingError, arithmetic_pattern, expected
from patterns.reading.photo_cadence import (
    LEAST_SEEN,
    PERCENT,
    Cells,
    Match,
    Predicted,
    cells_of,
    predicted,
)
from patterns.reading.reading import Reading
from patterns.reading.words import held_words
from patterns.strip.code import hold_row
from patterns.strip.photo import PhotoReading, read_photo
from patterns.strip.read import Unread
from patterns.timing.cadence import Display, cadence
from patterns.timing.notation import counted, number_list
from patterns.timing.rates import format_decimal

NOISY = f"hold cells too noisy to be known to {PERCENT} %"
CLIPPED = "hold cells over-exposed"
SEE_MORE = (
    "Fill the picture with the strip (600 pixels along or more), hold the camera still, "
    "and expose so that the white marks are just below white."
)
PHOTO_FORMATS = ("JPEG", "PNG")
MOST_PIXELS = 1 << 27
AT_BEST = 2  # right to, per cent
MISFIT = 3.0  # RMS of the number cells, in uncertainties
SLACK = 1.2  # frames, by which a run may be longer or shorter than the exposure makes it
AGAIN = "Play the clip at its own speed, away from its end, and expose once for one second"

# Upright, uint8 (height, width, 3) of full range R'G'B'; and the exposure, None if EXIF has none.
Photo = tuple[UInt8Array, Fraction | None]


def open_photo(path: Path) -> Photo | None:
    """Photo in a JPEG or PNG file, or None if that is an animation.

    Raises `InputError`: too large, or a damaged picture.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of Pillow's, about what is odd in a file
            with Image.open(path, formats=PHOTO_FORMATS) as image:
                if getattr(image, "n_frames", 1) > 1 and image.format == "PNG":
                    return None
                if image.width * image.height > MOST_PIXELS:
                    raise Image.DecompressionBombError
                return _photo(image)
    except Image.DecompressionBombError as error:
        raise InputError(
            f"{path} has too many pixels: photos of up to {MOST_PIXELS / 1e6:.0f} million pixels "
            "are read; crop it to the strip"
        ) from error
    except (OSError, ValueError, SyntaxError, EOFError) as error:
        raise InputError(f"{path} is a damaged picture ({error}): try a fresh copy") from error


def judged_photo(
    photo: Photo, file: str, exposure_s: Fraction | None, display: Display | None
) -> Reading:
    """Reading of a photo of a screen; the file's name is to show, the rest is what is known."""
    found = read_photo(photo[0])
    return judge_photo(found, file=file, exposure_s=exposure_s or photo[1], display=display)


def _photo(image: Image.Image) -> Photo:
    exposure_s = None
    with suppress(ValueError, TypeError, ZeroDivisionError, OverflowError):
        told = image.getexif().get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.ExposureTime)
        if told is not None and float(told) > 0:
            exposure_s = Fraction(float(told)).limit_denominator(10_000)
    upright = ImageOps.exif_transpose(image).convert("RGB")
    return np.asarray(upright), exposure_s


def judge_photo(
    found: PhotoReading | Unread, *, file: str, exposure_s: Fraction | None, display: Display | None
) -> Reading:
    """Reading of a photo; `exposure_s` is None if neither the file nor the user says it."""
    reading = Reading(kind="photo", file=file, pictures=1)
    if isinstance(found, Unread):
        reading = reading._replace(unread=((found.reason, 1),))
        return reading.worded(f"nothing was read: {found.reason}", warnings=[SEE_MORE])
    rate = found.identity.rate
    reading = reading._replace(
        rate=rate,
        clip=found.identity.clip,
        read=1,
        seconds=float(exposure_s or 0),
        expected=None if display is None else expected(cadence(rate, display)),
        details=_details(found, exposure_s),
    )
    seen = None if found.run is None else cells_of(found, found.run, exposure_s)
    reason = no_holds(found, seen, exposure_s)
    if seen is not None and not reason:
        judged = predicted(found, seen, display, timed=exposure_s is not None)
        if not isinstance(judged, str):
            reading = _filled(reading, found, judged, display)
            return reading.worded(
                photo_verdict(reading, seen, judged.right_to, judged.matches),
                warnings=(*found.warnings, *photo_warnings(reading, found, seen, exposure_s)),
            )
        reason = judged
    reading = reading._replace(unread=(("hold cells not known", len(found.cells)),))
    return reading.worded(f"no hold is given: {reason}", warnings=found.warnings)


def _filled(
    reading: Reading, found: PhotoReading, judged: Predicted, display: Display | None
) -> Reading:
    seen, best, refresh = judged.seen, judged.matches[0], judged.refresh_hz
    given = display is not None and not display.is_variable
    due = None if refresh is None else cadence(seen.rate, Display.fixed(refresh))
    holds = tuple(judged.hold(int(cell)) for cell in np.flatnonzero(judged.known))
    even = len(set(best.holds)) == 1 and not best.lost and not best.late
    return reading._replace(
        expected=expected(due) if due and display is None else reading.expected,
        refresh_hz=refresh,
        refresh_from="" if refresh is None else "given" if given else "holds",
        refresh_candidates=tuple(m.refresh_hz for m in judged.matches) if not refresh else (),
        unread=_not_known(found, seen),
        frames_seen=int((seen.showings > 0).sum()) - len(best.lost) - len(judged.never_due),
        holds=holds,
        dropped=tuple(sorted({*best.lost, *judged.never_due})),
        drops_beyond=len(best.lost),
        pattern=arithmetic_pattern(due) if due and judged.repeats else None,
        even=even if judged.repeats and not judged.never_due else None,
        error=_error(judged, holds),
    )


def _not_known(found: PhotoReading, seen: Cells) -> tuple[tuple[str, int], ...]:
    """Why the holds of cells are not known, with how many they are."""
    clipped = sum(bool(seen.whole[c]) for c in found.clipped)
    noisy = int((seen.whole & ~np.array(found.known)).sum()) - clipped
    return tuple((reason, n) for reason, n in ((NOISY, noisy), (CLIPPED, clipped)) if n)


def _error(judged: Predicted, holds: Sequence[HeldFrame]) -> TimingError | None:
    """Timing error of the frames that showed whole, where each has a cell of its own."""
    seen, cells, refresh = judged.seen, len(judged.seen.share), judged.refresh_hz
    held = {frame.number: frame for frame in holds}
    late, now = [], 0.0
    for place in range(seen.run.frames):
        cell = (seen.run.first + place) % cells
        if not seen.whole[cell] or cell in judged.matches[0].lost:
            continue
        if cell not in held or seen.rounds > 1:
            return None
        frame = held[cell]
        late.append(now - place / float(seen.rate))
        exact = refresh is not None and frame.refreshes is not None
        now += float((frame.refreshes or 0) / refresh) if exact and refresh else frame.hold_s
    if len(late) < LEAST_SEEN:
        return None
    off = np.array(late) - np.mean(late)
    return TimingError(1000 * sqrt((off**2).mean()), 1000 * float(np.ptp(off)), len(late))


def _details(found: PhotoReading, exposure_s: Fraction | None) -> dict[str, object]:
    mean, run = sum(found.cells) / len(found.cells) or 1.0, found.run
    relative = zip(found.cells, found.known, strict=True)
    return {
        "exposure_s": None if exposure_s is None else float(exposure_s),
        "first_frame": None if run is None else run.first,
        "frames_passed": None if run is None else run.frames,
        "relative": [round(share / mean, 4) if known else None for share, known in relative],
        "uncertainty": [round(u / mean, 4) for u in found.uncertainty],
        "clipped": list(found.clipped),
        "not_known": [cell for cell, known in enumerate(found.known) if not known],
    }


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
