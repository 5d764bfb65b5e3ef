"""A plan as a card to print on A4 and tape to the case, with the numbers on its back; its map."""

from __future__ import annotations

import base64
from fractions import Fraction
from html import escape
from itertools import product

from PIL import Image

from patterns.clip import Clip
from patterns.drawing.canvas import Box, Drawing, Polygon, Raster, Stroke, Text, to_png
from patterns.drawing.style import (
    LIGHT,
    css_properties,
    html_page,
    page_part,
    scheme_properties,
    table_in_page,
)
from patterns.frame_source import FrameSource
from patterns.picture.lettering import size_for_width
from patterns.picture.planes import planes_to_rgb
from patterns.planning.plan import Plan, PlanRequest
from patterns.planning.sections import Section, Table, plan_sections
from patterns.planning.words import Fact, brief_facts, fps, number, percent
from patterns.scenes.motion import speed_map

WIDTH, FOOT = 960, 64
COLUMNS = 60


def plan_picture(plan: Plan) -> Drawing:
    """Draw the rendered scene, what is past the guidance hatched and framed in it.

    Hatching and frame stand out in grey too; a diamond marks the fastest place.
    """
    request, best = plan.request, plan.best.movement
    width = WIDTH if request.width >= request.height else WIDTH // 2
    height = round(width * request.height / request.width)
    share = f"{percent(best.past_share)} of the moving picture is" if not best.within else "nothing"
    title = f"At {fps(plan.best.rate)} fps {share} past the guidance"
    drawing = Drawing(width, height + FOOT, LIGHT.paper, title)
    drawing.add(Raster(0, 0, width, height, _scene(request, plan.best.rate, width)))
    speeds = speed_map(request.motion, request.width, request.height, grid=COLUMNS)
    past = (speeds > best.limit_px_s * (1 + 1e-6)).tolist()
    _hatch(drawing, past, width, height)
    if best.step_px:
        _fastest(drawing, plan, width, height)
    _legend(drawing, plan, width, height)
    return drawing


def _scene(request: PlanRequest, rate: Fraction, width: int) -> Image.Image:
    """First frame of the move at the advised rate, without the strip, about `width` pixels wide.

    A flight looks the same at any size; bars are measured in pixels, and keep theirs.
    """
    size = request.width, request.height
    if not request.motion.in_pixels:
        size = width, 2 * round(width * request.height / request.width / 2)
    exposure_s = request.shutter.at(rate)
    clip = Clip(request.motion, rate, exposure_s, *size, frames=1, strip="none")
    return Image.fromarray(planes_to_rgb(FrameSource(clip).draw(0)))


def _hatch(drawing: Drawing, past: list[list[bool]], width: int, height: int) -> None:
    """Slanted lines through each place past the guidance, and the border of them all."""
    rows, columns = len(past), len(past[0])

    def at(column: int, row: int) -> tuple[float, float]:
        return round(column * width / columns), round(row * height / rows)

    cells = [(row, column) for row, column in product(range(rows), range(columns))]
    for row, column in cells:
        if past[row][column]:
            (x0, y0), (x1, y1) = at(column, row + 1), at(column + 1, row)
            drawing.add(Stroke(x0, y0, x1, y1, LIGHT.wrong, 3))
    for row, column in cells:
        if column and past[row][column] != past[row][column - 1]:
            drawing.add(Stroke(*at(column, row), *at(column, row + 1), LIGHT.wrong, 4))
        if row and past[row][column] != past[row - 1][column]:
            drawing.add(Stroke(*at(column, row), *at(column + 1, row), LIGHT.wrong, 4))


def _fastest(drawing: Drawing, plan: Plan, width: int, height: int) -> None:
    """Draw a diamond at the fastest place, kept inside the picture."""
    side = 18.0
    x = min(max(plan.speed.fastest_xy[0] * width, side), width - side)
    y = min(max(plan.speed.fastest_xy[1] * height, side), height - side)
    diamond = ((0.0, -side), (side, 0.0), (0.0, side), (-side, 0.0))
    for scale, fill in ((1.0, LIGHT.ink), (0.72, LIGHT.paper), (0.4, LIGHT.ink)):
        drawing.add(Polygon(tuple((x + scale * a, y + scale * b) for a, b in diamond), fill))


def _legend(drawing: Drawing, plan: Plan, width: int, height: int) -> None:
    best = plan.best.movement
    top, swatch = height + 20, 36
    drawing.add(Box(4, top, swatch, 24, LIGHT.panel))
    for x in range(4, 4 + swatch, 12):
        drawing.add(Stroke(x, top + 24, x + 12, top, LIGHT.wrong, 3))
    words = (
        f"faster than {number(best.limit_step_px, 1)} px a frame; diamond: fastest, "
        f"{number(best.step_px, 1)} px"
    )
    x = 4 + swatch + 14
    size = size_for_width(words, width - x - 4, 24)
    drawing.add(Text(x, top + 20, words, size, LIGHT.ink))


def plan_page(plan: Plan) -> str:
    """Whole page as HTML, self-contained, no script: what to set in front, the numbers behind."""
    request = plan.request
    move = f"{request.motion.words}, {request.width}×{request.height}"
    body = page_part(
        "planning",
        "plan_page.html",
        front="front plain" if plan.best.movement.within else "front",
        move=escape(move[0].upper() + move[1:]),
        cards="\n".join(_card(fact) for fact in brief_facts(plan)),
        map=_map(plan),
        back="\n".join(_section(n, s) for n, s in enumerate(plan_sections(plan), start=1)),
    )
    css = page_part("planning", "plan_page.css", light=scheme_properties(LIGHT))
    return html_page(f"Shooting plan: {move}", body, css=css, common=css_properties())


def _card(fact: Fact) -> str:
    kind = ' class="mind"' if fact.mind else ""
    return (
        f'<li{kind}><span class="what">{escape(fact.what)}</span><b>{escape(fact.value)}</b>'
        f'<span class="why">{escape(fact.why)}</span></li>'
    )


def _map(plan: Plan) -> str:
    """Map of where the move is too fast; nothing where it is not."""
    if plan.best.movement.within:
        return ""
    drawing = plan_picture(plan)
    png = base64.b64encode(to_png(drawing)).decode()
    return (
        f'<figure><figcaption>{escape(drawing.title)}</figcaption><img alt="" '
        f'width="{drawing.width}" height="{drawing.height}" src="data:image/png;base64,{png}">'
        "</figure>\n"
    )


def _section(place: int, section: Section) -> str:
    parts = [f"<h2>{place} {escape(section.title)}</h2>"]
    parts += [f"<p>{escape(note)}</p>" for note in section.notes]
    if section.table is not None:
        parts.append(_table(section.title, section.table))
    if section.items:
        items = "".join(f"<li>{escape(item)}</li>" for item in section.items)
        parts.append(f"<ul>{items}</ul>")
    return "<section>\n" + "\n".join(parts) + "\n</section>"


def _table(name: str, table: Table) -> str:
    last = len(table.head) - 1 if table.sentences else None

    def cells(kind: str, row: tuple[str, ...]) -> str:
        kinds = [f'{kind} class="words"' if i == last else kind for i in range(len(row))]
        pairs = zip(kinds, row, strict=True)
        return "".join(f"<{opened}>{escape(cell)}</{kind}>" for opened, cell in pairs)

    body = "".join(f"<tr>{cells('td', row)}</tr>" for row in table.rows)
    return table_in_page(name, cells("th", table.head), body)
