"""The cells as bits: frame number, the clip's identity, and which hold cell is lit (FORMAT.md).

The number is a reflected Gray code (F. Gray, US patent 2 632 058, 1953) with check cells that
keep a mixture of two frames up to eight apart from reading as a third frame. The identity is
the same in every frame; all of it is XORed with a pattern, so that its row is never all black.

The row of hold cells of a clip at p/q frames a second (x1000/1001 rates count as their whole
neighbour) has the largest divisor of p from 12 to 30 as its number of cells; a p below 12 is first
taken in multiples. Then any q seconds hold whole rounds of the row, so that each cell is lit
equally often in a photo of such an exposure.
"""

from __future__ import annotations

from binascii import crc_hqx
from fractions import Fraction
from functools import lru_cache, reduce
from math import ceil
from operator import xor
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import BoolArray, FloatingArray, UInt32Array

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


def ungray(code: int) -> int:
    """Return the number of a reflected Gray code of up to 16 bits."""
    for shift in (8, 4, 2, 1):
        code ^= code >> shift
    return code


def number_word(number: int) -> int:
    """Word of 28 bits for a frame number, 0 to 65535: Gray bits above, check cells below."""
    code = number ^ number >> 1
    columns = (column for k, column in enumerate(CHECK_COLUMNS) if code >> k & 1)
    return code << CHECK_BITS | reduce(xor, columns, CHECK_OFFSET)


def number_words(numbers: npt.ArrayLike) -> UInt32Array:
    """The same of frame numbers of any shape, quickly."""
    n = np.asarray(numbers, np.uint32)
    codes = n ^ (n >> np.uint32(1))
    checks = np.full_like(codes, CHECK_OFFSET)
    for k, column in enumerate(CHECK_COLUMNS):
        checks ^= ((codes >> np.uint32(k)) & np.uint32(1)) * np.uint32(column)
    return np.asarray((codes << np.uint32(CHECK_BITS)) | checks, np.uint32)


def word_bits(word: int) -> BoolArray:
    """Cells of a word in the order in which they are drawn, first cell = highest bit."""
    shifts = np.arange(NUMBER_CELLS - 1, -1, -1)
    return np.asarray((word >> shifts) & 1 == 1, np.bool_)


def word_of(bits: BoolArray) -> int:
    """Word of cells in the order in which they are drawn."""
    return words_of(bits[np.newaxis])[0]


def words_of(bits: BoolArray) -> list[int]:
    """The same of several rows of cells, (rows, cells)."""
    beyond = -bits.shape[1] % 8  # bits that fill the last byte
    return [int.from_bytes(row, "big") >> beyond for row in np.packbits(bits, axis=1)]


class Word(NamedTuple):
    """What the number cells say."""

    number: int  # the frame seen, or the earlier one of a mixture
    later: int | None  # None, or the frame after it that is mixed in
    share: float  # share of the later frame in a mixture, 0 to 1, in code values; 0 for one frame
    margin: float  # distance of the least sure cell from the middle, 0 to 1 (1: all cells pure)


def _single(word: int, margin: float) -> Word | None:
    number = ungray(word >> CHECK_BITS)
    return Word(number, None, 0.0, margin) if number_word(number) == word else None


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
    """A neighbour that shines through: cells in which the two differ lean more than all others."""
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


def read_words(levels: FloatingArray) -> list[Word | str]:
    """Read the number cells of pictures from their levels.

    `levels`: (pictures, 28) in the drawn order: 0 is the black, 1 the white of the references
    nearby. Of each one frame, a mixture of two neighbours, or the reason why it is neither. Never a
    guess: a word must agree with all its check cells.
    """
    lit = levels > 0.5
    grey = (levels > GREY[0]) & (levels < GREY[1])
    margins = np.clip(np.abs(levels - 0.5).min(axis=1) * 2, 0, 1).tolist()
    leaning = (np.abs(levels - lit).max(axis=1) > FAINT).tolist()
    few = (grey.sum(axis=1) <= MAX_GREY).tolist()
    found: list[Word | str] = []
    for k, word in enumerate(words_of(lit)):
        if not few[k]:
            found.append(_mixture(word, levels[k], grey[k]))
            continue
        single = _single(word, margins[k])
        faint = _faint(single, levels[k]) if single and leaning[k] else None
        found.append(faint or single or "number cells do not agree with their check cells")
    return found


def _mixture(word: int, levels: FloatingArray, grey: BoolArray) -> Word | str:
    number = ungray(word >> CHECK_BITS)
    pairs = [n for n in (number - 1, number) if 0 <= n < (1 << NUMBER_BITS) - 1]
    blends = [blend for earlier in pairs if (blend := _blend(earlier, levels, grey))]
    if len(blends) == 1:
        return blends[0]
    return "number cells are neither black nor white and fit no mixture of two neighbours"


LAYOUT_VERSION = 1
VERSION_BITS, NUMERATOR_BITS, DENOMINATOR_BITS, CLIP_BITS, CRC_BITS = 3, 19, 10, 16, 16
IDENTITY_CELLS = VERSION_BITS + NUMERATOR_BITS + DENOMINATOR_BITS + CLIP_BITS + CRC_BITS
MASK = 0x5A69_C396_A53C_9669


class Identity(NamedTuple):
    """What the identity cells say."""

    version: int  # layout version, 1 to 7
    rate: Fraction  # frames a second
    rate_exact: bool  # False if the clip's rate did not fit and `rate` is rounded to 1/1000 Hz
    clip: int  # the clip's 16-bit identity

    @classmethod
    def of(cls, rate: Fraction, clip: int) -> Identity:
        """Identity to write for a clip: its rate as exact as the cells allow."""
        fits = rate.numerator < 1 << NUMERATOR_BITS and rate.denominator < 1 << DENOMINATOR_BITS
        written = rate if fits else Fraction(round(rate * 1000), 1000)
        return cls(LAYOUT_VERSION, written, fits, clip)


def crc16(data: bytes) -> int:
    """CRC-16/IBM-3740: polynomial 1021, initial FFFF, not reflected; 29B1 for '123456789'."""
    return crc_hqx(data, 0xFFFF)


def identity_bits(identity: Identity) -> BoolArray:
    """Identity cells in the order in which they are drawn, (64,)."""
    if identity.rate_exact:
        numerator, denominator = identity.rate.numerator, identity.rate.denominator
    else:
        numerator, denominator = round(identity.rate * 1000), 0
    value = identity.version
    value = value << NUMERATOR_BITS | numerator
    value = value << DENOMINATOR_BITS | denominator
    value = value << CLIP_BITS | identity.clip
    value = value << CRC_BITS | crc16(value.to_bytes(6, "big"))
    text = f"{value ^ MASK:0{IDENTITY_CELLS}b}"
    return np.array([digit == "1" for digit in text], np.bool_)


def read_identity(bits: npt.ArrayLike) -> Identity | None:
    """Identity from 64 cells in the drawn order; None if the check or a field says no."""
    return _identity_of(word_of(np.asarray(bits, bool)) ^ MASK)


@lru_cache(maxsize=32)  # it is the same in each picture that is read
def _identity_of(value: int) -> Identity | None:
    body, crc = value >> CRC_BITS, value & 0xFFFF
    if crc16(body.to_bytes(6, "big")) != crc:
        return None
    clip = body & 0xFFFF
    denominator = body >> CLIP_BITS & (1 << DENOMINATOR_BITS) - 1
    numerator = body >> CLIP_BITS + DENOMINATOR_BITS & (1 << NUMERATOR_BITS) - 1
    version = body >> CLIP_BITS + DENOMINATOR_BITS + NUMERATOR_BITS
    if version != LAYOUT_VERSION or numerator == 0:
        return None
    rate = Fraction(numerator, denominator or 1000)
    return Identity(version, rate, denominator != 0, clip)


FEWEST, MOST, USUAL = 12, 30, 24  # hold cells
NTSC_DENOMINATOR = 1001


class HoldRow(NamedTuple):
    """The hold row of one rate."""

    cells: int  # how many; cell n mod `cells` is lit in frame n
    # whole seconds over which the cells are lit equally often (to one part in a thousand for
    # x1000/1001 rates), or None if there are none
    even_over_s: int | None


@lru_cache(maxsize=32)  # asked for each picture that is read
def hold_row(rate: Fraction) -> HoldRow:
    """Hold row of a clip at `rate` frames a second."""
    whole = rate * NTSC_DENOMINATOR / 1000
    near = rate.denominator == NTSC_DENOMINATOR and whole.denominator == 1
    nominal = whole if near else rate
    rounds = ceil(Fraction(FEWEST, nominal.numerator))
    frames = rounds * nominal.numerator
    for cells in range(MOST, FEWEST - 1, -1):
        if frames % cells == 0:
            return HoldRow(cells, rounds * nominal.denominator)
    return HoldRow(USUAL, None)
