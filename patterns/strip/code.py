"""The frame number as cells: reflected Gray code with check bits made for mixtures.

Sixteen cells hold g = n XOR n>>1, so that neighbours differ in one of them; twelve more
hold c = H g XOR K. Column k of H says which check cells turn over with Gray cell k.

Cells caught between two frames n and n + d may read either way, each by itself. Let D
be the Gray cells in which the two frames differ and X the part of D that reads as the
later frame. The reading passes as a third frame only if H X lies inside H D, the check
cells that differ too. For d = 1, D has one cell and there is no third frame: that is the
Gray code's gift. For d = 2 to 8 the columns below were searched for (greedily over all
words of weight 5 and 7, in a shuffled order) so that for every split of D into two parts
the two syndromes share a check cell: then H X never lies inside H D. Every word also
differs from every other in at least six cells, and no column covers another.

Gray code: F. Gray, US patent 2 632 058 (1953).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import BoolArray, FloatingArray, UInt32Array

__all__ = [
    "CHECK_BITS",
    "CHECK_COLUMNS",
    "CHECK_OFFSET",
    "NUMBER_BITS",
    "NUMBER_CELLS",
    "Word",
    "gray",
    "number_word",
    "number_words",
    "read_levels",
    "ungray",
    "word_bits",
]

NUMBER_BITS, CHECK_BITS = 16, 12
NUMBER_CELLS = NUMBER_BITS + CHECK_BITS
# Check cells that turn over with Gray cell k (k = 0 is the fastest); bit 11 is drawn first.
CHECK_COLUMNS = (
    0xC31, 0x557, 0x616, 0x50D, 0x7E8, 0x5A4, 0xBA3, 0xFB0,
    0xE18, 0x354, 0x338, 0x163, 0x95E, 0x3D3, 0x8D2, 0x727,
)  # fmt: skip
CHECK_OFFSET = 0x69A  # so that neither an all-black nor an all-white row is a number

GREY = (0.3, 0.7)  # levels between these are neither black nor white
MAX_GREY = 2  # grey cells that a single number may have: a blend of neighbours has six or more
FAINT = 0.03  # by how much the cells of a faint blend must lean more than all others
SHARE_SPREAD = 0.25  # how far one cell's share of a blend may lie from the others' mean


def gray(number: int) -> int:
    """Reflected Gray code of a number."""
    return number ^ (number >> 1)


def ungray(code: int) -> int:
    """Return the number of a reflected Gray code of up to 16 bits."""
    for shift in (8, 4, 2, 1):
        code ^= code >> shift
    return code


def number_words(numbers: npt.ArrayLike) -> UInt32Array:
    """Words of 28 bits for frame numbers 0 to 65535, any shape: Gray bits above, check below."""
    n = np.asarray(numbers, np.uint32)
    codes = n ^ (n >> np.uint32(1))
    checks = np.full_like(codes, CHECK_OFFSET)
    for k, column in enumerate(CHECK_COLUMNS):
        checks ^= ((codes >> np.uint32(k)) & np.uint32(1)) * np.uint32(column)
    return np.asarray((codes << np.uint32(CHECK_BITS)) | checks, np.uint32)


@cache
def _words() -> UInt32Array:
    return number_words(np.arange(1 << NUMBER_BITS))


def number_word(number: int) -> int:
    """Word of one frame number, 0 to 65535."""
    return int(_words()[number])


def word_bits(word: int) -> BoolArray:
    """Cells of a word in the order in which they are drawn, first cell = highest bit."""
    shifts = np.arange(NUMBER_CELLS - 1, -1, -1)
    return np.asarray((word >> shifts) & 1 == 1, np.bool_)


@dataclass(frozen=True)
class Word:
    """What the number cells say.

    Attributes
    ----------
    number
        The frame seen, or the earlier one of a mixture.
    later
        None, or the frame after it that is mixed in.
    share
        Share of the later frame in a mixture, 0 to 1, in code values; 0 for one frame.
    margin
        Distance of the least sure cell from the middle, 0 to 1 (1: all cells pure).
    """

    number: int
    later: int | None
    share: float
    margin: float


def _hard_word(levels: FloatingArray) -> int:
    word = 0
    for bit in levels > 0.5:
        word = word << 1 | int(bit)
    return word


def _single(word: int, levels: FloatingArray) -> Word | None:
    number = ungray(word >> CHECK_BITS)
    if number_word(number) != word:
        return None
    return Word(number, None, 0.0, float(np.clip(np.abs(levels - 0.5).min() * 2, 0, 1)))


def _blend(earlier: int, levels: FloatingArray, grey: BoolArray) -> Word | None:
    """Read the cells as an even blend of `earlier` and the frame after it, or None."""
    before = word_bits(number_word(earlier))
    after = word_bits(number_word(earlier + 1))
    differ = before != after
    if (grey & ~differ).any() or ((levels > 0.5) != before)[~differ].any():
        return None
    shares = np.where(after, levels, 1 - levels)[differ]
    share = float(shares.mean())
    if np.abs(shares - share).max() > SHARE_SPREAD:
        return None
    sure = np.abs(levels[~differ] - 0.5).min() * 2
    return Word(earlier, earlier + 1, share, float(np.clip(sure, 0, 1)))


def _faint(word: Word, levels: FloatingArray) -> Word | None:
    """See whether a neighbour shines through a frame that reads cleanly.

    It does if every cell in which the two differ leans towards the other side by more
    than any of the cells in which they agree.
    """
    leans = np.abs(levels - (levels > 0.5))
    for earlier in (word.number - 1, word.number):
        if not 0 <= earlier < (1 << NUMBER_BITS) - 1:
            continue
        differ = word_bits(number_word(earlier) ^ number_word(earlier + 1))
        if leans[differ].min() > leans[~differ].max() + FAINT:
            lean = float(leans[differ].mean())
            share = lean if earlier == word.number else 1 - lean
            return Word(earlier, earlier + 1, share, word.margin)
    return None


def read_levels(levels: npt.ArrayLike) -> Word | str:
    """Read the number cells from their levels.

    Parameters
    ----------
    levels
        (28,) in the drawn order: 0 is the black, 1 the white of the references nearby.

    Returns
    -------
    Word or str
        One frame, a mixture of two neighbours, or the reason why it is neither. Never a
        guess: a word must agree with all its check cells.
    """
    found = np.asarray(levels, np.float64)
    grey = (found > GREY[0]) & (found < GREY[1])
    word = _hard_word(found)
    if grey.sum() <= MAX_GREY:
        single = _single(word, found)
        if single is None:
            return "number cells do not agree with their check cells"
        return _faint(single, found) or single
    number = ungray(word >> CHECK_BITS)
    blends = [
        blend
        for earlier in (number - 1, number)
        if 0 <= earlier < (1 << NUMBER_BITS) - 1 and (blend := _blend(earlier, found, grey))
    ]
    if len(blends) == 1:
        return blends[0]
    return "number cells are neither black nor white and fit no mixture of two neighbours"
