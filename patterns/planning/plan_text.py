"""A plan as text for a terminal: the brief, or with all its sections."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from patterns.planning.brief import brief_text
from patterns.planning.plan import Plan
from patterns.planning.sections import Section, Table, plan_sections

__all__ = ["plan_text"]

WIDTH = 79
GAP = "   "


def plan_text(plan: Plan, *, details: bool = False) -> str:
    """Brief of at most twelve lines; with `details` the sections behind it, 79 columns wide."""
    brief = brief_text(plan)
    if not details:
        return brief
    sections = ("\n".join(_section(n, s)) for n, s in enumerate(plan_sections(plan), start=1))
    return "\n".join([brief, *(f"{text}\n" for text in sections)])


def _wrap(text: str, first: str = "  ", rest: str = "  ") -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def _section(place: int, section: Section) -> Iterator[str]:
    yield f"{place}  {section.title}"
    for note in section.notes:
        yield from _wrap(note)
    if section.table is not None:
        yield ""
        yield from _table(section.table)
    if section.table is not None and section.items:
        yield ""
    for item in section.items:
        yield from _wrap(item, "  - ", "    ")


def _table(table: Table) -> Iterator[str]:
    """Columns flush right under their heads; sentences flush left, wrapped."""
    lines = [table.head, *table.rows]
    plain = len(table.head) - (1 if table.sentences else 0)
    widths = [max(len(line[i]) for line in lines) for i in range(plain)]
    indent = 2 + sum(widths) + len(GAP) * (plain - 1)
    for line in lines:
        cells = [f"{cell:>{width}}" for cell, width in zip(line, widths, strict=False)]
        text = "  " + GAP.join(cells)
        if table.sentences:
            pad = " " * (indent + len(GAP))
            yield from _wrap(line[-1], text + GAP, pad)
        else:
            yield text.rstrip()
