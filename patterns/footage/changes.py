"""How much each picture differs from others, and what that says of it alone.

Measured on a working copy, about 400 pixels along:

- `step`: RMS difference to the picture before, in codes, less a change of brightness; of a coarse
  copy, in which grain averages out and motion is small, so that the difference grows with it.
- `floor`: the same as `step` in the quietest places of the picture: what grain alone gives.
- `wide`: the same as `step`, reached in a quarter of the places: a title or a counter that changes
  is no cut, however bright.
- `far`: the same as `step` to the picture eight before.
- `advance`: share of the change from two pictures before to the one after that comes with this
  picture, times three: 1 where motion is even, 0 of a repeat, 1.5 after a gap. By least squares
  on the coarse copies, so that grain, new in each picture, adds nothing to it.
- `across`: that change itself, RMS in codes.
- `apart`: energies of four weighted sums of this picture and those before, halved to 200 pixels
  along, by weights that are the first, third with first, fifth and sixth differences: squared
  codes that white noise of one code squared gives as 1. Where pictures were repeated, woven or
  mixed, one of them is next to nothing once in a period, whatever moves.
- `combed`: lines beside lines over lines beside their next but one, squared: above 1 the two
  fields show two moments. NaN where it was not looked at.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

import numpy as np

from patterns.picture.arrays import BoolArray, Float32Array, FloatArray, UInt8Array

NAN = float("nan")
QUIET_PERCENT = 4  # of the places are taken to be still
WIDE_PERCENT = 75  # of the places: less than a cut changes, bars above and below left out
LAG = 8  # pictures apart, for the slowest motion that differs from stillness
REACH = 15  # pictures to each side that a picture is compared with
BESIDE = 5  # pictures before, and after, among which there must be a step to call one little
NOTHING = 0.04  # of it: two decoded copies of a picture; stops in real moves measure 0.07
GOES_ON = 2 / 3  # of the largest step beside copies, that each is at least: half before a stop
FROZEN_CODES = 0.2  # of a step, that coding leaves of none
# of the detail, that they are too: coding copied a picture of a move of 0.1 pixels, 0.15
PLAIN = 0.3
GRAINY = 0.5  # of the local motion, above which grain hides a repeat
STILL = 0.35  # of the detail, that eight pictures apart differ by, below which nothing moves
STILL_CODES = 0.5
# of a picture and of those before it, in turn: the sums that `apart` measures
WEIGHTS = ((1, -1), (1, -2, 2, -1), (1, -5, 10, -10, 5, -1), (1, -6, 15, -20, 15, -6, 1))
SMOOTH = 0.3  # energy of sixth over first differences, of pictures much as between those beside
UNEVEN = 0.25  # spread of `advance` that is half of what a gap makes
ACROSS = 0.8  # codes of change over three steps, from which shares of it are known
CUT, CUT_CODES = 2.5, 6.0  # times the largest step around, and codes, from which a step is a cut


@dataclass
class Changes:
    """Measures of all pictures; the first has no step."""

    step: list[float] = field(default_factory=list)
    floor: list[float] = field(default_factory=list)
    wide: list[float] = field(default_factory=list)
    apart: list[tuple[float, ...]] = field(default_factory=list)
    detail: list[float] = field(default_factory=list)
    far: list[float] = field(default_factory=list)
    advance: list[float] = field(default_factory=list)
    across: list[float] = field(default_factory=list)
    combed: list[float] = field(default_factory=list)


class PictureChange:
    """Takes pictures in their order; keeps the last few only, and a few numbers of each."""

    def __init__(self) -> None:
        self.changes = Changes()
        self._orders: list[Float32Array] = []  # differences that end with the last picture
        self._far: deque[Float32Array] = deque(maxlen=LAG + 1)

    def take(self, luma: UInt8Array, combed: float = 0.0) -> None:
        """Add the next picture, uint8 (height, width), a `working_copy`."""
        before, self._orders = self._orders, _orders(luma, self._orders)
        coarse = _halved(self._orders[0]) * np.float32(1 / 16)
        found = self.changes
        difference = coarse - self._far[-1] if self._far else None
        found.step.append(NAN if difference is None else _rms(difference))
        floor, wide = (NAN, NAN) if difference is None else _in_places(difference)
        found.floor.append(floor)
        found.wide.append(wide)
        found.detail.append(_rms(_detail(luma)))
        found.combed.append(combed)
        self._far.append(coarse)
        found.far.append(_rms(coarse - self._far[0]) if len(self._far) > LAG else NAN)
        found.advance.append(NAN)
        found.across.append(0.0)
        if len(self._far) > 3:
            found.advance[-2], found.across[-2] = _advance(*list(self._far)[-4:])
        found.apart.append(_apart(self._orders, before))


def _halved(picture: Float32Array) -> Float32Array:
    """Sums of 2 x 2 pixels."""
    rows, columns = (side // 2 * 2 for side in picture.shape)
    across = picture[:rows, 0:columns:2] + picture[:rows, 1:columns:2]
    return np.asarray(across[::2] + across[1::2], np.float32)


def _detail(luma: UInt8Array) -> Float32Array:
    """Picture less its own mean over 5 x 5 pixels, the edge left out."""
    codes = luma.astype(np.uint16)
    down = codes[:-4] + codes[1:-3] + codes[2:-2] + codes[3:-1] + codes[4:]
    total = down[:, :-4] + down[:, 1:-3] + down[:, 2:-2] + down[:, 3:-1] + down[:, 4:]
    return np.asarray(luma[2:-2, 2:-2] - total * np.float32(1 / 25), np.float32)


def product(a: Float32Array, b: Float32Array) -> float:
    """Sum of products."""
    # no matrix product: for arrays this small it would start threads that only wait
    return float(np.einsum("ij,ij->", a, b))


def _rms(difference: Float32Array) -> float:
    """RMS about the mean, so that a change of brightness alone is none."""
    return float(difference.std(dtype=np.float64))


def _in_places(difference: Float32Array) -> tuple[float, float]:
    """RMS of a difference in the quietest places of about 16 by 9, and what a quarter reach."""
    rows, columns = (
        max(1, side // parts) for side, parts in zip(difference.shape, (9, 16), strict=True)
    )
    down, across = difference.shape[0] // rows, difference.shape[1] // columns
    cut = difference[: down * rows, : across * columns].astype(np.float64) ** 2
    blocks = np.sqrt(cut.reshape(down, rows, across, columns).mean((1, 3)))
    quiet, wide = np.percentile(blocks, (QUIET_PERCENT, WIDE_PERCENT))
    return float(quiet), float(wide)


def _advance(
    first: Float32Array, before: Float32Array, own: Float32Array, after: Float32Array
) -> tuple[float, float]:
    """What of the change from `first` to `after` comes with `own`, times 3; and that change."""
    step, whole = own - before, after - first
    step, whole = step - step.mean(), whole - whole.mean()
    energy = product(whole, whole)
    return 3 * product(step, whole) / max(1e-6, energy), float(np.sqrt(energy / whole.size))


def _orders(luma: UInt8Array, before: list[Float32Array]) -> list[Float32Array]:
    """Sums of 2 x 2 pixels and their finite differences to the pictures before, by order."""
    orders = [_halved(luma.astype(np.float32))]
    for earlier in before[: len(WEIGHTS[-1]) - 1]:
        orders.append(orders[-1] - earlier)
    return orders


def _apart(orders: list[Float32Array], before: list[Float32Array]) -> tuple[float, ...]:
    """Energies of the sums by `WEIGHTS`, NaN where too few pictures came before."""
    sums = [orders[1:2], orders[3:4], orders[5:6], orders[6:7]]
    if sums[1]:
        sums[1] = [orders[3] + before[1]]
    return tuple(
        product(one[0], one[0]) / (16 * one[0].size * sum(w * w for w in weights)) if one else NAN
        for one, weights in zip(sums, WEIGHTS, strict=True)
    )


@dataclass(frozen=True)
class Marks:
    """What each picture is by itself; bool arrays of the file's length.

    Attributes
    ----------
    moving
        Something moves around this picture, so that repeats can be seen.
    noisy
        It moves, but grain is as strong as the motion: nothing is said.
    copies
        Next to nothing is left of the difference, in motion that goes on before and after.
    cuts
        A shot begins.
    steady
        `advance` is of one shot, and of motion enough.
    """

    moving: BoolArray
    noisy: BoolArray
    copies: BoolArray
    cuts: BoolArray
    steady: BoolArray


def mark(changes: Changes) -> Marks:
    """Marks of all pictures."""
    step = np.nan_to_num(np.array(changes.step))
    cuts = _stands_out(step) & _stands_out(np.nan_to_num(np.array(changes.wide)))
    measures = np.array([changes.step, changes.floor, changes.far, changes.detail])
    shots = [_moves(*shot) for shot in np.split(measures, np.flatnonzero(cuts), axis=1)]
    moving, noisy, copies = np.concatenate(shots, axis=1)
    near_cuts = np.convolve(np.pad(cuts, 2), np.ones(5), "valid") > 0  # of any count of pictures
    steady = ~np.isnan(changes.advance) & (np.array(changes.across) > ACROSS) & ~near_cuts
    return Marks(moving, noisy, copies, cuts, steady)


def _moves(
    step: FloatArray, floor: FloatArray, far: FloatArray, detail: FloatArray
) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Marks `moving`, `noisy` and `copies` of one shot: a change across a cut is no motion."""
    step, floor, far = step.copy(), floor.copy(), far.copy()
    step[:1], floor[:1], far[:LAG] = 0.0, NAN, NAN
    moved = _local(far, 50)
    moving = (moved > STILL * _local(detail, 50)) & (moved > STILL_CODES)
    noisy = moving & (_local(floor, 50) > GRAINY * _local(step, 75))
    moving &= ~noisy
    return moving, noisy, _copies(step, moving, detail)


def _copies(step: FloatArray, moving: BoolArray, detail: FloatArray) -> BoolArray:
    """Pictures that are the same as the one before, in motion that goes on.

    A move that slows down may stop for a picture, and coding leaves out what changes very little,
    above all behind a cut: the two steps before and the two after must be alike, and of motion
    that is not too slow. Only the first one after may be larger, where frames were lost meanwhile.
    """
    little = moving & (step < NOTHING * beside(step))
    found = np.zeros_like(little)
    turns = np.flatnonzero(np.diff(little, prepend=False, append=False))
    for first, end in turns.reshape(-1, 2):
        if first > 2 and end + 1 < len(step):
            steady = step[[first - 2, first - 1, end + 1]]
            least = max(GOES_ON * steady.max(), PLAIN * detail[first])
            found[first:end] = min(*steady, step[end]) > least
    return found


def hidden(changes: Changes, marks: Marks, *, coarse: bool) -> str:
    """What cannot be told of a rhythm that is not seen: 'all', 'gaps' or ''.

    `coarse`: next to nothing is spent on a pixel: where also each picture adds little to those
    beside it, coding has drawn it from them.
    """
    first, *_, sixth = np.array(changes.apart).T[:, len(WEIGHTS[-1]) :]
    if coarse and first.size and np.median(sixth) < SMOOTH * np.median(first):
        return "all"
    advance = np.array(changes.advance)[marks.steady]
    middle = np.median(advance) if advance.size else 0.0
    spread = 1.4826 * np.median(np.abs(advance - middle)) if advance.size else 0.0
    return "gaps" if spread > UNEVEN else ""


def freezes(step: FloatArray, cuts: BoolArray) -> tuple[tuple[int, int], ...]:
    """First picture and count of more than five that are the same, amid motion of one shot.

    The two steps before and the two after are alike: a move that comes to rest is none.
    """
    found = []
    turns = np.flatnonzero(np.diff(step < FROZEN_CODES, prepend=False, append=False))
    for first, end in turns.reshape(-1, 2):
        around = np.r_[step[max(0, first - 2) : first], step[end : end + 2]]
        one_shot = not cuts[max(0, first - 2) : end + 2].any()
        if end - first >= BESIDE and around.size == 4 and one_shot and first > 2:
            most = float(around.max())
            if around.min() > GOES_ON * most and step[first:end].max() < NOTHING * most:
                found.append((int(first) - 1, int(end - first) + 1))
    return tuple(found)


def _stands_out(step: FloatArray) -> BoolArray:
    """Where a step is far above all others shortly before and after."""
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(step, BESIDE), 2 * BESIDE + 1)
    others = np.delete(windows, BESIDE, axis=1).max(axis=1)
    return np.asarray((step > CUT * others) & (step > CUT_CODES))


def _local(values: FloatArray, percent: float) -> FloatArray:
    """Percentile over the pictures nearby; NaN values do not count."""
    padded = np.pad(values, REACH, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * REACH + 1)
    with np.errstate(all="ignore"):
        filled = np.where(np.isnan(windows).all(axis=1, keepdims=True), 0.0, windows)
        return np.asarray(np.nanpercentile(filled, percent, axis=1), np.float64)


def beside(step: FloatArray) -> FloatArray:
    """Largest step shortly before or shortly after, whichever is less: next to one is a stop.

    The first picture has no step. Where one side has fewer than two, the other alone counts.
    """
    padded = np.pad(step[1:], (BESIDE + 1, BESIDE), constant_values=-np.inf)
    windows = np.lib.stride_tricks.sliding_window_view(padded, BESIDE)
    known = np.isfinite(windows).sum(axis=1) >= 2
    most = np.where(known, windows.max(axis=1), np.inf)
    lesser = np.minimum(most[: -BESIDE - 1], most[BESIDE + 1 :])
    return np.asarray(np.where(np.isinf(lesser), 0.0, lesser), np.float64)
