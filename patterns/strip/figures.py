"""The figures for people in the strip: what they say and their glyphs as luma tiles."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from patterns.clip import Clip
from patterns.picture.arrays import Float32Array, UInt8Array
from patterns.strip.layout import Cell
from patterns.timing.rates import format_decimal, format_rate

__all__ = [
    "CLOCK_CHARACTERS",
    "NUMBER_DIGITS",
    "Digits",
    "FittedText",
    "clock",
    "fit_static",
    "number_text",
    "static_texts",
]

NUMBER_DIGITS = 5  # 65535
GAP = 1.2  # least gap between two figures in a line, in type sizes
CLOCK_CHARACTERS = "0123456789:."

Font = ImageFont.FreeTypeFont


def number_text(number: int) -> str:
    """Frame number with as many digits as the largest has."""
    return f"{number:0{NUMBER_DIGITS}d}"


def clock(number: int, rate: Fraction) -> str:
    """Time of a frame on the clip's clock, cut to milliseconds: 'h:mm:ss.mmm'."""
    thousandths = int(number * 1000 / rate)
    seconds, rest = divmod(thousandths, 1000)
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{seconds:02d}.{rest:03d}"


def static_texts(clip: Clip) -> list[tuple[str, str]]:
    """Rate and shutter angle, from the fullest to the shortest wording."""
    angle = f"{format_decimal(clip.angle_deg, 1)}°"
    short = format_decimal(clip.rate)
    return [
        (f"{format_rate(clip.rate)} fps", angle),
        (format_rate(clip.rate), angle),
        (f"{short} fps", angle),
        (short, angle),
    ]


def _coverage(text: str, font: Font, height: int, baseline: int) -> Float32Array:
    width = max(1, round(font.getlength(text)))
    image = Image.new("L", (width, height), 0)
    ImageDraw.Draw(image).text((0, baseline), text, fill=255, font=font, anchor="ls")
    return np.asarray(image, np.float32) / np.float32(255)


def _tile(coverage: Float32Array, ink: int, paper: int) -> UInt8Array:
    return np.asarray(np.rint(paper + (ink - paper) * coverage), np.uint8)


@dataclass(frozen=True)
class FittedText:
    """A text as a luma tile with the pixel of the band where its top left goes."""

    tile: UInt8Array
    left: int
    top: int


class Digits:
    """Figures that change with every frame: cached tiles of equal width, copied into place.

    Parameters
    ----------
    font
        Typeface at the size wanted.
    line
        Cell whose height the tiles have.
    ink, paper
        Luma codes of the figures and of the band.
    """

    def __init__(self, font: Font, line: Cell, ink: int, paper: int) -> None:
        self.height = line.height
        baseline = baseline_of(font, line.height)
        digit = max(ceil(font.getlength(c)) for c in "0123456789")
        self._tiles: dict[str, UInt8Array] = {}
        for character in CLOCK_CHARACTERS:
            coverage = _coverage(character, font, line.height, baseline)
            if character.isdigit():
                coverage = _centred(coverage, digit)
            self._tiles[character] = _tile(coverage, ink, paper)

    def width(self, text: str) -> int:
        """Pixels that a text of digits, colons and points takes."""
        return sum(self._tiles[c].shape[1] for c in text)

    def put(self, band: UInt8Array, text: str, left: int, top: int) -> None:
        """Copy the text into the luma of the band."""
        for character in text:
            tile = self._tiles[character]
            right = left + tile.shape[1]
            band[top : top + self.height, left:right] = tile
            left = right


def baseline_of(font: Font, height: int) -> int:
    """Row of the baseline that puts figures in the middle of a line `height` pixels high."""
    box = font.getbbox("0", anchor="ls")
    return round((height - (box[3] - box[1])) / 2 - box[1])


def _centred(coverage: Float32Array, width: int) -> Float32Array:
    out = np.zeros((coverage.shape[0], width), np.float32)
    left = (width - coverage.shape[1]) // 2
    out[:, left : left + coverage.shape[1]] = coverage
    return out


def fit_static(
    clip: Clip, font: Font, line: Cell, *, room: tuple[int, int], ink: int, paper: int
) -> tuple[FittedText, FittedText]:
    """Rate at the left and shutter at the right of the columns `room`, in a wording that fits."""
    left, right = room
    gap = GAP * line.height / 2
    for rate, shutter in static_texts(clip):
        if font.getlength(rate) + font.getlength(shutter) + gap <= right - left:
            break
    baseline = baseline_of(font, line.height)
    tiles = [
        _tile(_coverage(text, font, line.height, baseline), ink, paper) for text in (rate, shutter)
    ]
    return (
        FittedText(tiles[0], left, line.top),
        FittedText(tiles[1], right - tiles[1].shape[1], line.top),
    )
