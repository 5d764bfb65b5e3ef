"""Where the panels of a split clip lie.

All numbers are even, so that they fall on the chroma grid of 4:2:0 pictures.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from patterns.errors import RequestError
from patterns.picture.planes import Planes

LayoutName = Literal["side", "stacked", "line", "grid"]
LAYOUTS: tuple[LayoutName, ...] = ("side", "stacked", "line", "grid")

# In 1080ths of the frame's height (or 1920ths of its width, if that is the tighter).
MARGIN, GAP, FOOT, COLUMN, LINE = 48, 32, 66, 520, 6
TITLE = {2: 92, 3: 76, 4: 56}
CAPTION = {2: 40, 3: 36, 4: 32}
METER, SMALL_METER = 96, 54

# Widest picture for its height whose strip is still found by the reader (measured: 3.95 is
# always read, 4.1 never).
FLATTEST = 3.9


@dataclass(frozen=True)
class Area:
    """Rectangle in pixels of the frame."""

    left: int
    top: int
    width: int
    height: int

    @property
    def right(self) -> int:
        """Column after the last."""
        return self.left + self.width

    @property
    def bottom(self) -> int:
        """Row after the last."""
        return self.top + self.height


@dataclass(frozen=True)
class PanelAreas:
    """Areas of one panel."""

    label: Area
    picture: Area  # with the counting strip, if there is one
    meter: Area
    title_px: int  # type sizes of the label
    caption_px: int


def _even(value: float) -> int:
    return 2 * round(value / 2)


def _above(
    cell: Area, title_px: int, caption_px: int, meter: int, gap: int, meter_width: int
) -> PanelAreas:
    """Label over the picture, meter beneath."""
    label = _even(title_px * 1.05 + caption_px * 1.45)
    top = cell.top + label
    bottom = cell.bottom - meter - gap
    return PanelAreas(
        Area(cell.left, cell.top, cell.width, label),
        Area(cell.left, top, cell.width, bottom - top),
        Area(cell.left, cell.bottom - meter, meter_width, meter),
        title_px,
        caption_px,
    )


def _beside(
    cell: Area, column: int, title_px: int, caption_px: int, meter: int, inset: tuple[int, int]
) -> PanelAreas:
    """Label and meter in a column left of the picture, inset above and below."""
    inner = column - _even(title_px * 0.45)
    above, below = inset
    return PanelAreas(
        Area(cell.left, cell.top + above, inner, cell.height - meter - above - below),
        Area(cell.left + column, cell.top, cell.width - column, cell.height),
        Area(cell.left, cell.bottom - meter - below, inner, meter),
        title_px,
        caption_px,
    )


def _tracks(start: int, length: int, count: int, gap: int) -> list[tuple[int, int]]:
    """Divide a length evenly into `count` parts: first pixel and size of each."""
    size = (length - (count - 1) * gap) // count // 2 * 2
    return [(start + i * (size + gap), size) for i in range(count)]


def _check(count: int, layout: LayoutName) -> None:
    if not 2 <= count <= 4:
        raise RequestError(f"a split clip has 2 to 4 panels, not {count}: give --rates 24,30")
    if layout == "line" and count != 2:
        raise RequestError(
            f"a dividing line has two sides, and {count} rates are given: give two, or "
            "--layout side, stacked or grid"
        )
    if layout == "grid" and count != 4:
        raise RequestError(
            f"a grid holds four panels, and {count} rates are given: give four, or --layout side"
        )


def panel_layout(
    width: int, height: int, count: int, layout: LayoutName, *, level_line: bool, line_at: float
) -> tuple[PanelAreas, ...]:
    """Areas of `count` panels in a frame of `width` x `height` pixels.

    `layout`: ``side`` by side, ``stacked``, in a ``grid``, or on both sides of a ``line`` through
    one picture.
    `level_line`: whether that line is level (one part above the other) or upright.
    `line_at`: where an upright line lies, as a share of the picture's width.
    Raises `RequestError`: not 2 to 4 panels, or a layout that does not take that many.
    """
    _check(count, layout)
    unit = min(width / 1920, height / 1080)
    margin, gap, foot = (_even(unit * n) for n in (MARGIN, GAP, FOOT))
    inner = Area(margin, margin, width - 2 * margin, height - 2 * margin - foot)
    line = _even(unit * LINE)
    if layout == "stacked" and height > width:  # no room beside the pictures
        return _cells(inner, _tracks(inner.left, inner.width, 1, 0), count, gap, unit)
    if layout == "stacked" or (layout == "line" and level_line):
        return _rows(inner, count, line if layout == "line" else gap, gap, unit)
    if layout == "line":
        first = _even(inner.width * line_at - line / 2)
        columns = [(inner.left, first), (inner.left + first + line, inner.width - first - line)]
        return _cells(inner, columns, 1, gap, unit)
    across, down = (2, 2) if layout == "grid" else (count, 1)
    return _cells(inner, _tracks(inner.left, inner.width, across, gap), down, gap, unit)


def _cells(
    inner: Area, columns: list[tuple[int, int]], down: int, gap: int, unit: float
) -> tuple[PanelAreas, ...]:
    """Panels in columns and rows, each with its label above and its meter beneath.

    The meters are equally wide, so that their blocks compare.
    """
    count = len(columns) * down
    small = len(columns) > 1 < down
    meter = _even(unit * (SMALL_METER if small else METER))
    apart = columns[1][0] - columns[0][0] - columns[0][1] if len(columns) > 1 else gap
    meter_width = min(wide for _, wide in columns) - (gap // 4 * 2 if apart < gap else 0)
    return tuple(
        _above(
            Area(left, top, wide, high), round(unit * TITLE[count]), round(unit * CAPTION[count]),
            meter, _even(unit * (10 if small else 16)), meter_width,
        )
        for top, high in _tracks(inner.top, inner.height, down, gap)
        for left, wide in columns
    )  # fmt: skip


def _rows(inner: Area, count: int, apart: int, gap: int, unit: float) -> tuple[PanelAreas, ...]:
    """Panels `apart` one above the other, labels and meters in a column at their left."""
    meter = _even(unit * (SMALL_METER if count == 4 else METER))
    tracks = _tracks(inner.top, inner.height, count, apart)
    widest = int(FLATTEST * tracks[0][1]) // 2 * 2
    column = max(_even(unit * COLUMN), inner.width - widest)
    inset = gap if apart < gap else 0  # the labels keep clear where a line lies between
    return tuple(
        _beside(
            Area(inner.left, top, inner.width, high), column, round(unit * TITLE[count]),
            round(unit * CAPTION[count]), meter, (inset if i else 0, 0 if i else inset),
        )
        for i, (top, high) in enumerate(tracks)
    )  # fmt: skip


def paste(source: Planes, frame: Planes, left: int, top: int) -> None:
    """Copy `source` into `frame` with its top left at even coordinates."""
    place = frame.part(left, top, left + source.width, top + source.height)
    place.fill(source.y, source.cb, source.cr)
