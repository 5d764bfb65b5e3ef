"""Drawing the strip into frames: the still parts once, the changing ones for every frame.

Figures for people are glyphs as tiles of luma, made once and copied into place.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from patterns.clip import Clip
from patterns.picture.arrays import UInt8Array
from patterns.picture.lettering import font as typeface
from patterns.picture.planes import Planes
from patterns.strip.code import Identity, identity_bits, number_word, word_bits
from patterns.strip.layout import Cell, Halftone, StripLayout, strip_layout
from patterns.timing.rates import format_decimal, format_rate

BLACK, WHITE = 16, 235
PAPER = 36  # the band between the cells: dark, so that photos of single cells stay clean
TINT = (131, 125)  # Cb and Cr of the band; cells and marks are neutral
NEUTRAL = 128
INK, QUIET_INK = 208, 150
TYPE_SHARE = 0.78  # type size over the height of a line of figures
NUMBER_DIGITS = 5  # 65535
GAP = 1.2  # least gap between two figures in a line, in type sizes
CLOCK_CHARACTERS = "0123456789:."
# Tiles of 4 x 4 dots by how many are white; those above a half are the others turned over.
TILES = {
    0: [0b0000, 0b0000, 0b0000, 0b0000],
    1: [0b0000, 0b0100, 0b0000, 0b0000],
    2: [0b0100, 0b0000, 0b0001, 0b0000],
    4: [0b1010, 0b0000, 0b0101, 0b0000],
    8: [0b1010, 0b0101, 0b1010, 0b0101],
}

Font = ImageFont.FreeTypeFont


def picture_rows(clip: Clip) -> tuple[int, int]:
    """Rows of the frame that are left for the picture: first, and after the last; both even."""
    if clip.strip == "none":
        return 0, clip.height
    band = strip_layout(clip.width, clip.height, clip.rate).band_height
    return (band, clip.height) if clip.strip == "top" else (0, clip.height - band)


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


def _tile(text: str, font: Font, height: int, ink: int) -> UInt8Array:
    """Luma of a text, its figures in the middle of a line `height` pixels high."""
    box = font.getbbox("0", anchor="ls")
    baseline = round((height - (box[3] - box[1])) / 2 - box[1])
    image = Image.new("L", (max(1, round(font.getlength(text))), height), 0)
    ImageDraw.Draw(image).text((0, baseline), text, fill=255, font=font, anchor="ls")
    coverage = np.asarray(image, np.float32) / np.float32(255)
    return np.asarray(np.rint(PAPER + (ink - PAPER) * coverage), np.uint8)


class Digits:
    """Figures that change with every frame: tiles as high as a line, digits of equal width."""

    def __init__(self, font: Font, line: Cell) -> None:
        self.height = line.height
        digit = max(ceil(font.getlength(c)) for c in "0123456789")
        self._tiles = {c: _tile(c, font, line.height, INK) for c in CLOCK_CHARACTERS}
        for c in "0123456789":
            beside = digit - self._tiles[c].shape[1]
            sides = (0, 0), (beside // 2, beside - beside // 2)
            self._tiles[c] = np.pad(self._tiles[c], sides, constant_values=PAPER)

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


def _still_figures(
    clip: Clip, font: Font, line: Cell, left: int, right: int
) -> tuple[tuple[int, UInt8Array], ...]:
    """Columns and tiles of the rate, from `left` on, and of the shutter angle, up to `right`."""
    angle = f"{format_decimal(clip.angle_deg, 1)}°"
    full, short = format_rate(clip.rate), format_decimal(clip.rate)
    gap = GAP * line.height / 2
    for rate in (f"{full} fps", full, f"{short} fps", short):  # the fullest wording that fits
        if font.getlength(rate) + font.getlength(angle) + gap <= right - left:
            break
    shutter = _tile(angle, font, line.height, QUIET_INK)
    return (left, _tile(rate, font, line.height, QUIET_INK)), (right - shutter.shape[1], shutter)


def halftone_pattern(halftone: Halftone) -> UInt8Array:
    """Luma of a halftone patch, (patch height, patch width), pure black and white."""
    dots = int(16 * halftone.fraction)
    tile = np.array(TILES[min(dots, 16 - dots)])[:, None] >> np.arange(3, -1, -1) & 1
    white = (tile == 1) != (dots > 8)
    size, patch = halftone.dot_px, halftone.patch
    rows = np.arange(patch.height)[:, None] // size % 4
    columns = np.arange(patch.width)[None] // size % 4
    return np.where(white[rows, columns], WHITE, BLACK).astype(np.uint8)


def _fill(luma: UInt8Array, cell: Cell, code: int) -> None:
    luma[cell.top : cell.bottom, cell.left : cell.right] = code


def _still_luma(layout: StripLayout, clip: Clip) -> UInt8Array:
    """Luma of the band with all that never changes, and the changing cells black."""
    luma = np.full((layout.band_height, layout.width), PAPER, np.uint8)
    for cell in layout.number + layout.hold + layout.black:
        _fill(luma, cell, BLACK)
    for cell in layout.posts + layout.flags + layout.white:
        _fill(luma, cell, WHITE)
    bits = identity_bits(Identity.of(clip.rate, clip.identity))
    for cell, bit in zip(layout.identity, bits, strict=True):
        _fill(luma, cell, WHITE if bit else BLACK)
    for halftone in layout.halftones:
        _fill(luma, halftone.field, BLACK)
        patch = halftone.patch
        luma[patch.top : patch.bottom, patch.left : patch.right] = halftone_pattern(halftone)
    return luma


def _still_chroma(layout: StripLayout, code: int) -> UInt8Array:
    """One chroma plane of the band: tinted, but neutral wherever a cell touches it."""
    chroma = np.full((layout.band_height // 2, layout.width // 2), code, np.uint8)
    fields = tuple(h.field for h in layout.halftones)
    cells = layout.number + layout.hold + layout.black + layout.white + layout.identity
    for cell in cells + layout.posts + layout.flags + fields:
        # one sample more on every side: chroma is interpolated when shown
        top, left = max(0, cell.top // 2 - 1), max(0, cell.left // 2 - 1)
        chroma[top : cell.bottom // 2 + 2, left : cell.right // 2 + 2] = NEUTRAL
    return chroma


class StripDrawer:
    """Draws the strip of one clip, which must lie on an edge, into its frames, in any order.

    Raises `RequestError`: the frame is too small for a strip.
    """

    def __init__(self, clip: Clip) -> None:
        self.layout = strip_layout(clip.width, clip.height, clip.rate)
        self._rate = clip.rate
        self._rows = self.layout.band_rows(clip.strip)
        self._luma = _still_luma(self.layout, clip)
        self._chroma = [_still_chroma(self.layout, code) for code in TINT]
        self._set_figures(clip)

    def _set_figures(self, clip: Clip) -> None:
        """Choose the type size, set the still figures, and place the changing ones."""
        line, last = self.layout.figures[0], self.layout.figures[-1]
        font = typeface(max(6, round(line.height * TYPE_SHARE)))
        self._digits = Digits(font, line)
        self._number_at = line.left
        longest = self._digits.width(clock(clip.frames - 1, clip.rate))
        if line is last:  # one line: number, rate, shutter, time
            space, number = round(line.height * 0.9), self._digits.width(number_text(0))
            room = (line.left + number + space, line.right - longest - space)
        else:
            room = (last.left, last.right)
        self._clock_at = line.right - longest
        self._figures_top = line.top
        for left, tile in _still_figures(clip, font, last, *room):
            self._luma[last.top : last.top + tile.shape[0], left : left + tile.shape[1]] = tile

    @property
    def changing_figures(self) -> tuple[Digits, int, int, int]:
        """Tiles of the changing figures; left of the number and of the clock, and their top."""
        return self._digits, self._number_at, self._clock_at, self._figures_top

    def draw(self, frame: Planes, n: int) -> None:
        """Write the strip of frame `n` into its rows of the full frame; no other row changes."""
        band = frame.rows(*self._rows)
        luma = band.y
        band.fill(self._luma, *self._chroma)
        for cell, bit in zip(self.layout.number, word_bits(number_word(n)), strict=True):
            if bit:
                _fill(luma, cell, WHITE)
        _fill(luma, self.layout.hold[n % len(self.layout.hold)], WHITE)
        self._digits.put(luma, number_text(n), self._number_at, self._figures_top)
        self._digits.put(luma, clock(n, self._rate), self._clock_at, self._figures_top)
