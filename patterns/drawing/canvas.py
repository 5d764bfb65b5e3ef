"""A drawing as a list of shapes, and how it becomes pixels, planes of a video frame or SVG.

Coordinates are in pixels of the finished picture, x to the right and y down; text is
placed by its baseline. Later shapes lie over earlier ones.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass, field, replace
from html import escape
from pathlib import Path
from typing import Literal, TypeAlias

import numpy as np
from PIL import Image, ImageDraw

from patterns.drawing.style import SLIDE, Scheme, check_picture_name
from patterns.picture.arrays import Float32Array, UInt8Array
from patterns.picture.lettering import cap_height_px, font, text_width_px, typeface
from patterns.picture.planes import Planes, light_to_ycbcr, picture_bytes, signal_to_light
from patterns.whole_file import write_whole

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


def titled_slide(title: str, colours: Scheme, height_px: int, lift_px: int) -> Drawing:
    """Empty slide with its title at the top left, `lift_px` above the margin."""
    drawing = Drawing(SLIDE.width_px, height_px, colours.paper, title)
    base = SLIDE.margin_px - lift_px + cap_height_px(SLIDE.title_px)
    drawing.add(Text(SLIDE.margin_px, base, title, SLIDE.title_px, colours.ink, bold=True))
    return drawing


OVERSAMPLING = 3  # of shapes' edges; text is set at this size too, and comes down with them
ANCHORS = {"start": "ls", "middle": "ms", "end": "rs"}
TYPEFACE = "Evenhold Sans"
BOLD_PART = 48  # a bold letter's outline is drawn this part of the em wider on each side


def _draw(surface: ImageDraw.ImageDraw, shape: Box | Stroke | Polygon | Text) -> None:
    s = OVERSAMPLING
    if isinstance(shape, Box):
        right, bottom = (shape.x + shape.width) * s - 1, (shape.y + shape.height) * s - 1
        corners = (round(shape.x * s), round(shape.y * s), round(right), round(bottom))
        radius = min(shape.radius, shape.width / 2, shape.height / 2) * s
        surface.rounded_rectangle(corners, radius, fill=shape.fill)
    elif isinstance(shape, Stroke):
        ends = (shape.x0 * s, shape.y0 * s, shape.x1 * s, shape.y1 * s)
        surface.line(ends, fill=shape.colour, width=round(shape.width * s))
    elif isinstance(shape, Polygon):
        surface.polygon([(x * s, y * s) for x, y in shape.points], fill=shape.fill)
    else:
        surface.text(
            (round(shape.x * s), round(shape.y * s)),
            shape.text,
            fill=shape.fill,
            font=font(shape.size_px * s),
            anchor=ANCHORS[shape.anchor],
            stroke_width=round(shape.size_px * s / BOLD_PART) if shape.bold else 0,
        )


def to_image(drawing: Drawing) -> Image.Image:
    """Pixels of the drawing, RGB, edges smoothed."""
    size = (drawing.width * OVERSAMPLING, drawing.height * OVERSAMPLING)
    large = Image.new("RGB", size, drawing.paper)
    surface = ImageDraw.Draw(large)
    for shape in drawing.shapes:
        if isinstance(shape, Raster):
            size = (round(shape.width * OVERSAMPLING), round(shape.height * OVERSAMPLING))
            place = (round(shape.x * OVERSAMPLING), round(shape.y * OVERSAMPLING))
            large.paste(shape.image.resize(size, Image.Resampling.BICUBIC), place)
        else:
            _draw(surface, shape)
    return large.reduce(OVERSAMPLING)


def to_png(drawing: Drawing) -> bytes:
    """PNG file of the drawing."""
    return picture_bytes(np.asarray(to_image(drawing)), ".png")


def colour_light(colour: str) -> Float32Array:
    """Linear light R, G, B of a colour '#rrggbb'."""
    signal = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)], np.float32) / 255
    return signal_to_light(signal)


def _quartered(plane: UInt8Array) -> UInt8Array:
    """Mean of each 2 x 2 block."""
    rows, columns = plane.shape
    blocks = plane.reshape(rows // 2, 2, columns // 2, 2).astype(np.float32)
    return np.asarray(np.rint(blocks.mean(axis=(1, 3))), np.uint8)


def to_planes(drawing: Drawing) -> Planes:
    """Planes of a video frame; both sides of the drawing must be even."""
    signal = np.asarray(to_image(drawing), np.float32) / 255
    y, cb, cr = light_to_ycbcr(signal_to_light(signal))
    planes = Planes.blank(drawing.width, drawing.height)
    planes.fill(y, _quartered(cb), _quartered(cr))
    return planes


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _attributes(**values: float | str) -> str:
    return " ".join(
        f'{name.replace("_", "-")}="{escape(value) if isinstance(value, str) else _number(value)}"'
        for name, value in values.items()
    )


def _element(shape: Shape) -> str:
    if isinstance(shape, Box):
        place = _attributes(x=shape.x, y=shape.y, width=shape.width, height=shape.height)
        return f"<rect {place} {_attributes(rx=shape.radius, fill=shape.fill)}/>"
    if isinstance(shape, Stroke):
        ends = _attributes(x1=shape.x0, y1=shape.y0, x2=shape.x1, y2=shape.y1)
        return f"<line {ends} {_attributes(stroke=shape.colour, stroke_width=shape.width)}/>"
    if isinstance(shape, Polygon):
        points = " ".join(f"{_number(x)},{_number(y)}" for x, y in shape.points)
        return f"<polygon {_attributes(points=points, fill=shape.fill)}/>"
    if isinstance(shape, Raster):
        jpeg = picture_bytes(np.asarray(shape.image), ".jpg", quality=88)
        data = f"data:image/jpeg;base64,{base64.b64encode(jpeg).decode()}"
        place = _attributes(x=shape.x, y=shape.y, width=shape.width, height=shape.height)
        return f'<image {place} preserveAspectRatio="none" href="{data}"/>'
    weight = {"font_weight": "600"} if shape.bold else {}
    look = _attributes(
        x=shape.x, y=shape.y, font_size=shape.size_px, fill=shape.fill, text_anchor=shape.anchor,
        **weight,
    )  # fmt: skip
    return f"<text {look}>{escape(shape.text, quote=False)}</text>"


def typeface_css() -> str:
    """Style rule that carries the typeface, so that text is as wide as it was reckoned."""
    data = base64.b64encode(typeface()).decode()
    return f'@font-face {{ font-family: "{TYPEFACE}"; src: url(data:font/ttf;base64,{data}); }}'


def to_svg(drawing: Drawing, *, alone: bool = True) -> str:
    """SVG document of the drawing; not `alone` in a page that has `typeface_css` itself."""
    box = f'viewBox="0 0 {drawing.width} {drawing.height}"'
    size = _attributes(width=drawing.width, height=drawing.height)
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {box} {size} role="img" '
        f'font-family="{TYPEFACE}, system-ui, Helvetica, Arial, sans-serif">',
        *([f"<style>{typeface_css()}</style>"] if alone else []),
        f"<title>{escape(drawing.title, quote=False)}</title>",
        f'<rect width="100%" height="100%" fill="{drawing.paper}"/>',
        *(_element(shape) for shape in drawing.shapes),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def write_picture(drawing: Drawing, path: Path, *, force: bool = False) -> None:
    """Write the drawing as PNG or SVG, by the name's ending; whole or not at all.

    Raises `RequestError`: another ending, or a file that exists without `force`.
    Raises `OutputError`: the folder or the disk refuses it.
    """
    check_picture_name(path)
    svg = path.suffix.lower() == ".svg"
    write_whole(path, to_svg(drawing) if svg else to_png(drawing), force=force)
