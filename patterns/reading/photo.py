"""A long-exposure photo of the hold row: from its file and shares of light to a reading."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from fractions import Fraction
from math import sqrt
from pathlib import Path

import numpy as np
from PIL import ExifTags, Image, ImageOps

from patterns.errors import InputError
from patterns.picture.arrays import BoolArray, UInt8Array
from patterns.reading.clocks import USUAL_HZ
from patterns.reading.hold_cadence import HeldFrame, TimingError, arithmetic_pattern, expected
from patterns.reading.photo_cadence import LEAST_SEEN, Cells, Match, match
from patterns.reading.photo_words import (
    NOT_PREDICTED,
    PERCENT,
    no_holds,
    photo_verdict,
    photo_warnings,
    too_few,
)
from patterns.reading.reading import Reading
from patterns.strip.photo import PhotoReading, Run, read_photo
from patterns.strip.read import Unread
from patterns.timing.cadence import Display, cadence

NOISY = f"hold cells too noisy to be known to {PERCENT} %"
CLIPPED = "hold cells over-exposed"
EXACT = 0.03  # by which an exposure may differ from what a camera writes
SAME_TURN = 0.1  # of a refresh, by which a round of the row may shift the cadence
FLOOR = 0.015  # of a frame's time: standard uncertainty that every cell has
SEE_MORE = (
    "Fill the picture with the strip (600 pixels along or more), hold the camera still, "
    "and expose so that the white marks are just below white."
)
PHOTO_FORMATS = ("JPEG", "PNG")
MOST_PIXELS = 1 << 27

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


@dataclass(frozen=True)
class _Predicted:
    """What is known where all is as the arithmetic predicts on one refresh, or on several."""

    seen: Cells
    matches: tuple[Match, ...]
    known: BoolArray  # cells whose frames' holds are given
    never_due: tuple[int, ...]
    repeats: bool  # whether a cell's frames are all held alike, so that their sum gives each

    @property
    def refresh_hz(self) -> Fraction | None:
        return self.matches[0].refresh_hz if len(self.matches) == 1 else None

    @property
    def right_to(self) -> float:
        """What the worst hold may be off, as a share of it."""
        best, cells = self.matches[0], len(self.seen.share)
        mean = float(best.refresh_hz) * best.exposure_s / cells
        off = float((np.abs(best.off) / np.maximum(best.expected, mean)).max())
        share = np.maximum(self.seen.share[self.known], 1 / cells)
        doubt = float((self.seen.sigma[self.known] / share).max(initial=0.0))
        return max(1.1 * off, 2 * doubt if self.known.any() else 1.0)


def judge_photo(
    found: PhotoReading | Unread, *, file: str, exposure_s: Fraction | None, display: Display | None
) -> Reading:
    """Reading of a photo; `exposure_s` is None if neither the file nor the user says it."""
    reading = Reading(kind="photo", file=file, pictures=1)
    if isinstance(found, Unread):
        reading = replace(reading, unread=((found.reason, 1),))
        return reading.worded(f"nothing was read: {found.reason}", warnings=[SEE_MORE])
    rate = found.identity.rate
    reading = replace(
        reading,
        rate=rate,
        clip=found.identity.clip,
        read=1,
        seconds=float(exposure_s or 0),
        expected=None if display is None else expected(cadence(rate, display)),
        details=_details(found, exposure_s),
    )
    seen = None if found.run is None else _cells(found, found.run, exposure_s)
    reason = no_holds(found, seen, exposure_s)
    if seen is not None and not reason:
        judged = _predicted(found, seen, display, timed=exposure_s is not None)
        if not isinstance(judged, str):
            reading = _filled(reading, found, judged, display)
            return reading.worded(
                photo_verdict(reading, seen, judged.right_to, judged.matches),
                warnings=(*found.warnings, *photo_warnings(reading, found, seen, exposure_s)),
            )
        reason = judged
    reading = replace(reading, unread=(("hold cells not known", len(found.cells)),))
    return reading.worded(f"no hold is given: {reason}", warnings=found.warnings)


def _cells(found: PhotoReading, run: Run, exposure_s: Fraction | None) -> Cells:
    """Cells with the exposure's bounds: what was said, or what the clip's own speed makes it."""
    rate = found.identity.rate
    share = np.maximum(np.array(found.cells), 0)
    total = max(float(share.sum()), 1e-9)
    sigma = np.hypot(np.array(found.uncertainty) / total, FLOOR / len(share))
    if exposure_s is None:
        seconds = ((run.fewest - 2) / float(rate), (run.most + 1) / float(rate))
    else:
        seconds = (float(exposure_s) * (1 - EXACT), float(exposure_s) * (1 + EXACT))
    return Cells(share / total, sigma, run, rate, seconds)


def _predicted(
    found: PhotoReading, seen: Cells, display: Display | None, *, timed: bool
) -> _Predicted | str:
    """Find the refreshes on which the cells are as predicted; why nothing is given if none is."""
    tried = [m for m in (match(seen, hz) for hz in _rates(display)) if m is not None]
    fewest = min((len(m.lost) + len(m.late) for m in tried), default=0)
    matches = tuple(m for m in tried if len(m.lost) + len(m.late) == fewest)
    known = np.array(found.known) & seen.whole
    if reason := too_few(seen, int(known.sum())):
        return reason
    if not matches or (len(matches) > 1 and any(len(set(m.holds)) > 1 for m in matches)):
        return NOT_PREDICTED if timed else f"{NOT_PREDICTED}; use --exposure"
    best = matches[0]
    never_due = tuple(int(c) for c in np.flatnonzero(seen.whole & (best.expected == 0)))
    known[[*best.lost, *never_due]] = False
    turn = float(len(seen.share) / seen.rate * best.refresh_hz)
    repeats = seen.rounds == 1 or abs(turn - round(turn)) < SAME_TURN
    return _Predicted(seen, matches, known, never_due, repeats)


def _rates(display: Display | None) -> tuple[Fraction, ...]:
    """Refreshes that may be; within a second 59.94 and 60 look the same."""
    if display is None or display.is_variable:
        return tuple(hz for hz in USUAL_HZ if hz.denominator == 1)
    return (display.highest_hz,)


def _filled(
    reading: Reading, found: PhotoReading, judged: _Predicted, display: Display | None
) -> Reading:
    seen, best, refresh = judged.seen, judged.matches[0], judged.refresh_hz
    given = display is not None and not display.is_variable
    due = None if refresh is None else cadence(seen.rate, Display.fixed(refresh))
    holds = tuple(_hold(int(cell), judged) for cell in np.flatnonzero(judged.known))
    even = len(set(best.holds)) == 1 and not best.lost and not best.late
    return replace(
        reading,
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


def _hold(cell: int, judged: _Predicted) -> HeldFrame:
    """Hold of a cell's frames, which is their mean where it stands for several."""
    seen, best, refresh = judged.seen, judged.matches[0], judged.refresh_hz
    times, cells = int(seen.showings[cell]), len(seen.share)
    light = float(seen.share[cell]) * best.exposure_s
    counts = None
    odd = {*best.lost, *best.late}
    if refresh is not None and times == 1:
        counts = round(light * float(refresh))
    elif refresh is not None and not odd & {cell, (cell + 1) % cells}:
        own = {h for i, h in enumerate(best.holds) if (seen.run.first + i) % cells == cell}
        counts = own.pop() if len(own) == 1 else None
    return HeldFrame(cell, None, light / times, counts, cell)


def _not_known(found: PhotoReading, seen: Cells) -> tuple[tuple[str, int], ...]:
    """Why the holds of cells are not known, with how many they are."""
    clipped = sum(bool(seen.whole[c]) for c in found.clipped)
    noisy = int((seen.whole & ~np.array(found.known)).sum()) - clipped
    return tuple((reason, n) for reason, n in ((NOISY, noisy), (CLIPPED, clipped)) if n)


def _error(judged: _Predicted, holds: Sequence[HeldFrame]) -> TimingError | None:
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
