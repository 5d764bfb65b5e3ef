"""Frame and refresh rates as exact fractions, and how fast the trade pans at one.

The decimal names of the trade (23.976, 29.97, 59.94, ...) stand for exact x1000/1001 rates; ITU-R
BT.709 and BT.2100 list 24/1.001, 30/1.001, 60/1.001 and 120/1.001 beside the whole ones.

"A 7 s pan across the screen is considered the fast limit" at 24 frames a second: quoted
by Chapiro, Atkins and Daly, *A Luminance-aware Model of Judder Perception*, ACM TOG
38(5) (2019), section 4.1, from Burum (ed.), *American Cinematographer Manual* (2007).
Allowing other rates in proportion, 7 s x 24/rate, is a convention, not a measured law.
"""

from __future__ import annotations

import re
from fractions import Fraction
from math import atan, degrees

from patterns.errors import RequestError

MAX_RATE = Fraction(480)
USUAL_RATES = tuple(Fraction(rate) for rate in (24, 25, 30, 50, 60))  # compared unless others are

# Whole rates whose x1000/1001 neighbour has a decimal name in the trade.
_NTSC_BASES = (12, 15, 24, 30, 48, 60, 72, 90, 96, 100, 120, 144, 240, 480)


def _ntsc_names() -> dict[str, Fraction]:
    names: dict[str, Fraction] = {}
    for base in _NTSC_BASES:
        exact = Fraction(base * 1000, 1001)
        names |= {f"{float(exact):.{digits}f}": exact for digits in (2, 3, 4, 5, 6)}
        # cut instead of rounded, as 23.97 and 23.98 are both written
        names[f"{int(exact * 100) / 100:.2f}"] = exact
    return names


_NAMES = _ntsc_names()
_DECIMAL = re.compile(r"\d{1,9}(\.\d{1,12})?|\.\d{1,12}")
_RATIO = re.compile(r"(\d{1,9})\s*/\s*(\d{1,9})")


def parse_rate(
    text: str,
    *,
    what: str = "rate",
    maximum: Fraction = MAX_RATE,
    examples: str = "frames a second, such as 24, 23.976 or 24000/1001",
) -> Fraction:
    """Exact rate in hertz from ``24``, ``23.976``, ``12.5`` or ``24000/1001``.

    A decimal name of the trade (23.976, 23.98, 29.97, 59.94, ...) means the exact x1000/1001
    rate. `what` and `examples` are for the message of a `RequestError`: not a number, zero,
    negative, or above `maximum`, hertz.
    """
    wanted = text.strip()
    ratio = _RATIO.fullmatch(wanted)
    if wanted in _NAMES:
        rate = _NAMES[wanted]
    elif ratio and int(ratio[2]):
        rate = Fraction(int(ratio[1]), int(ratio[2]))
    elif _DECIMAL.fullmatch(wanted):
        rate = Fraction(wanted)
    else:
        raise RequestError(f"{what} {text!r} is not a {what}: give {examples}")
    if not Fraction(1, 10) <= rate <= maximum:
        raise RequestError(
            f"{what} {text!r} is outside 0.1 to {format_decimal(maximum)}: give {examples}"
        )
    return rate


def format_decimal(value: Fraction | float, digits: int = 3) -> str:
    """Shortest decimal of at most `digits` places: 24, 12.5, 23.976."""
    text = f"{float(value):.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def format_rate(rate: Fraction) -> str:
    """Rate for people, exact form added where the decimal is not: '23.976 (24000/1001)'."""
    short = format_decimal(rate)
    if Fraction(short) == rate:
        return short
    return f"{short} ({rate.numerator}/{rate.denominator})"


LIMIT_SECONDS = 7
REFERENCE_RATE = 24


def limit_cross_s(rate: Fraction) -> Fraction:
    """Shortest time to cross the picture's width that the guidance allows at `rate`, seconds."""
    return LIMIT_SECONDS * REFERENCE_RATE / rate


def limit_px_s(rate: Fraction, width: int) -> Fraction:
    """Fastest image speed that the guidance allows at `rate`, pixels a second."""
    return width / limit_cross_s(rate)


def beyond_guidance(times: float) -> str:
    """Words for a speed of so many times what the guidance allows, above 1."""
    by = f"{format_decimal(times, 1)} times" if times >= 1.1 else "just beyond"
    return f"{by} the guidance"


def arcmin(px: float, height: int, viewing_heights: Fraction) -> float:
    """Visual angle in minutes of arc of `px` pixels seen from a distance in picture heights."""
    return 60 * degrees(2 * atan(px / (2 * float(viewing_heights) * height)))
