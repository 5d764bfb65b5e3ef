"""Where the strip's cells lie: as fractions of the band, and in a frame's pixels (FORMAT.md).

Two arrangements: ``wide`` for frames at least as wide as high, ``upright`` for the others. The
grid of each is stretched to the band.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, partial
from typing import NamedTuple

from patterns.errors import RequestError
from patterns.strip.code import IDENTITY_CELLS, NUMBER_CELLS, Identity, hold_row

ARRANGEMENTS = ("wide", "upright")
HALFTONES = ("0", "1/16", "1/8", "1/4", "1/2", "1/2 coarse", "3/4", "1")
# Reference cells stand in pairs among the number cells: w = white, b = black, 7 cells between.
PAIRS = ("wb", "bw", "wb", "bw", "wb")
GROUP = NUMBER_CELLS // (len(PAIRS) - 1)


class Rect(NamedTuple):
    """Rectangle in fractions of the band's width and height."""

    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True, eq=False)
class StripGrid:
    """All cells of one arrangement, as fractions of the band."""

    units: tuple[int, int]  # width and height of the grid that the band is divided into
    posts: tuple[Rect, ...]  # outer locating marks, left and right
    flags: tuple[Rect, ...]  # inner ones
    number: tuple[Rect, ...]  # 28 number cells: 16 of Gray code, highest first, then 12 of check
    white: tuple[Rect, ...]  # reference cells among the number cells
    black: tuple[Rect, ...]  # likewise
    identity: tuple[Rect, ...]  # 64 identity cells in order
    hold_row: Rect  # the rectangle that the hold cells share, and `hold_gap`, the gap between them
    hold_gap: float
    halftones: tuple[Rect, ...]  # black fields in the order of `HALFTONES`, a patch in each
    figures: tuple[Rect, ...]  # lines of figures, from the top
    dark: tuple[Rect, ...]  # places beside the marks that are never lit


Span = tuple[float, float, float, float]  # left, top, right, bottom in grid units


class _Row(NamedTuple):
    """Measures of a row of cells, in grid units."""

    left: float
    top: float
    pitch: float
    width: float
    height: float
    group: int = 1 << 16
    group_gap: float = 0.0

    def span(self, index: int, shift: float = 0.0) -> Span:
        x = self.left + index * self.pitch + index // self.group * self.group_gap
        return x + shift, self.top, x + self.width + shift, self.top + self.height

    def spans(self, count: int) -> list[Span]:
        return [self.span(i) for i in range(count)]


def _rects(units: tuple[int, int], spans: Iterable[Span]) -> tuple[Rect, ...]:
    """Grid units as fractions of the band."""
    wide, high = units
    return tuple(Rect(x0 / wide, y0 / high, x1 / wide, y1 / high) for x0, y0, x1, y1 in spans)


def _number_spans(row: _Row, extra: float) -> dict[str, list[Span]]:
    """The number row: n = number cells, w, b; `extra` units set the pairs apart."""
    cells: dict[str, list[Span]] = {"n": [], "w": [], "b": []}
    position = 0
    for turn, pair in enumerate(PAIRS):
        for kind in pair + "n" * (GROUP if turn < len(PAIRS) - 1 else 0):
            cells[kind].append(row.span(position, (2 * turn + (kind == "n")) * extra))
            position += 1
    return cells


def _dark(left: Span, right: Span, down: Span) -> list[Span]:
    """Dark places: beside each post, beside each flag, and below each flag.

    `left` and `right` are the columns of the gap, the flag and the gap after it; `down`
    is the top of the marks, the ends of the left and the right flag, and the bottom.
    """
    top, left_end, right_end, bottom = down
    places: list[Span] = []
    for (gap, flag, after, end), flag_end in ((left, left_end), (right, right_end)):
        middle = (left_end + bottom) / 2
        places += [
            (gap, top, flag, bottom),
            (flag, flag_end, after, middle),
            (flag, middle, after, bottom),
            (after, top, end, bottom),
        ]
    return places


def _wide() -> StripGrid:
    rects = partial(_rects, (320, 20))
    cells = _number_spans(_Row(18, 2, 5, 4, 5.5), 0.5)
    return StripGrid(
        (320, 20),
        rects([(3, 2, 7, 18), (313, 2, 317, 18)]),
        rects([(9.5, 2, 14, 11), (306, 2, 310.5, 6)]),
        rects(cells["n"]),
        rects(cells["w"]),
        rects(cells["b"]),
        rects(_Row(18, 14.5, 3, 2.5, 3.5, IDENTITY_CELLS // 4, 0.5).spans(IDENTITY_CELLS)),
        rects([(18, 8.5, 168, 13.5)])[0],
        1 / 320,
        rects(_Row(171, 8.5, 5, 5, 5).spans(len(HALFTONES))),
        rects([(218, 2, 300, 9.5), (218, 10.5, 300, 18)]),
        rects(_dark((7, 9.5, 14, 18), (302, 306, 310.5, 313), (2, 11, 6, 18))),
    )


def _upright() -> StripGrid:
    rects = partial(_rects, (180, 32))
    cells = _number_spans(_Row(14.5, 2.5, 4, 3, 5.5), 0)
    rows = [_Row(14.5, top, 4.5, 4, 3.5, 4, 7.5 / 7) for top in (15.5, 20)]
    return StripGrid(
        (180, 32),
        rects([(2, 2.5, 5.5, 29.5), (174.5, 2.5, 178, 29.5)]),
        rects([(7.5, 2.5, 11, 15), (169, 2.5, 172.5, 8)]),
        rects(cells["n"]),
        rects(cells["w"]),
        rects(cells["b"]),
        rects(span for row in rows for span in row.spans(IDENTITY_CELLS // 2)),
        rects([(14.5, 9, 119.5, 14.5)])[0],
        0.5 / 180,
        rects(_Row(125.5, 9, 5, 5, 5.5).spans(len(HALFTONES))),
        rects([(14.5, 24.25, 165.5, 29.75)]),
        rects(_dark((5.5, 7.5, 11, 14.5), (165.5, 169, 172.5, 174.5), (2.5, 15, 8, 29.5))),
    )


@cache
def grid(name: str) -> StripGrid:
    """StripGrid of the arrangement ``wide`` or ``upright``."""
    return {"wide": _wide, "upright": _upright}[name]()


@cache
def hold_cells(on: StripGrid, count: int) -> tuple[Rect, ...]:
    """Divide the hold row of `on` into `count` cells, as fractions of the band."""
    row = on.hold_row
    pitch = (row.right - row.left) / count
    starts = [row.left + i * pitch for i in range(count)]
    return tuple(Rect(x, row.top, x + pitch - on.hold_gap, row.bottom) for x in starts)


MIN_WIDTH, MIN_BAND = 320, 20
HIGHEST_SHARE = 9  # the band takes at most a ninth of the height


class Cell(NamedTuple):
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


class Halftone(NamedTuple):
    """A light reference: a patch of dots in the middle of a black field."""

    field: Cell  # the black field; its rectangle is what a reader integrates over
    patch: Cell  # the dots, whole tiles of 4 x 4 dots
    fraction: Fraction  # share of the patch's area that is white
    dot_px: int  # side of a dot in pixels


class StripLayout(NamedTuple):
    """Every cell of the strip in one size of frame; built by `strip_layout`."""

    width: int  # of the whole frame, in pixels
    height: int  # likewise
    band_height: int  # rows that the strip takes; even
    grid: StripGrid  # the arrangement that it follows
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
    hold = hold_row(Identity.of(rate, 0).rate)
    fields = [_snap(rect, width, band, inside=True) for rect in on.halftones]
    halftones = tuple(_halftone(f, label, band) for f, label in zip(fields, HALFTONES, strict=True))
    parts = [on.posts, on.flags, on.number, on.white, on.black, on.identity, on.figures]
    parts.append(hold_cells(on, hold.cells))
    snapped = (tuple(_snap(rect, width, band) for rect in part) for part in parts)
    return StripLayout(width, height, band, on, halftones, *snapped)
