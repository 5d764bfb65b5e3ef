"""A plan as a card to print on A4 and tape to the case, with the numbers on its back."""

from __future__ import annotations

import base64
from html import escape
from importlib.resources import files

from patterns.drawing.canvas import to_png
from patterns.drawing.style import LIGHT, css_properties, scheme_properties
from patterns.planning.plan import Plan
from patterns.planning.plan_picture import plan_picture
from patterns.planning.plan_text import Fact, brief_facts
from patterns.planning.sections import Section, Table, plan_sections


def plan_page(plan: Plan) -> str:
    """Whole page as HTML, self-contained, no script: what to set in front, the numbers behind."""
    request = plan.request
    style = files("patterns.planning").joinpath("plan_page.css").read_text(encoding="utf-8")
    style = style.replace("/* LIGHT */", scheme_properties(LIGHT))
    move = f"{request.motion.words}, {request.width}×{request.height}"
    cards = "\n".join(_card(fact) for fact in brief_facts(plan))
    back = "\n".join(_section(n, s) for n, s in enumerate(plan_sections(plan), start=1))
    front = "front plain" if plan.best.movement.within else "front"
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        "img-src data:; style-src 'unsafe-inline'\">\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>Shooting plan: {escape(move)}</title>\n"
        f"<style>\n{css_properties()}{style}</style>\n</head>\n<body>\n<main>\n"
        f'<div class="{front}">\n<h1>Shooting plan</h1>\n'
        f'<p class="move">{escape(move[0].upper() + move[1:])}.</p>\n'
        f'<ul class="set">\n{cards}\n</ul>\n{_map(plan)}'
        '<p class="care">An aid to judgement: local rules and licensed practice come first.</p>\n'
        f'</div>\n<div class="back">\n{back}\n</div>\n</main>\n</body>\n</html>\n'
    )


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
    """Set a table that can be scrolled by keyboard where it is wider than the page."""
    last = len(table.head) - 1 if table.sentences else None

    def cells(kind: str, row: tuple[str, ...]) -> str:
        kinds = [f'{kind} class="words"' if i == last else kind for i in range(len(row))]
        pairs = zip(kinds, row, strict=True)
        return "".join(f"<{opened}>{escape(cell)}</{kind}>" for opened, cell in pairs)

    body = "".join(f"<tr>{cells('td', row)}</tr>" for row in table.rows)
    return (
        f'<div class="scroll" tabindex="0" role="group" aria-label="{escape(name)}"><table>'
        f"<thead><tr>{cells('th', table.head)}</tr></thead><tbody>{body}</tbody></table></div>"
    )
