"""From the light of the cells to a frame number, or to a mixture of two frames (READING.md).

Frames that are no neighbours are mixed only near a number read before.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from patterns.picture.arrays import BoolArray, FloatArray
from patterns.strip.code import (
    CHECK_BITS,
    NUMBER_BITS,
    Word,
    number_word,
    ungray,
    word_bits,
    word_of,
)

IN_TRANSITION = "in transition between frames"
CODE_FAILED = "code check failed"
HOLD_CONTRADICTS = "the hold row contradicts the number"
GREY = (0.25, 0.75)  # light levels between these are neither black nor white
HOLD_LIT, HOLD_DARK = 0.5, 0.3
THIRD = 0.15  # of the light may come from a third frame before a reading is refused
SPREAD = 0.3  # how far shares of one mixture may disagree
HOLD_SPREAD = 0.22
SURE = 0.15  # cells outside a mixture must lie so far from the middle
LEAST_MARGIN = 0.4  # of a frame read before the length of the hold row is known
LEAST_ROWS = 24  # picture rows that the cells of a divided strip must lie apart
CLEAR_CELLS = 0.35
FAINT = 0.08  # a neighbour that lends less light than this is not reported
BEFORE, AFTER = 1, 10  # frames around the last number, among which distant mixtures are looked for
NO_LIGHT = 0.1  # of the hold cells of frames that are not on screen
SOME_LIGHT = 0.2  # of those that surely are
WHOLE = 0.7  # of one frame's light in the hold row: less is a backlight's pause


class Cells(NamedTuple):
    """Light levels (0 black, 1 white) and picture rows of the number and the hold cells."""

    number: FloatArray
    number_rows: FloatArray
    hold: FloatArray
    hold_rows: FloatArray


def decode(cells: Cells, last: int | None = None) -> Word | str:
    """Frame or mixture that the cells show, or why there is none; two distant ones near `last`."""
    levels = cells.number
    if np.isnan(levels).any() or np.isnan(cells.hold).any():
        return "the strip is not wholly in view"
    lit = levels > 0.5
    word = word_of(lit)
    number = ungray(word >> CHECK_BITS)
    agreed = number_word(number) == word
    if agreed:
        single = _single(number, lit, cells)
        if single is not None:
            return single
    mixtures = [m for k in range(NUMBER_BITS) if (m := _mixture(k, lit, cells)) is not None]
    if len(mixtures) == 1:
        return mixtures[0]
    distant = None if mixtures or last is None else _distant(last, lit, cells)
    if distant is not None:
        return distant
    if agreed and np.abs(levels - 0.5).min() > CLEAR_CELLS:
        return HOLD_CONTRADICTS
    grey = int(((levels > GREY[0]) & (levels < GREY[1])).sum())
    held = int((cells.hold > GREY[0]).sum())
    return IN_TRANSITION if grey > 2 or held > 1 else CODE_FAILED


def _single(number: int, lit: BoolArray, cells: Cells) -> Word | None:
    """Read as one frame, or with its faint neighbour; None if the hold row speaks against it."""
    lean = np.abs(cells.number - lit)
    margin = float(np.clip(1 - 2 * lean.max(), 0, 1))
    alone = Word(number, None, 0.0, margin)
    if not len(cells.hold):
        return alone if margin > LEAST_MARGIN else None
    lent = [_hold_light(number + side, cells) for side in (-1, 0, 1)]
    if lent[1] < HOLD_LIT or _others_lit(range(number - 1, number + 2), cells, HOLD_DARK):
        return None
    side = -1 if lent[0] > lent[2] else 1
    if min(lent[0], lent[2]) > THIRD:
        return None  # three frames at once
    part = _leaning(number, side, lean)
    other = lent[1 + side]
    if part is None or other < FAINT:
        return alone if other < HOLD_DARK else None
    if abs(other - part) > HOLD_SPREAD:
        return None
    share = part if side > 0 else 1 - part  # of the later frame
    return Word(number + min(side, 0), number + max(side, 0), share, margin)


def _hold_light(number: int, cells: Cells) -> float:
    return float(cells.hold[number % len(cells.hold)])


def _others_lit(numbers: range, cells: Cells, limit: float) -> bool:
    """Whether hold cells of other frames than `numbers` have more light than `limit`."""
    others = np.delete(cells.hold, [n % len(cells.hold) for n in numbers])
    return bool(others.max() > limit)


def _leaning(number: int, side: int, lean: FloatArray) -> float | None:
    """Part of the light that the neighbour at `side` gives, by the cells that differ from it."""
    if not 0 <= number + side < 1 << NUMBER_BITS:
        return None
    differ = word_bits(number_word(number) ^ number_word(number + side))
    part = float(lean[differ].mean())
    clear = part > FAINT + lean[~differ].mean() and lean[differ].min() > FAINT / 2
    return part if clear else None


def _mixture(k: int, lit: BoolArray, cells: Cells) -> Word | None:
    """Read as a mixture of two neighbours that differ in Gray cell k."""
    code = word_of(lit[:NUMBER_BITS])
    dark, bright = ungray(code & ~(1 << k)), ungray(code | 1 << k)
    earlier = min(dark, bright)
    if abs(dark - bright) != 1 or not len(cells.hold):
        return None
    if _others_lit(range(earlier, earlier + 2), cells, THIRD):
        return None
    return _both(earlier, earlier + 1, lit, cells)


def _distant(last: int, lit: BoolArray, cells: Cells) -> Word | None:
    """Read as a mixture of two frames near `last` that are no neighbours."""
    count = len(cells.hold)
    if not count or count <= BEFORE + AFTER:
        return None
    brightest = np.argsort(cells.hold)[-2:]
    if np.delete(cells.hold, brightest).max() > NO_LIGHT or cells.hold[brightest].min() < NO_LIGHT:
        return None
    start = max(0, last - BEFORE)
    earlier, later = sorted(start + (int(cell) - start) % count for cell in brightest)
    if later - earlier < 2 or later > last + AFTER or later >= 1 << NUMBER_BITS:
        return None
    return _both(earlier, later, lit, cells)


def hold_lit(cells: Cells) -> tuple[int, ...]:
    """Hold cells that surely show light; none unless all others surely show none."""
    if not len(cells.hold) or np.isnan(cells.hold).any():
        return ()
    lit = cells.hold >= SOME_LIGHT
    if cells.hold[~lit].max(initial=0) > NO_LIGHT or cells.hold[lit].sum() < WHOLE:
        return ()
    return tuple(np.flatnonzero(lit).tolist())


def _both(earlier: int, later: int, lit: BoolArray, cells: Cells) -> Word | None:
    """Read as a mixture of two frames; None if cells speak against it."""
    before, after = word_bits(number_word(earlier)), word_bits(number_word(later))
    turned = before != after
    agreed = np.abs(cells.number - 0.5)[~turned]
    if (lit != before)[~turned].any() or agreed.min() < SURE:
        return None
    margin = float(np.clip(2 * agreed.min(), 0, 1))
    shares = np.where(after, cells.number, 1 - cells.number)[turned]
    held = np.array([1 - _hold_light(earlier, cells), _hold_light(later, cells)])
    share = float(np.clip(shares.mean(), 0, 1))
    if np.abs(shares - share).max() < SPREAD and np.abs(held - share).max() < HOLD_SPREAD:
        return Word(earlier, later, share, margin)
    only = cells.number[turned & before], cells.number[turned & after]
    if (lifted := _lifted(*only, np.array([1 - held[0], held[1]]))) is not None:
        return Word(earlier, later, lifted, margin)
    if not (shares > 1 - SPREAD).any() or not (shares < SPREAD).any():
        return None  # the number cells must show both sides of a split themselves
    mine = [earlier % len(cells.hold), later % len(cells.hold)]
    rows = np.concatenate([cells.number_rows[turned], cells.hold_rows[mine]])
    divided = _divided(np.concatenate([shares, held]), rows)
    return Word(earlier, later, share, margin) if divided else None


def _lifted(going: FloatArray, coming: FloatArray, held: FloatArray) -> float | None:
    """Share of the later of two frames in an over-exposed picture; None if they do not agree.

    Where white is clipped the two frames' levels add up to more than one. Still all cells
    that only one of the two lights have the same level, in the number and in the hold row.
    """
    held = np.clip(held, 0, 1)
    # where no number cell belongs to one of the two alone, its hold cell speaks for it
    going, coming = (c if len(c) else held[i : i + 1] for i, c in enumerate((going, coming)))
    levels = np.clip([going.mean(), coming.mean()], 0, 1)
    spread = max(np.ptp(going), np.ptp(coming))
    off = np.abs(levels - held).max()
    if levels.sum() < 1 or spread > SPREAD or off > HOLD_SPREAD:
        return None
    return float(levels[1] / levels.sum())


def _divided(shares: FloatArray, rows: FloatArray) -> bool:
    """Whether the share of the later frame passes one half and only rises or falls by rows."""
    ordered, lower = shares[np.argsort(rows)], shares < 0.5
    if np.ptp(rows) < LEAST_ROWS or lower.all() or not lower.any():
        return False
    falls = [np.maximum.accumulate(s) - s for s in (ordered, ordered[::-1])]
    return bool(min(fall.max() for fall in falls) < SPREAD)
