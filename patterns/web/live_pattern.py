"""What the live page draws: bars and counting strip for exactly one canvas and refresh.

The server computes everything that has to be exact, with the same code that draws the
clips: the strip's cells and words, the still band as a picture, and the bars as a
picture one period wider than the canvas. The bars move a whole number of pixels a
refresh, so that the page only has to shift that picture: nothing is resampled.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np

from patterns.clip import Clip
from patterns.errors import RequestError
from patterns.picture.planes import Planes, picture_bytes, planes_to_rgb
from patterns.scenes.bars.motion import BarsMotion
from patterns.scenes.bars.pattern import BarsRenderer
from patterns.strip.code import NUMBER_BITS, NUMBER_CELLS, number_words
from patterns.strip.draw import BLACK, CLOCK_CHARACTERS, NUMBER_DIGITS, PAPER, TINT, StripDrawer
from patterns.strip.layout import Cell, StripLayout, strip_layout
from patterns.timing.rates import parse_rate
from patterns.timing.shutter import USUAL_ANGLE_DEG, exposure_of_angle

SCHEMA = "evenhold/live 1"
CROSSING_S = 7  # as the clips' bars
BARS, FAST_CROSSING_S = 4, 3  # a faster crossing gets a single bar: fewer changes a second
MOST_SIDE = 8192
MOST_REFRESH = Fraction(500)
SNAP = Fraction(1, 1000)  # how far a measured refresh may lie from the rate it stands for
_USUAL = tuple(
    Fraction(base * numerator, denominator)
    for base in (24, 25, 30, 48, 50, 60, 72, 75, 85, 90, 96, 100, 120, 144, 165, 240)
    for numerator, denominator in ((1, 1), (1000, 1001))
)


def snapped_refresh(text: str) -> Fraction:
    """Refresh in hertz that a measured one stands for: 59.9398 is 60000/1001.

    The nearest usual refresh within one part in a thousand, else the value to 1/1000 Hz.
    Raises `RequestError`: not a rate, or outside 0.1 to 500 Hz.
    """
    value = parse_rate(text, what="refresh", maximum=MOST_REFRESH)
    nearest = min(_USUAL, key=lambda usual: abs(usual - value))
    return nearest if abs(nearest - value) <= SNAP * value else Fraction(round(value * 1000), 1000)


@dataclass(frozen=True)
class LivePattern:
    """Bars and strip for one canvas."""

    clip: Clip  # the description: rate is the refresh, shutter 180 degrees
    step_px: int  # that the bars move in a refresh
    period_px: int  # from bar to bar

    @property
    def layout(self) -> StripLayout:
        """The strip's cells."""
        return strip_layout(self.clip.width, self.clip.height, self.clip.rate)

    def to_json(self) -> dict[str, Any]:
        """What the page needs to draw any frame; schema 'evenhold/live 1'."""
        layout = self.layout
        digits, number_left, clock_left, top = StripDrawer(self.clip).changing_figures
        return {
            "schema": SCHEMA,
            "width": self.clip.width,
            "height": self.clip.height,
            "rate": float(self.clip.rate),
            "rate_exact": str(self.clip.rate),
            "identity": self.clip.identity,
            "frames": 1 << NUMBER_BITS,
            "band_top": layout.band_rows("bottom")[0],
            "band_height": layout.band_height,
            "number": [_box(cell) for cell in layout.number],
            "hold": [_box(cell) for cell in layout.hold],
            "number_bits": NUMBER_CELLS,
            "figures": {
                "characters": CLOCK_CHARACTERS,
                "widths": [digits.width(character) for character in CLOCK_CHARACTERS],
                "height": digits.height,
                "top": top,
                "number_left": number_left,
                "number_digits": NUMBER_DIGITS,
                "clock_left": clock_left,
            },
            "step_px": self.step_px,
            "period_px": self.period_px,
            "crossing_s": float(self.clip.width / (self.step_px * self.clip.rate)),
        }

    def band_png(self) -> bytes:
        """Return the still band of the strip; cells that change are black."""
        frame = Planes.blank(self.clip.width, self.clip.height)
        StripDrawer(self.clip).draw(frame, 0)
        band = frame.rows(*self.layout.band_rows("bottom"))
        for cell in self.layout.number + self.layout.hold:
            band.y[cell.top : cell.bottom, cell.left : cell.right] = BLACK
        return picture_bytes(planes_to_rgb(band), ".png")

    def digits_png(self) -> bytes:
        """Return the changing figures side by side, in the order of ``figures.characters``."""
        digits = StripDrawer(self.clip).changing_figures[0]
        width = digits.width(CLOCK_CHARACTERS)
        sheet = Planes.blank(width + width % 2, digits.height + digits.height % 2)
        sheet.fill(PAPER, *TINT)
        digits.put(sheet.y, CLOCK_CHARACTERS, 0, 0)
        return picture_bytes(planes_to_rgb(sheet), ".png")

    def bars_png(self) -> bytes:
        """Return the bars of frame 0, two rows high and one period wider than the canvas."""
        width = self.clip.width + self.period_px + self.period_px % 2
        row = Planes.blank(width, 2)
        BarsRenderer(self.clip, width, 2).draw(0, row)
        return picture_bytes(planes_to_rgb(row), ".png")


def _box(cell: Cell) -> list[int]:
    return [cell.left, cell.top, cell.width, cell.height]


def live_pattern(width: int, height: int, refresh_hz: Fraction) -> LivePattern:
    """Pattern for a canvas of `width` x `height` pixels at `refresh_hz`.

    Raises `RequestError`: the canvas is odd-sided, too small for the strip, or too large.
    """
    if not (0 < width <= MOST_SIDE and 0 < height <= MOST_SIDE):
        raise RequestError(f"a canvas of {width}x{height} is not possible: at most {MOST_SIDE}")
    strip_layout(width, height, refresh_hz)
    step = max(1, round(width / (CROSSING_S * refresh_hz)))
    crossing_s = width / (step * refresh_hz)
    period = width // (BARS if crossing_s >= FAST_CROSSING_S else 1)
    motion = BarsMotion(step * refresh_hz, Fraction(period), Fraction(period, 3))
    exposure_s = exposure_of_angle(USUAL_ANGLE_DEG, refresh_hz)
    clip = Clip(motion, refresh_hz, exposure_s, width, height, frames=1 << NUMBER_BITS)
    return LivePattern(clip, step, period)


def number_table() -> bytes:
    """Words of all frame numbers, 65536 little-endian 32-bit integers, first cell highest."""
    return np.asarray(number_words(np.arange(1 << NUMBER_BITS)), "<u4").tobytes()
