"""Footage without a strip: repeated, skipped and mixed pictures, from picture differences.

A picture seems to repeat the one before if it differs from it by little beside what pictures
shortly before *and* shortly after differ by; it seems a jump if it differs by much more than
those around; a mixture if its neighbours explain its detail, where other pictures have detail
of their own, or if it has clearly less detail than pictures shortly before and after it. All
three are relative to the pictures nearby, so that grain and compression, which all pictures
have, form the floor. Real footage does all of this now and then (a slow passage, a cut, a
blink), so that a mark is a claim only where a conversion of the rate foresees the marks, or,
of repeats, where next to nothing is left of the difference between two real steps. Where
nothing moves, or grain is as strong as the motion, nothing is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from patterns.measure.footage_words import (
    AS_IF_FILMED,
    NOT_TOLD,
    footage_verdict,
    footage_warnings,
)
from patterns.measure.holds import HeldFrame
from patterns.measure.picture_change import Changes
from patterns.measure.reading import Blend, Reading
from patterns.measure.timeline_mistake import Mistake, find_mistake

__all__ = ["FootageMarks", "judge_footage", "mark_footage", "marks_and_mistake"]

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
REACH = 15  # pictures to each side that a picture is compared with
BESIDE = 5  # pictures before, and after, among which there must be a step to call one little
LITTLE = 0.4  # of such steps on both sides; claimed if a conversion foresees it
NOTHING = 0.04  # of them: two decoded copies of a picture; stops in real moves measure 0.07
REPEAT = 0.5  # of the local motion, above which grain hides a repeat
JUMP = 1.45  # times the local median step
OWN_ENOUGH = 0.6  # share of detail of its own that a moving picture must have to judge mixtures
MIXED = 0.72  # of the local share, below which a picture is a mixture
DIP, DIP_REACH = 0.75, 3  # of the detail of pictures so near; two halves leave 0.71
PURER, LEAST_OWN = 3.0, 0.05  # times its neighbour's own share a mixture may have
STILL = 0.35  # of the detail, that eight pictures apart differ by, below which nothing moves
STILL_CODES = 0.5
FEWEST = 12
COPIES_CODES = 0.5  # two copies after compression measure 0.3; a camera's pictures have own noise


@dataclass(frozen=True)
class FootageMarks:
    """What was found of each picture, bool arrays of the file's length.

    Attributes
    ----------
    repeated, jumped, mixed
        As the module says.
    copies
        Of the repeated ones those that differ by next to nothing.
    moving
        Something moves around this picture, so that repeats can be told.
    detailed
        It moves by enough for mixtures to be seen.
    noisy
        It moves, but grain is as strong as the motion: nothing is said.
    """

    repeated: BoolArray
    copies: BoolArray
    jumped: BoolArray
    mixed: BoolArray
    moving: BoolArray
    detailed: BoolArray
    noisy: BoolArray


def _local(values: FloatArray, percent: float) -> FloatArray:
    """Percentile over the pictures nearby; NaN values do not count."""
    padded = np.pad(values, REACH, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * REACH + 1)
    with np.errstate(all="ignore"):
        filled = np.where(np.isnan(windows).all(axis=1, keepdims=True), 0.0, windows)
        return np.asarray(np.nanpercentile(filled, percent, axis=1), np.float64)


def mark_footage(changes: Changes) -> FootageMarks:
    """Mark repeated, skipped and mixed pictures.

    Parameters
    ----------
    changes
        Measures of all pictures of the file.
    """
    step, own = np.array(changes.step), np.array(changes.own)
    detail = _local(np.array(changes.detail), 50)
    far = _local(np.array(changes.far), 50)
    moving = (far > STILL * detail) & (far > STILL_CODES)
    motion = _local(step, 75)
    # where grain alone differs by as much as a repeat may, repeats cannot be known
    noisy = moving & (_local(np.array(changes.floor), 50) > REPEAT * motion)
    moving &= ~noisy
    known = ~np.isnan(step)
    beside = _steps_beside(np.nan_to_num(step))
    repeated = known & moving & (step < LITTLE * beside)
    copies = repeated & (step < NOTHING * beside)
    # a repeated picture and its twin have nothing of their own beside each other
    twin = repeated | np.roll(repeated, -1)
    own = np.where(twin, np.nan, own)
    usual_own = _local(own, 90)
    detailed = moving & (usual_own > OWN_ENOUGH)
    mixed = detailed & ~np.isnan(own) & (own < MIXED * usual_own)
    mixed |= detailed & ~repeated & _dips(np.array(changes.detail))
    mixed &= ~_beside_purer(own, mixed)
    moves = np.where(repeated, np.nan, step)
    jumped = known & moving & (step > JUMP * _local(moves, 50))
    return FootageMarks(repeated, copies, jumped & _lonely(jumped), mixed, moving, detailed, noisy)


def _steps_beside(step: FloatArray) -> FloatArray:
    """Largest step shortly before or shortly after, whichever is less: a cut is on one side.

    Beside the file's ends, where there are too few, the other side alone counts.
    """
    padded = np.pad(step, BESIDE, constant_values=np.inf)
    padded[BESIDE] = np.inf  # the first picture has no step
    windows = np.lib.stride_tricks.sliding_window_view(padded, BESIDE).max(axis=1)
    beside = np.minimum(windows[: len(step)], windows[BESIDE + 1 :])
    return np.asarray(np.where(np.isinf(beside), 0.0, beside), np.float64)


def _claimed(marks: FootageMarks, mistake: Mistake | None) -> FootageMarks:
    """What is left of the marks where no rhythm bears them out."""
    kind = None if mistake is None else mistake.kind
    none = np.zeros_like(marks.repeated)
    return replace(
        marks,
        repeated=marks.repeated if kind == "repeat" else marks.copies,
        mixed=marks.mixed if kind == "blend" else none,
        jumped=marks.jumped if kind == "drop" else none,
    )


def _each_often(mistake: Mistake | None, timeline: Fraction | None) -> bool:
    """Whether each frame fills two pictures or more, as where a camera films a screen."""
    if mistake is None or mistake.kind != "repeat" or timeline is None:
        return False
    return mistake.footage is None or timeline >= 2 * mistake.footage


def _dips(detail: FloatArray) -> BoolArray:
    """Pictures with less detail than ones shortly before and shortly after: doubled, so weaker."""
    padded = np.pad(detail, DIP_REACH)
    windows = np.lib.stride_tricks.sliding_window_view(padded, DIP_REACH).max(axis=1)
    before, after = windows[: len(detail)], windows[DIP_REACH + 1 :]
    return np.asarray(detail < DIP * np.minimum(before, after), np.bool_)


def _beside_purer(own: FloatArray, mixed: BoolArray) -> BoolArray:
    """Pictures that lost detail of their own only because a clear mixture beside has it too."""
    clear = np.where(mixed, own, np.inf)
    beside = np.minimum(np.r_[np.inf, clear[:-1]], np.r_[clear[1:], np.inf])
    return np.asarray(own > PURER * np.maximum(beside, LEAST_OWN), np.bool_)


def _lonely(marks: BoolArray) -> BoolArray:
    """Marks without another next to them: a run of large steps is a faster move, not jumps."""
    beside = np.zeros_like(marks)
    beside[1:] |= marks[:-1]
    beside[:-1] |= marks[1:]
    return np.asarray(~beside, np.bool_)


def marks_and_mistake(
    changes: Changes, timeline: Fraction | None
) -> tuple[FootageMarks, Mistake | None]:
    """Marks of all pictures, and the conversion of the rate that foresees one kind of them."""
    marks = mark_footage(changes)
    return marks, find_mistake(marks.repeated, marks.jumped, marks.mixed, marks.moving, timeline)


def _holds(repeated: BoolArray, times: Sequence[Fraction]) -> tuple[HeldFrame, ...]:
    """Different pictures with how long each is shown; the last one's end is not known."""
    starts = [int(i) for i in np.flatnonzero(~repeated)]
    return tuple(
        HeldFrame(i, float(times[i]), float(times[j] - times[i]), j - i, i, times[i])
        for i, j in pairwise(starts)
    )


def judge_footage(
    changes: Changes,
    times: Sequence[Fraction],
    *,
    file: str,
    file_rate: Fraction | None,
    mean_rate: Fraction | None,
    filmed_possible: bool = False,
    tagged: bool = False,
    warnings: Sequence[str] = (),
) -> Reading:
    """Reading of footage without a strip.

    Parameters
    ----------
    changes, times
        Measures and exact times of all pictures.
    file
        Name to show.
    file_rate, mean_rate
        Exact pictures a second, or None if they are not evenly timed; and on average.
    filmed_possible
        Whether it may be a recording of a screen: then a conversion is not claimed where a camera
        would leave the same, and its pictures are no copies of each other.
    tagged
        Whether the file has a camera's tag, and so comes from no editor.
    warnings
        What the reader of the file has to say.
    """
    count = len(times)
    if count < FEWEST:
        return Reading(
            kind="footage",
            file=file,
            verdict=f"too short: {count} pictures tell nothing of repeats; give a second or more",
            pictures=count,
            read=0,
            refresh_hz=file_rate or mean_rate,
            refresh_from="file",
            warnings=tuple(warnings),
        )
    seen, mistake = marks_and_mistake(changes, file_rate)
    often = _each_often(mistake, file_rate) and filmed_possible
    apart = np.array(changes.step)[seen.repeated]
    filmed = often and (tagged or bool(np.median(apart) > COPIES_CODES))
    if often:
        warnings = (*warnings, AS_IF_FILMED)
    mistake = None if filmed else mistake
    marks = _claimed(seen, mistake)
    open_repeats = int((seen.repeated & ~marks.repeated).sum())
    open_mixtures = int((seen.mixed & ~marks.mixed).sum())
    seconds = float(times[-1] - times[0])
    jumps = _places(marks.jumped)
    return Reading(
        kind="footage",
        file=file,
        verdict=NOT_TOLD
        if filmed
        else footage_verdict(
            marks,
            mistake,
            file_rate,
            seconds,
            open_repeats=open_repeats,
            open_mixtures=open_mixtures,
        ),
        rate=None if mistake is None else mistake.footage,
        refresh_hz=file_rate or mean_rate,
        refresh_from="file",
        pictures=count,
        read=int(marks.moving.sum()),
        unread=_unread(marks),
        seconds=seconds,
        frames_seen=int((~marks.repeated).sum()),
        holds=_holds(marks.repeated, times),
        dropped=jumps,
        drops_beyond=len(jumps),
        repeated=_places(marks.repeated),
        blended=tuple(Blend(None, None, float(times[i]), i) for i in _places(marks.mixed)),
        even=None if filmed else not bool(marks.repeated.any()),
        explanation=() if mistake is None else (mistake.text,),
        warnings=(*warnings, *footage_warnings(marks, file_rate, open_repeats, open_mixtures)),
        details=_details(marks, mistake),
    )


def _places(marks: BoolArray) -> tuple[int, ...]:
    return tuple(np.flatnonzero(marks).tolist())


def _unread(marks: FootageMarks) -> tuple[tuple[str, int], ...]:
    counts = (
        ("nothing moves", int((~marks.moving & ~marks.noisy).sum())),
        ("grain is as strong as the motion", int(marks.noisy.sum())),
    )
    return tuple((reason, count) for reason, count in counts if count)


def _details(marks: FootageMarks, mistake: Mistake | None) -> dict[str, object]:
    return {
        "moving_pictures": int(marks.moving.sum()),
        "judged_for_mixtures": int(marks.detailed.sum()),
        "mistake": None if mistake is None else mistake.kind,
    }
