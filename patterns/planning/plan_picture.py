"""The map of a move: the scene, and where in it the move is too fast."""

from __future__ import annotations

from fractions import Fraction
from itertools import product

from PIL import Image

from patterns.clip import Clip
from patterns.drawing.canvas import Box, Drawing, Polygon, Raster, Stroke, Text
from patterns.drawing.style import LIGHT, Scheme
from patterns.frame_source import FrameSource
from patterns.picture.lettering import size_for_width
from patterns.picture.stills import planes_to_rgb
from patterns.planning.plan import Plan
from patterns.planning.request import PlanRequest
from patterns.planning.words import fps, number, percent
from patterns.scenes.speed import speed_map

WIDTH, FOOT = 960, 64
COLUMNS = 60


def plan_picture(plan: Plan, colours: Scheme = LIGHT) -> Drawing:
    """Draw the rendered scene, what is past the guidance hatched and framed in it.

    Hatching and frame stand out in grey too; a diamond marks the fastest place.
    """
    request, best = plan.request, plan.best.movement
    width = WIDTH if request.width >= request.height else WIDTH // 2
    height = round(width * request.height / request.width)
    share = f"{percent(best.past_share)} of the moving picture is" if not best.within else "nothing"
    title = f"At {fps(best.rate)} fps {share} past the guidance"
    drawing = Drawing(width, height + FOOT, colours.paper, title)
    drawing.add(Raster(0, 0, width, height, _scene(request, plan.best.rate, width)))
    speeds = speed_map(request.motion, request.width, request.height, grid=COLUMNS)
    past = (speeds > best.limit_px_s * (1 + 1e-6)).tolist()
    _hatch(drawing, past, width, height, colours)
    if best.step_px:
        _fastest(drawing, plan, width, height, colours)
    _legend(drawing, plan, width, height, colours)
    return drawing


def _scene(request: PlanRequest, rate: Fraction, width: int) -> Image.Image:
    """First frame of the move at the advised rate, without the strip, about `width` pixels wide.

    A flight looks the same at any size; bars are measured in pixels, and keep theirs.
    """
    size = request.width, request.height
    if not request.motion.in_pixels:
        size = width, 2 * round(width * request.height / request.width / 2)
    clip = Clip(
        motion=request.motion,
        rate=rate,
        exposure_s=request.shutter.at(rate),
        width=size[0],
        height=size[1],
        frames=1,
        strip="none",
    )
    return Image.fromarray(planes_to_rgb(FrameSource(clip).draw(0)))


def _hatch(
    drawing: Drawing, past: list[list[bool]], width: int, height: int, colours: Scheme
) -> None:
    """Slanted lines through each place past the guidance, and the border of them all."""
    rows, columns = len(past), len(past[0])

    def at(column: int, row: int) -> tuple[float, float]:
        return round(column * width / columns), round(row * height / rows)

    cells = [(row, column) for row, column in product(range(rows), range(columns))]
    for row, column in cells:
        if past[row][column]:
            (x0, y0), (x1, y1) = at(column, row + 1), at(column + 1, row)
            drawing.add(Stroke(x0, y0, x1, y1, colours.wrong, 3))
    for row, column in cells:
        if column and past[row][column] != past[row][column - 1]:
            drawing.add(Stroke(*at(column, row), *at(column, row + 1), colours.wrong, 4))
        if row and past[row][column] != past[row - 1][column]:
            drawing.add(Stroke(*at(column, row), *at(column + 1, row), colours.wrong, 4))


def _fastest(drawing: Drawing, plan: Plan, width: int, height: int, colours: Scheme) -> None:
    """Draw a diamond at the fastest place, kept inside the picture."""
    side = 18.0
    x = min(max(plan.speed.fastest_xy[0] * width, side), width - side)
    y = min(max(plan.speed.fastest_xy[1] * height, side), height - side)
    diamond = ((0.0, -side), (side, 0.0), (0.0, side), (-side, 0.0))
    for scale, fill in ((1.0, colours.ink), (0.72, colours.paper), (0.4, colours.ink)):
        drawing.add(Polygon(tuple((x + scale * a, y + scale * b) for a, b in diamond), fill))


def _legend(drawing: Drawing, plan: Plan, width: int, height: int, colours: Scheme) -> None:
    best = plan.best.movement
    top, swatch = height + 20, 36
    drawing.add(Box(4, top, swatch, 24, colours.panel))
    for x in range(4, 4 + swatch, 12):
        drawing.add(Stroke(x, top + 24, x + 12, top, colours.wrong, 3))
    words = (
        f"faster than {number(best.limit_step_px, 1)} px a frame; diamond: fastest, "
        f"{number(best.step_px, 1)} px"
    )
    x = 4 + swatch + 14
    size = size_for_width(words, width - x - 4, 24)
    drawing.add(Text(x, top + 20, words, size, colours.ink))
