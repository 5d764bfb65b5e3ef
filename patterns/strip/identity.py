"""The identity cells: what clip this is and how fast it was meant to run.

64 cells, the same in every frame: layout version (3 bits), rate numerator (19) and
denominator (10), clip identity (16), then CRC-16/IBM-3740 of those six bytes. A rate
whose fraction does not fit has denominator 0, and the numerator is the rate in
millihertz, rounded. All of it is XORed with a fixed pattern, so that the row is neither
all black nor all white whatever it holds.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import BoolArray

__all__ = [
    "IDENTITY_CELLS",
    "LAYOUT_VERSION",
    "Identity",
    "crc16",
    "identity_bits",
    "read_identity",
]

LAYOUT_VERSION = 1
VERSION_BITS, NUMERATOR_BITS, DENOMINATOR_BITS, CLIP_BITS, CRC_BITS = 3, 19, 10, 16, 16
IDENTITY_CELLS = VERSION_BITS + NUMERATOR_BITS + DENOMINATOR_BITS + CLIP_BITS + CRC_BITS
MASK = 0x5A69_C396_A53C_9669


@dataclass(frozen=True)
class Identity:
    """What the identity cells say.

    Attributes
    ----------
    version
        Layout version, 1 to 7.
    rate
        Frames a second.
    rate_exact
        False if the clip's rate did not fit and `rate` is rounded to 1/1000 Hz.
    clip
        The clip's 16-bit identity.
    """

    version: int
    rate: Fraction
    rate_exact: bool
    clip: int

    @classmethod
    def of(cls, rate: Fraction, clip: int) -> Identity:
        """Identity to write for a clip: its rate as exact as the cells allow."""
        fits = rate.numerator < 1 << NUMERATOR_BITS and rate.denominator < 1 << DENOMINATOR_BITS
        written = rate if fits else Fraction(round(rate * 1000), 1000)
        return cls(LAYOUT_VERSION, written, fits, clip)


def crc16(data: bytes) -> int:
    """CRC-16/IBM-3740: polynomial 1021, initial FFFF, not reflected; 29B1 for '123456789'."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ (0x1021 if crc & 0x8000 else 0)) & 0xFFFF
    return crc


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
    text = "".join("1" if bit else "0" for bit in np.asarray(bits, bool))
    value = int(text, 2) ^ MASK
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
