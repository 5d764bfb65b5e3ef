"""The strip in a frame: how high the band is and which pixels each cell takes."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from patterns.clip import Clip
from patterns.errors import RequestError
from patterns.strip.code import Identity
from patterns.strip.grid import HALFTONES, HoldRow, Rect, StripGrid, grid, hold_cells, hold_row

MIN_WIDTH, MIN_BAND = 320, 20
HIGHEST_SHARE = 9  # the band takes at most a ninth of the height


@dataclass(frozen=True)
class Cell:
    """A rectangle of the strip, in pixels of the band and as fractions of it."""

    rect: Rect  # where the grid puts it, in fractions of the band
    # pixels that it takes, counted from the band's top left; right and bottom excluded
    left: int
    top: int
    right: int
    bottom: int

    @property
    def width(self) -> int:
        """Pixels across."""
        return self.right - self.left

    @property
    def height(self) -> int:
        """Pixels down."""
        return self.bottom - self.top


@dataclass(frozen=True)
class Halftone:
    """A light reference: a patch of dots in the middle of a black field."""

    field: Cell  # the black field; its rectangle is what a reader integrates over
    patch: Cell  # the dots, whole tiles of 4 x 4 dots
    fraction: Fraction  # share of the patch's area that is white
    dot_px: int  # side of a dot in pixels


@dataclass(frozen=True)
class StripLayout:
    """Every cell of the strip in one size of frame; built by `strip_layout`."""

    width: int  # of the whole frame, in pixels
    height: int  # likewise
    band_height: int  # rows that the strip takes; even
    grid: StripGrid  # the arrangement that it follows
    hold_rule: HoldRow  # how many hold cells and over how long they are lit equally often
    halftones: tuple[Halftone, ...]  # light references, darkest first
    # posts, flags, number, white, black, identity, figures, hold: cells in the order of the grid
    posts: tuple[Cell, ...]
    flags: tuple[Cell, ...]
    number: tuple[Cell, ...]
    white: tuple[Cell, ...]
    black: tuple[Cell, ...]
    identity: tuple[Cell, ...]
    figures: tuple[Cell, ...]
    hold: tuple[Cell, ...]

    def band_rows(self, edge: str) -> tuple[int, int]:
        """First row and row after the last of the strip on edge ``bottom`` or ``top``."""
        top = 0 if edge == "top" else self.height - self.band_height
        return top, top + self.band_height


def _snap(rect: Rect, width: int, height: int, *, inside: bool = False) -> Cell:
    """Pixels of a rectangle, equal for equal ones; one `inside` never takes more than it has."""
    left, top = round(rect.left * width), round(rect.top * height)
    sides = ((rect.right - rect.left) * width, (rect.bottom - rect.top) * height)
    across, down = (int(s + 1e-6) if inside else max(1, round(s)) for s in sides)
    return Cell(rect, left, top, left + across, top + down)


def _halftone(field: Cell, label: str, band_height: int) -> Halftone:
    dot = max(2, round(band_height / 60)) if min(field.width, field.height) >= 9 else 1
    tile = 4 * dot
    across, down = field.width // tile * tile, field.height // tile * tile
    left = field.left + (field.width - across) // 2
    top = field.top + (field.height - down) // 2
    patch = Cell(field.rect, left, top, left + across, top + down)
    fraction, _, coarse = label.partition(" ")
    return Halftone(field, patch, Fraction(fraction), 2 * dot if coarse else dot)


@cache
def strip_layout(width: int, height: int, rate: Fraction) -> StripLayout:
    """Layout of the strip in a frame of `width` x `height` pixels at `rate` frames a second.

    Raises `RequestError`: the frame is too small or too flat for cells that can be distinguished.
    """
    on = grid("wide" if width >= height else "upright")
    columns, rows = on.units
    band = 2 * min(round(Fraction(width * rows, 2 * columns)), height // HIGHEST_SHARE // 2)
    if width < MIN_WIDTH or band < MIN_BAND:
        raise RequestError(
            f"a frame of {width}x{height} is too small for the strip: give at least "
            f"{MIN_WIDTH} pixels across and {MIN_BAND * HIGHEST_SHARE} down, or --strip none"
        )

    # from the rate as the identity cells write it, which is all that a reader has
    rule = hold_row(Identity.of(rate, 0).rate)
    fields = [_snap(rect, width, band, inside=True) for rect in on.halftones]
    halftones = tuple(_halftone(f, label, band) for f, label in zip(fields, HALFTONES, strict=True))
    parts = [on.posts, on.flags, on.number, on.white, on.black, on.identity, on.figures]
    parts.append(hold_cells(on, rule.cells))
    snapped = (tuple(_snap(rect, width, band) for rect in part) for part in parts)
    return StripLayout(width, height, band, on, rule, halftones, *snapped)


def picture_rows(clip: Clip) -> tuple[int, int]:
    """Rows of the frame that are left for the picture: first, and after the last; both even."""
    if clip.strip == "none":
        return 0, clip.height
    band = strip_layout(clip.width, clip.height, clip.rate).band_height
    return (band, clip.height) if clip.strip == "top" else (0, clip.height - band)
