"""The strip on its own grid: where every cell lies, as fractions of the band (FORMAT.md).

Two arrangements: ``wide`` for frames at least as wide as high, ``upright`` for the others.
The grid is stretched to the band. The row of hold cells of a clip at p/q frames a second
(x1000/1001 rates count as their whole neighbour) has the largest divisor of p from 12 to 30 as
its number of cells; a p below 12 is first taken in multiples. Then any q seconds hold whole
rounds of the row, so that each cell is lit equally often in a photo of such an exposure.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, partial
from math import ceil
from typing import NamedTuple

from patterns.strip.code import IDENTITY_CELLS, NUMBER_CELLS

FEWEST, MOST, USUAL = 12, 30, 24
NTSC_DENOMINATOR = 1001


@dataclass(frozen=True)
class HoldRow:
    """The hold row of one rate."""

    cells: int  # how many; cell n mod `cells` is lit in frame n
    # whole seconds over which the cells are lit equally often (to one part in a thousand for
    # x1000/1001 rates), or None if there are none
    even_over_s: int | None

    def lit(self, number: int) -> int:
        """Index of the cell that is lit in frame `number`."""
        return number % self.cells


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

    name: str  # ``wide`` or ``upright``
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


@dataclass(frozen=True)
class _Row:
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
        "wide",
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
        "upright",
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
