"""A long-exposure photo of the hold row: from shares of light to a reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import sqrt

import numpy as np

from patterns.picture.arrays import BoolArray, FloatArray
from patterns.reading.expected import Expected, TimingError
from patterns.reading.explain import arithmetic_pattern
from patterns.reading.hold_pattern import hold_pattern
from patterns.reading.holds import HeldFrame
from patterns.reading.photo_cadence import DECISIVE, LEAST_SEEN, LIKELY, Cells, Match, match
from patterns.reading.photo_words import (
    HALF,
    NOT_PREDICTED,
    PERCENT,
    UNSTEADY,
    no_holds,
    not_as_measured,
    photo_verdict,
    photo_warnings,
    too_few,
)
from patterns.reading.reading import Reading
from patterns.reading.refresh import USUAL_HZ
from patterns.strip.photo import PhotoReading, Unread
from patterns.strip.photo_numbers import Run
from patterns.timing.cadence import Display, cadence

__all__ = ["judge_photo", "unread_photo"]

NOISY = f"hold cells too noisy to be known to {PERCENT} %"
CLIPPED = "hold cells over-exposed"
DARK, SURELY_DARK = 0.3, 0.5  # frame times; the second with three standard uncertainties added
EVEN_WITHIN = 0.1  # of a hold: where cells are known less well, they are not called even
ADRIFT = 0.6  # frame times, by which whole cells may add up to more or less than their frames
EXACT = 0.03  # by which an exposure may differ from what a camera writes
SAME_TURN = 0.1  # of a refresh, by which a round of the row may shift the cadence
FLOOR = 0.015  # of a frame's time: standard uncertainty that every cell has


@dataclass(frozen=True)
class _Found:
    """What is known of the holds.

    `holds` are those of whole cells that are told, without frames that were lost; `matches`
    are the refreshes on which all is as the arithmetic predicts, `right_to` what the worst
    hold may be off as a share of it.
    """

    seen: Cells
    refresh_hz: Fraction | None
    holds: tuple[HeldFrame, ...]
    matches: tuple[Match, ...]
    lost: tuple[int, ...]
    never_due: tuple[int, ...]
    pattern: tuple[int, ...] | None
    even: bool | None
    right_to: float


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
            "and expose so that the white marks are just below white.",
        ),
    )


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
        Shares of the exposure for which each cell was lit, and the frames that passed.
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
    thought = None if display is None else cadence(rate, display)
    reading = Reading(
        kind="photo", file=file, verdict="", rate=rate, clip=found.identity.clip, pictures=1,
        read=1, seconds=float(exposure_s or 0),
        expected=None if thought is None else _expected(thought.rate, thought.display),
        details=_details(found, exposure_s),
    )  # fmt: skip
    seen = None if found.run is None else _cells(found, found.run, exposure_s)
    reason = no_holds(found, seen, exposure_s)
    if seen is None or reason:
        return _nothing(reading, found, reason, warnings)
    judged = _judge(found, seen, display, exposure_s is not None)
    if isinstance(judged, str):
        return _nothing(reading, found, judged, warnings)
    refresh = judged.refresh_hz
    given = display is not None and refresh is not None
    if refresh is not None and not given:
        reading = replace(reading, expected=_expected(rate, Display.fixed(refresh)))
    reading = replace(
        reading,
        refresh_hz=refresh,
        refresh_from="given" if given else "holds" if refresh else "",
        refresh_candidates=tuple(m.refresh_hz for m in judged.matches) if not refresh else (),
        unread=_not_told(found, seen),
        frames_seen=int((seen.showings > 0).sum()) - len(judged.lost) - len(judged.never_due),
        holds=judged.holds,
        dropped=tuple(sorted({*judged.lost, *judged.never_due})),
        drops_beyond=len(judged.lost),
        pattern=judged.pattern,
        even=judged.even,
        error=_error(judged),
    )
    verdict = photo_verdict(reading, seen, judged.right_to, judged.matches)
    said = (*warnings, *found.warnings, *photo_warnings(reading, found, seen, exposure_s))
    return replace(reading, verdict=verdict, warnings=said)


def _nothing(
    reading: Reading, found: PhotoReading, reason: str, warnings: Sequence[str]
) -> Reading:
    """Reading of a photo of which no hold may be told."""
    return replace(
        reading,
        verdict=f"no hold is given: {reason}",
        unread=(("hold cells not known", len(found.cells)),),
        warnings=(*warnings, *found.warnings),
    )


def _cells(found: PhotoReading, run: Run, exposure_s: Fraction | None) -> Cells:
    """Cells with the exposure's bounds: what was said, or what the clip's own speed makes it."""
    rate = found.identity.rate
    share = np.maximum(np.array(found.cells), 0)
    total = max(float(share.sum()), 1e-9)
    frame = 1 / len(share)
    sigma = np.hypot(np.array(found.uncertainty) / total, FLOOR * frame)
    if exposure_s is None:
        seconds = ((run.fewest - 2) / float(rate), (run.most + 1) / float(rate))
    else:
        seconds = (float(exposure_s) * (1 - EXACT), float(exposure_s) * (1 + EXACT))
    return Cells(share / total, sigma, run, rate, seconds)


def _judge(found: PhotoReading, seen: Cells, display: Display | None, timed: bool) -> _Found | str:
    """Find the refresh on which the cells are as predicted; without one, take them as they are.

    Where the exposure is not known (not `timed`), or the light not well enough, they cannot
    be taken so: then the reason is given.
    """
    tried = [m for m in (match(seen, hz) for hz in _rates(display)) if m is not None]
    fewest = min((len(m.lost) + len(m.late) for m in tried), default=0)
    matches = tuple(m for m in tried if len(m.lost) + len(m.late) == fewest)
    even = all(len(set(m.holds)) == 1 for m in matches)
    told = int(_told(found, seen).sum())
    if matches and (len(matches) == 1 or even):
        return too_few(seen, told, HALF) or _as_predicted(found, seen, matches)
    if reason := not_as_measured(seen, told, timed):
        return reason
    return _as_measured(found, seen, display)


def _rates(display: Display | None) -> tuple[Fraction, ...]:
    """Refreshes that may be; a second does not tell 59.94 from 60."""
    if display is None:
        return tuple(hz for hz in USUAL_HZ if hz.denominator == 1)
    return () if display.is_variable else (display.highest_hz,)


def _told(found: PhotoReading, seen: Cells) -> BoolArray:
    return np.asarray(np.array(found.told) & seen.whole, np.bool_)


def _as_predicted(found: PhotoReading, seen: Cells, matches: tuple[Match, ...]) -> _Found:
    first, cells = matches[0], len(seen.share)
    refresh = first.refresh_hz if len(matches) == 1 else None
    odd = {*first.lost, *first.late}
    odd |= {(cell - 1) % cells for cell in odd}
    never_due = tuple(int(c) for c in np.flatnonzero(seen.whole & (first.expected == 0)))
    told = _told(found, seen)
    told[[*first.lost, *never_due]] = False
    alike = seen.rounds == 1 or _repeats(seen, first)
    expected = arithmetic_pattern(cadence(seen.rate, Display.fixed(first.refresh_hz)))
    even = len(set(first.holds)) == 1 and not odd
    refreshes = float(first.refresh_hz) * first.exposure_s
    off = np.abs(first.off) / np.maximum(first.expected, refreshes / cells)
    return _Found(
        seen,
        refresh,
        tuple(_hold(int(cell), seen, first, refresh, odd) for cell in np.flatnonzero(told)),
        matches,
        first.lost,
        never_due,
        expected if refresh is not None and alike else None,
        even if alike and not never_due else None,
        max(float(off.max()) * 1.1, 2 * _doubt(seen, told)),
    )


def _hold(
    cell: int, seen: Cells, found: Match, refresh: Fraction | None, odd: set[int]
) -> HeldFrame:
    """Hold of a cell's frames, which is their mean where it stands for several."""
    times = int(seen.showings[cell])
    light = float(seen.share[cell]) * found.exposure_s
    counts = None
    if refresh is not None and times == 1:
        counts = round(light * float(refresh))
    elif refresh is not None and cell not in odd:
        first, cells = seen.run.first, len(seen.share)
        own = {h for i, h in enumerate(found.holds) if (first + i) % cells == cell}
        counts = own.pop() if len(own) == 1 else None
    return HeldFrame(cell, None, light / times, counts, cell)


def _repeats(seen: Cells, found: Match) -> bool:
    """Whether a cell's frames are all held alike, so that their sum tells each of them."""
    turn = float(len(seen.share) / seen.rate * found.refresh_hz)
    return abs(turn - round(turn)) < SAME_TURN


def _doubt(seen: Cells, told: BoolArray) -> float:
    """Largest standard uncertainty of a told cell, of its light or of a mean cell's."""
    if not told.any():
        return 1.0
    share = np.maximum(seen.share[told], 1 / len(seen.share))
    return float((seen.sigma[told] / share).max())


def _as_measured(found: PhotoReading, seen: Cells, display: Display | None) -> _Found | str:
    """Judge holds that no refresh predicts: whole refreshes of a given display, or all alike."""
    told, rate = _told(found, seen), float(seen.rate)
    held, sigma = (values * sum(seen.seconds) / 2 for values in (seen.share, seen.sigma))
    counts = _counts(seen, held, sigma, display)
    lost = _lost(seen, held * rate, sigma * rate)
    frames = tuple(
        HeldFrame(int(c), None, float(held[c]), counts[c] if counts else None, int(c))
        for c in np.flatnonzero(told)
        if c not in lost
    )
    doubt, mean = LIKELY * _doubt(seen, told), float(held[told].mean())
    even = bool((np.abs(held[told] - mean) <= 3 * sigma[told]).all())
    pattern = hold_pattern(_in_order(seen, counts, lost)) if counts else None
    if counts is None and not (even and doubt <= EVEN_WITHIN):
        return NOT_PREDICTED
    odd = [f for f in frames if pattern is not None and f.refreshes not in pattern]
    adrift = abs(float(held[seen.whole].sum()) * rate - int(seen.whole.sum())) > ADRIFT
    if adrift and (pattern is None or len(odd) > 1 or not seen.run.first):
        return UNSTEADY
    refresh = display.highest_hz if display is not None and counts else None
    even = even and len({frame.refreshes for frame in frames}) == 1 and not lost
    return _Found(seen, refresh, frames, (), lost, (), pattern, even, doubt)


def _counts(
    seen: Cells, held: FloatArray, sigma: FloatArray, display: Display | None
) -> list[int] | None:
    """Refreshes of the given display, where every whole cell is a whole number of them."""
    if display is None or display.is_variable:
        return None
    exact = held * float(display.highest_hz)
    doubt = sigma * float(display.highest_hz)
    off = np.abs(exact - np.rint(exact))[seen.whole]
    if np.median(doubt) > DECISIVE or (off > np.minimum(LIKELY * doubt[seen.whole], 0.3)).any():
        return None
    return [int(n) for n in np.rint(exact)]


def _in_order(seen: Cells, counts: Sequence[int], lost: Sequence[int]) -> list[int | None]:
    """Refreshes of the run's frames; None for cut ones, lost ones and those before."""
    cells = len(counts)
    touched = {cell for place in lost for cell in (place - 1, place)}
    return [
        None if not seen.whole[n % cells] or n % cells in touched else counts[n % cells]
        for n in range(seen.run.first, seen.run.first + seen.run.frames)
    ]


def _lost(seen: Cells, held: FloatArray, sigma: FloatArray) -> tuple[int, ...]:
    """Dark cells whose time the frame before them took, in a run that keeps the clip's time.

    `held` and `sigma` are in frame times.
    """
    cells, whole = len(held), seen.whole
    if abs(held[whole].sum() - whole.sum()) > ADRIFT:
        return ()
    dark = (held < DARK) & (held + 3 * sigma < SURELY_DARK) & whole
    found: list[int] = []
    for cell in np.flatnonzero(dark & ~np.roll(dark, 1)):
        length = 1
        while dark[(cell + length) % cells]:
            length += 1
        own = [(cell - 1 + i) % cells for i in range(length + 1)]
        if whole[own[0]] and abs(held[own].sum() - len(own)) < 0.5 and held[own[0]] > 1.3:
            found += [int(c) for c in own[1:]]
    return tuple(sorted(found)) if len(found) == dark.sum() else ()


def _not_told(found: PhotoReading, seen: Cells) -> tuple[tuple[str, int], ...]:
    """Why the holds of cells are not told, with how many they are."""
    whole = seen.whole
    clipped = sum(bool(whole[c]) for c in found.clipped)
    noisy = int((whole & ~np.array(found.told)).sum()) - clipped
    reasons = ((NOISY, noisy), (CLIPPED, clipped))
    return tuple((reason, count) for reason, count in reasons if count)


def _error(judged: _Found) -> TimingError | None:
    """Timing error of the frames that showed whole, where each has a cell of its own."""
    seen, cells = judged.seen, len(judged.seen.share)
    held = {frame.number: frame for frame in judged.holds}
    refresh = judged.refresh_hz
    late, now = [], 0.0
    for number in range(seen.run.first, seen.run.first + seen.run.frames):
        if not seen.whole[number % cells]:
            continue
        if number % cells in judged.lost:
            continue
        frame = held.get(number % cells)
        if frame is None or seen.rounds > 1:
            return None
        late.append(now - (number - seen.run.first) / float(seen.rate))
        exact = refresh is not None and frame.refreshes is not None
        now += float((frame.refreshes or 0) / refresh) if exact and refresh else frame.hold_s
    if len(late) < LEAST_SEEN:
        return None
    mean = sum(late) / len(late)
    rms = sqrt(sum((x - mean) ** 2 for x in late) / len(late))
    return TimingError(1000 * rms, 1000 * (max(late) - min(late)), len(late))


def _details(found: PhotoReading, exposure_s: Fraction | None) -> dict[str, object]:
    mean = sum(found.cells) / len(found.cells) or 1.0
    run = found.run
    return {
        "exposure_s": None if exposure_s is None else float(exposure_s),
        "first_frame": None if run is None else run.first,
        "frames_passed": None if run is None else run.frames,
        "relative": [
            round(share / mean, 4) if told else None
            for share, told in zip(found.cells, found.told, strict=True)
        ],
        "uncertainty": [round(u / mean, 4) for u in found.uncertainty],
        "clipped": list(found.clipped),
        "not_told": [cell for cell, told in enumerate(found.told) if not told],
    }


def _expected(rate: Fraction, display: Display) -> Expected:
    thought = cadence(rate, display)
    error = TimingError(
        1000 * thought.timing_error_rms_s, float(1000 * thought.timing_error_span_s), 0
    )
    return Expected(thought, arithmetic_pattern(thought), error)
