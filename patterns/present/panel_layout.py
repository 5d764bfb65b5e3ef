"""Where the panels of a split clip lie: labels, picture and hold meter of each.

All numbers are even, so that they fall on the chroma grid of 4:2:0 pictures.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from patterns.errors import RequestError

__all__ = ["FLATTEST", "LAYOUTS", "Area", "LayoutName", "PanelAreas", "panel_layout"]

LayoutName = Literal["side", "stacked", "line", "grid"]
LAYOUTS: tuple[LayoutName, ...] = ("side", "stacked", "line", "grid")

# In 1080ths of the frame's height (or 1920ths of its width, if that is the tighter).
MARGIN, GAP, FOOT, COLUMN = 48, 32, 66, 520
TITLE = {2: 92, 3: 76, 4: 56}
WORDS = {2: 40, 3: 36, 4: 32}
METER = {"above": 96, "beside": 96, "small": 54}

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
    """Areas of one panel.

    Attributes
    ----------
    label, picture, meter
        What they hold; the picture's area has the counting strip with it.
    title_px, words_px
        Type sizes of the label.
    """

    label: Area
    picture: Area
    meter: Area
    title_px: int
    words_px: int


def _even(value: float) -> int:
    return 2 * round(value / 2)


def _above(
    cell: Area, title_px: int, words_px: int, meter: int, gap: int, clear: int = 0
) -> PanelAreas:
    """Label over the picture, meter beneath, which ends `clear` pixels before the picture."""
    label = _even(title_px * 1.05 + words_px * 1.45)
    top = cell.top + label
    bottom = cell.bottom - meter - gap
    return PanelAreas(
        Area(cell.left, cell.top, cell.width, label),
        Area(cell.left, top, cell.width, bottom - top),
        Area(cell.left, cell.bottom - meter, cell.width - clear, meter),
        title_px,
        words_px,
    )


def _beside(
    cell: Area, column: int, title_px: int, words_px: int, meter: int, inset: tuple[int, int]
) -> PanelAreas:
    """Label and meter in a column left of the picture, inset above and below."""
    inner = column - _even(title_px * 0.45)
    above, below = inset
    return PanelAreas(
        Area(cell.left, cell.top + above, inner, cell.height - meter - above - below),
        Area(cell.left + column, cell.top, cell.width - column, cell.height),
        Area(cell.left, cell.bottom - meter - below, inner, meter),
        title_px,
        words_px,
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
    width: int, height: int, count: int, layout: LayoutName, *, level_line: bool = True
) -> tuple[PanelAreas, ...]:
    """Areas of `count` panels in a frame of `width` x `height` pixels.

    Parameters
    ----------
    layout
        ``side`` by side, ``stacked``, in a ``grid``, or on both sides of a ``line``
        through one picture.
    level_line
        Whether that line is level (one part above the other) or upright.

    Raises
    ------
    RequestError
        Not 2 to 4 panels, or a layout that does not take that many.
    """
    _check(count, layout)
    unit = min(width / 1920, height / 1080)
    margin, gap, foot = (_even(unit * n) for n in (MARGIN, GAP, FOOT))
    inner = Area(margin, margin, width - 2 * margin, height - 2 * margin - foot)
    if layout == "stacked" and height > width:  # no room beside the pictures
        return _cells(inner, (1, count), (gap, gap), unit)
    if layout == "stacked" or (layout == "line" and level_line):
        return _rows(inner, count, gap, unit, touching=layout == "line")
    if layout == "grid":
        return _cells(inner, (2, 2), (gap, gap), unit)
    return _cells(inner, (count, 1), (0 if layout == "line" else gap, gap), unit)


def _cells(
    inner: Area, across_down: tuple[int, int], gaps: tuple[int, int], unit: float
) -> tuple[PanelAreas, ...]:
    """Panels in columns and rows, each with its label above and its meter beneath."""
    across, down = across_down
    count = across * down
    clear = 0 if gaps[0] else gaps[1] // 4 * 2  # between the meters where pictures touch
    meter = _even(unit * METER["small" if across > 1 < down else "above"])
    return tuple(
        _above(
            Area(left, top, wide, high), round(unit * TITLE[count]), round(unit * WORDS[count]),
            meter, _even(unit * (10 if across > 1 < down else 16)), clear,
        )
        for top, high in _tracks(inner.top, inner.height, down, gaps[1])
        for left, wide in _tracks(inner.left, inner.width, across, gaps[0])
    )  # fmt: skip


def _rows(
    inner: Area, count: int, gap: int, unit: float, *, touching: bool
) -> tuple[PanelAreas, ...]:
    """Panels one above the other, labels and meters in a column at their left."""
    meter = _even(unit * METER["small" if count == 4 else "beside"])
    tracks = _tracks(inner.top, inner.height, count, 0 if touching else gap)
    widest = int(FLATTEST * tracks[0][1]) // 2 * 2
    column = max(_even(unit * COLUMN), inner.width - widest)
    apart = gap if touching else 0  # the labels keep clear where pictures touch
    return tuple(
        _beside(
            Area(inner.left, top, inner.width, high), column, round(unit * TITLE[count]),
            round(unit * WORDS[count]), meter, (apart if i else 0, 0 if i else apart),
        )
        for i, (top, high) in enumerate(tracks)
    )  # fmt: skip
