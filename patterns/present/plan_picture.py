"""The map of a move: where in the picture it goes how fast, and where past the guidance."""

from __future__ import annotations

from itertools import product
from math import isnan

from patterns.planning.plan import Plan
from patterns.planning.words import fps, number, percent
from patterns.present.canvas import Box, Drawing, Polygon, Stroke, Text
from patterns.present.style import LIGHT, Scheme
from patterns.rendering.lettering import size_for_width
from patterns.scenes.speed import speed_map

__all__ = ["BANDS", "plan_picture"]

WIDTH, FOOT = 960, 92
COLUMNS = 60
BANDS = 5  # steps of shade up to the limit


def plan_picture(plan: Plan, colours: Scheme = LIGHT) -> Drawing:
    """Draw the move's picture at the advised rate, light to dark with speed.

    Places past the guidance are orange, with a border and crosses, so that they stand out in
    grey too; sky is left blank; a diamond marks the fastest place.
    """
    request, best = plan.request, plan.best.movement
    width = WIDTH if request.width >= request.height else WIDTH // 2
    height = round(width * request.height / request.width)
    title = (
        f"Image speed at {fps(best.rate)} fps: {percent(best.past_share)} of the moving picture "
        "is past the guidance"
    )
    drawing = Drawing(width, height + FOOT, colours.paper, title)
    speeds = speed_map(request.motion, request.width, request.height, grid=COLUMNS)
    times = (speeds / best.limit_px_s).tolist()
    _cells(drawing, times, width, height, colours)
    _limit_line(drawing, times, width, height, colours)
    _fastest(drawing, plan, width, height, colours)
    _legend(drawing, plan, width, height, colours)
    return drawing


def _mix(low: str, high: str, share: float) -> str:
    pairs = [(int(low[i : i + 2], 16), int(high[i : i + 2], 16)) for i in (1, 3, 5)]
    return "#" + "".join(f"{round(a + (b - a) * share):02x}" for a, b in pairs)


def _shade(times: float, colours: Scheme) -> str:
    """Colour of a place at `times` the limit, in `BANDS` steps below it."""
    if times > 1 + 1e-6:
        return colours.odd
    band = min(BANDS - 1, int(times * BANDS))
    return _mix(colours.panel, colours.usual, (band + 1) / BANDS)


def _cells(
    drawing: Drawing, times: list[list[float]], width: int, height: int, colours: Scheme
) -> None:
    rows, columns = len(times), len(times[0])
    for row, line in enumerate(times):
        top, bottom = round(row * height / rows), round((row + 1) * height / rows)
        for column, value in enumerate(line):
            if isnan(value):
                continue
            left = round(column * width / columns)
            right = round((column + 1) * width / columns)
            shade = _shade(value, colours)
            drawing.add(Box(left, top, right - left, bottom - top, shade))
    for ends in ((0, 0, width, 0), (0, height, width, height)):
        drawing.add(Stroke(*ends, colours.muted, 2))
    for x in (1, width - 1):
        drawing.add(Stroke(x, 0, x, height, colours.muted, 2))


def _limit_line(
    drawing: Drawing, times: list[list[float]], width: int, height: int, colours: Scheme
) -> None:
    """Draw the border of what is past the guidance, and crosses within it."""
    rows, columns = len(times), len(times[0])
    past = [[value > 1 + 1e-6 for value in line] for line in times]

    def at(column: float, row: float) -> tuple[float, float]:
        return round(column * width / columns), round(row * height / rows)

    for row, column in product(range(rows), range(columns)):
        if column and past[row][column] != past[row][column - 1]:
            drawing.add(Stroke(*at(column, row), *at(column, row + 1), colours.ink, 3))
        if row and past[row][column] != past[row - 1][column]:
            drawing.add(Stroke(*at(column, row), *at(column + 1, row), colours.ink, 3))
        if past[row][column] and row % 4 == 2 and column % 4 == (2 if row % 8 == 2 else 0):
            _cross(drawing, *at(column + 0.5, row + 0.5), colours)


def _cross(drawing: Drawing, x: float, y: float, colours: Scheme) -> None:
    for a in (-5, 5):
        drawing.add(Stroke(x - 5, y - a, x + 5, y + a, colours.odd_ink, 2))


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
    swatch, top = 30, height + 18
    x = 4.0
    for band in range(BANDS):
        shade = _shade((band + 0.5) / BANDS, colours)
        drawing.add(Box(x, top, swatch, 20, shade))
        x += swatch
    drawing.add(Box(x, top, swatch, 20, colours.odd))
    drawing.add(Stroke(x, top, x, top + 20, colours.ink, 3))
    _cross(drawing, x + swatch / 2, top + 10, colours)
    x += swatch + 14
    allowed = f"still to {number(best.limit_step_px)} px a frame, then past the guidance"
    at = f"at {fps(best.rate)} fps; fastest (diamond) {number(best.step_px, 1)} px a frame"
    drawing.add(
        _fitted(x, top + 17, allowed, width - x - 4, colours.ink),
        _fitted(4, top + 56, f"{at}; blank is sky", width - 8, colours.muted),
    )


def _fitted(x: float, y: float, words: str, room: float, fill: str) -> Text:
    return Text(x, y, words, size_for_width(words, room, 20), fill)
