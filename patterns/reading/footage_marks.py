"""Marks of footage: pictures that seem repeated, skipped or mixed, from picture differences.

A picture seems to repeat the one before if it differs from it by little beside what pictures
shortly before *and* shortly after differ by; it seems a jump if it differs by much more than
those around; a mixture if its neighbours explain its detail, where other pictures have detail
of their own, or if it has clearly less detail than pictures shortly before and after it. All
three are relative to the pictures nearby, so that grain and compression, which all pictures
have, form the floor.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from patterns.picture.arrays import BoolArray, FloatArray
from patterns.reading.picture_change import Changes
from patterns.reading.timeline_mistake import Mistake, find_mistake

__all__ = ["FootageMarks", "mark_footage", "marks_and_mistake"]

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
