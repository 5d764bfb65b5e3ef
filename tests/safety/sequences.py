"""Synthetic picture sequences for the checks, and what is asked of their reports."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

import numpy as np

from patterns.picture.arrays import UInt8Array
from patterns.picture.planes import Planes
from patterns.safety.check import FlashCheck
from patterns.safety.luminance import Reduced, Reducer, Shrunk
from patterns.safety.report import FlashFinding, SafetyReport, StripeFinding
from patterns.safety.viewing import Viewing

WIDTH, HEIGHT = 480, 270


def flat(code: int | tuple[int, int, int]) -> UInt8Array:
    """Picture of one colour."""
    picture = np.empty((HEIGHT, WIDTH, 3), np.uint8)
    picture[:] = code
    return picture


def patch(share_w: float, share_h: float, code: int, ground: int = 0) -> UInt8Array:
    """Rectangle in the upper left corner, its sides as shares of the picture's."""
    picture = flat(ground)
    picture[: round(HEIGHT * share_h), : round(WIDTH * share_w)] = code
    return picture


def squares(count: int, side: float, code: int = 255) -> UInt8Array:
    """As many squares as a square number, apart; sides as shares of the picture's."""
    picture, across = flat(0), round(count**0.5)

    def pixels(share: float, size: int) -> int:
        return round(share * size / 3) * 3  # whole cells of the check

    for n in range(count):
        y, x = ((k + 0.1) / across for k in divmod(n, across))
        top, left = pixels(y, HEIGHT), pixels(x, WIDTH)
        picture[top : top + pixels(side, HEIGHT), left : left + pixels(side, WIDTH)] = code
    return picture


def alternate(a: UInt8Array, b: UInt8Array, hold: int, count: int) -> list[UInt8Array]:
    """`count` frames, `hold` of a, `hold` of b, and so on."""
    return [a if (n // hold) % 2 == 0 else b for n in range(count)]


def run(
    pictures: Iterable[UInt8Array], rate: int | Fraction, viewing: Viewing | None = None
) -> SafetyReport:
    """Check pictures at a steady rate."""
    check = FlashCheck(WIDTH, HEIGHT, Fraction(rate), viewing)
    shrunk: dict[bytes, Shrunk] = {}  # each picture once, however often it is shown
    for n, picture in enumerate(pictures):
        key = picture.tobytes()
        if key not in shrunk:
            shrunk[key] = check.shrink(picture)
        check.see(n / Fraction(rate), shrunk[key])
    return check.report()


def reduced(reducer: Reducer, frame: Planes | UInt8Array) -> Reduced:
    """What the check looks at of one frame."""
    return reducer.reduce(reducer.shrink(frame))


def flash(report: SafetyReport, word: str) -> FlashFinding:
    """Finding whose criterion holds `word`."""
    return next(f for f in report.flashes if word in f.criterion)


def stripe(report: SafetyReport, word: str) -> StripeFinding:
    """Finding whose criterion holds `word`."""
    return next(s for s in report.stripes if word in s.criterion)


WCAG, BT1702 = "WCAG 2.2 general", "BT.1702 general"
WCAG_RED, BT1702_RED, OLDER = "WCAG 2.2 red", "BT.1702 red", "older"
