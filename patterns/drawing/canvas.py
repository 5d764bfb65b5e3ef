"""A drawing as a list of shapes, before it becomes pixels or SVG.

Coordinates are in pixels of the finished picture, x to the right and y down; text is
placed by its baseline. Later shapes lie over earlier ones.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal, TypeAlias

from PIL import Image

from patterns.picture.lettering import text_width_px

__all__ = ["Anchor", "Box", "Drawing", "Polygon", "Raster", "Shape", "Stroke", "Text"]

Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True)
class Box:
    """Filled rectangle with rounded corners."""

    x: float
    y: float
    width: float
    height: float
    fill: str
    radius: float = 0


@dataclass(frozen=True)
class Stroke:
    """Straight line with flat ends."""

    x0: float
    y0: float
    x1: float
    y1: float
    colour: str
    width: float


@dataclass(frozen=True)
class Polygon:
    """Filled polygon."""

    points: tuple[tuple[float, float], ...]
    fill: str


@dataclass(frozen=True)
class Text:
    """One line of text; `x` is its start, middle or end, `y` its baseline."""

    x: float
    y: float
    text: str
    size_px: int
    fill: str
    anchor: Anchor = "start"
    bold: bool = False

    @property
    def width(self) -> float:
        """Columns it takes."""
        return text_width_px(self.text, self.size_px) + (self.size_px / 24 if self.bold else 0)


@dataclass(frozen=True)
class Raster:
    """Picture, scaled to a rectangle."""

    x: float
    y: float
    width: float
    height: float
    image: Image.Image


Shape: TypeAlias = Box | Stroke | Polygon | Text | Raster


@dataclass
class Drawing:
    """Shapes on a background; `title` says in words what is drawn."""

    width: int
    height: int
    paper: str
    title: str
    shapes: list[Shape] = field(default_factory=list)

    def add(self, *shapes: Shape) -> None:
        """Put shapes on top."""
        self.shapes.extend(shapes)

    def paragraph(self, first: Text, width: float, leading_px: int) -> None:
        """Add a text broken at spaces into lines of at most `width`, `leading_px` apart."""
        lines, line = [], ""
        for word in first.text.split():
            longer = f"{line} {word}".strip()
            if line and replace(first, text=longer).width > width:
                lines.append(line)
                longer = word
            line = longer
        for number, words in enumerate([*lines, line]):
            self.add(replace(first, y=first.y + number * leading_px, text=words))
