"""How much each picture differs from the one before and from its neighbours, and what it marks.

Three measures, the last made of the pictures' detail (what is left when a blurred copy is
taken away), so that slow changes of light do not count:

- `step`: RMS difference to the picture before, in codes; of a coarse copy of the picture,
  in which grain averages out and motion is small, so that the difference grows with it.
- `floor`: the same as `step` in the quietest places of the picture: what grain alone gives.
- `own`: share of the picture's detail that its two neighbours do not have between them,
  from a least-squares fit of both. A mixture of the two has next to none of its own.

A picture seems to repeat the one before if it differs from it by little beside what pictures
shortly before *and* shortly after differ by; it seems a jump if it differs by much more than
those around; a mixture if its neighbours explain its detail, where other pictures have detail
of their own, or if it has clearly less detail than pictures shortly before and after it. All
three are relative to the pictures nearby, so that grain and compression, which all pictures
have, form the floor.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

import numpy as np

from patterns.picture.arrays import BoolArray, Float32Array, FloatArray, UInt8Array

WORKING_WIDTH = 400  # pixels across, to about which larger pictures are averaged down
COARSE = 4  # pixels of the working picture to a side of a pixel of the coarse copy
QUIET_PERCENT = 4  # of the places are taken to be still
LAG = 8  # pictures apart, for the slowest motion that differs from stillness
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


def working_copy(luma: UInt8Array) -> UInt8Array:
    """Picture at which footage is looked at: means of blocks, about 400 pixels along."""
    side = max(1, round(max(luma.shape) / WORKING_WIDTH))
    if side == 1:
        return luma
    rows, columns = luma.shape[0] // side, luma.shape[1] // side
    total = np.zeros((rows, columns), np.uint16)
    for y in range(side):
        for x in range(side):
            total += luma[y : rows * side : side, x : columns * side : side]
    return np.asarray(total // (side * side), np.uint8)


@dataclass
class Changes:
    """Measures of all pictures; the first has no step, the first and last no `own`."""

    step: list[float] = field(default_factory=list)
    floor: list[float] = field(default_factory=list)
    own: list[float] = field(default_factory=list)
    detail: list[float] = field(default_factory=list)
    far: list[float] = field(default_factory=list)


def _coarse(picture: Float32Array) -> Float32Array:
    rows, columns = picture.shape[0] // COARSE, picture.shape[1] // COARSE
    cut = picture[: rows * COARSE, : columns * COARSE]
    return np.asarray(cut.reshape(rows, COARSE, columns, COARSE).mean((1, 3)), np.float32)


def _detail(luma: UInt8Array) -> Float32Array:
    """Picture less its own mean over 5 x 5 pixels, the edge left out."""
    down = luma.cumsum(0, np.int32)
    down = np.concatenate([down[4:5], down[5:] - down[:-5]])
    across = down.cumsum(1, dtype=np.int32)
    total = np.concatenate([across[:, 4:5], across[:, 5:] - across[:, :-5]], axis=1)
    return np.asarray(luma[2:-2, 2:-2] - total * np.float32(1 / 25), np.float32)


def _product(a: Float32Array, b: Float32Array) -> float:
    # no matrix product: for arrays this small it would start threads that only wait
    return float(np.multiply(a, b).sum(dtype=np.float64))


def _rms(difference: Float32Array) -> float:
    return float(np.sqrt(_product(difference, difference) / difference.size))


def _quietest(difference: Float32Array) -> float:
    """RMS of a difference in the quietest places, of about 16 by 9."""
    rows, columns = (
        max(1, side // parts) for side, parts in zip(difference.shape, (9, 16), strict=True)
    )
    down, across = difference.shape[0] // rows, difference.shape[1] // columns
    cut = difference[: down * rows, : across * columns].astype(np.float64) ** 2
    blocks = np.sqrt(cut.reshape(down, rows, across, columns).mean((1, 3)))
    return float(np.percentile(blocks, QUIET_PERCENT))


def _own_share(before: Float32Array, own: Float32Array, after: Float32Array) -> float:
    """Share of `own`'s energy that no mixture of its neighbours explains."""
    energy = _product(own, own)
    if energy == 0:
        return 1.0
    aa, ab, bb = _product(before, before), _product(before, after), _product(after, after)
    slack = 1e-6 * max(aa, bb, 1e-9)
    gram = np.array([[aa + slack, ab], [ab, bb + slack]])
    right = np.array([_product(before, own), _product(after, own)])
    explained = float((right * np.linalg.solve(gram, right)).sum())
    return max(0.0, 1 - explained / energy)


class PictureChange:
    """Takes pictures in their order; keeps the last few only, and a few numbers of each."""

    def __init__(self) -> None:
        self.changes = Changes()
        self._near: deque[Float32Array] = deque(maxlen=3)  # detail of the last pictures
        self._far: deque[Float32Array] = deque(maxlen=LAG + 1)

    def take(self, luma: UInt8Array) -> None:
        """Add the next picture, uint8 (height, width), a `working_copy`."""
        coarse = _coarse(luma.astype(np.float32))
        found = self.changes
        if self._near:
            difference = coarse - self._far[-1]
            found.step.append(_rms(difference))
            found.floor.append(_quietest(difference))
        else:
            found.step.append(float("nan"))
            found.floor.append(float("nan"))
        detail = _detail(luma)
        found.detail.append(_rms(detail))
        self._near.append(detail)
        self._far.append(coarse)
        found.far.append(_rms(coarse - self._far[0]) if len(self._far) > LAG else float("nan"))
        found.own.append(float("nan"))
        if len(self._near) == 3:
            found.own[-2] = _own_share(*self._near)


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
        Something moves around this picture, so that repeats can be seen.
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


def lesser_side(padded: FloatArray, reach: int) -> FloatArray:
    """Largest of `reach` values before and of as many after each value, whichever is less.

    `padded` has `reach` values more at each end than the result.
    """
    most = np.lib.stride_tricks.sliding_window_view(padded, reach).max(axis=1)
    return np.asarray(np.minimum(most[: -reach - 1], most[reach + 1 :]), np.float64)


def _steps_beside(step: FloatArray) -> FloatArray:
    """Largest step shortly before or shortly after, whichever is less: a cut is on one side.

    Beside the file's ends, where there are too few, the other side alone counts.
    """
    padded = np.pad(step, BESIDE, constant_values=np.inf)
    padded[BESIDE] = np.inf  # the first picture has no step
    beside = lesser_side(padded, BESIDE)
    return np.asarray(np.where(np.isinf(beside), 0.0, beside), np.float64)


def _dips(detail: FloatArray) -> BoolArray:
    """Pictures with less detail than ones shortly before and shortly after: doubled, so weaker."""
    return np.asarray(detail < DIP * lesser_side(np.pad(detail, DIP_REACH), DIP_REACH), np.bool_)


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
