"""A plan as text: what to do in at most twelve lines, or all sections, 79 columns wide."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from math import floor, log10

from patterns.planning import words
from patterns.planning.plan import MovementAdvice, Plan
from patterns.planning.sections import Section, Table, plan_sections
from patterns.planning.words import fps, remedy_words
from patterns.timing.notation import plural
from patterns.timing.rates import beyond_guidance

WIDTH, MOST_LINES = 60, 12
LABEL = 10  # columns
SETTINGS, FOOTAGE_NAMED = 4, 2  # rate, shutter, filter and move; then footage


@dataclass(frozen=True)
class Fact:
    """One thing to set: what it is, its value, why, and whether it needs care."""

    what: str
    value: str
    why: str
    mind: bool = False


def brief_facts(plan: Plan) -> tuple[Fact, ...]:
    """What to set: rate, shutter, filter, movement, and footage at hand."""
    best = plan.best
    shutter, filters, movement = best.shutter, best.shutter.filters, best.movement
    footage = [
        Fact(f"Shot {fps(advice.footage)}", *words.conform_brief(advice))
        for advice in plan.footage[:FOOTAGE_NAMED]
    ]
    exposed = words.shutter_brief(shutter, plan.request.mains_hz)
    too_dark = filters is not None and filters.wanted_stops < 0
    return (
        Fact("Rate", *words.rate_brief(plan), mind=not best.standing.even_everywhere),
        Fact("Shutter", *exposed, mind=shutter.flickers),
        Fact("Filter", *words.filter_brief(filters), mind=too_dark),
        Fact("Move", *_move(movement), mind=not movement.within),
        *footage,
    )


def brief_text(plan: Plan) -> str:
    """At most twelve lines of at most 60 columns, ending in a newline."""
    facts = brief_facts(plan)
    for footage in range(len(facts) - SETTINGS, -1, -1):  # as much of it as there is room for
        lines = _lines(plan, facts[: SETTINGS + footage])
        if len(lines) <= MOST_LINES:
            break
    return "\n".join(lines) + "\n"


def _lines(plan: Plan, facts: tuple[Fact, ...]) -> list[str]:
    lines = _line("Plan", plan.request.motion.brief)
    for fact in facts:
        lines += _line(fact.what, f"{fact.value}: {fact.why}")
    left = len(plan.footage) - (len(facts) - SETTINGS)
    more = f" ({plural(left, 'more rate')} shot)" if left else ""
    lines += _line("Care", "local rules and licensed practice come first")
    return lines + _line("More", f"--details or --html FILE{more}")


def _line(what: str, text: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=f"{what:<{LABEL}}", subsequent_indent=" " * LABEL,
        break_on_hyphens=False,
    )  # fmt: skip


def _move(movement: MovementAdvice) -> tuple[str, str]:
    """How fast one may move at the advised rate, and how that stands to what was asked."""
    if not movement.step_px:
        return "as it is", "nothing moves"
    # two significant digits
    steps = [10.0 ** (floor(log10(remedy.meets_at)) - 1) for remedy in movement.remedies]
    limits = " or ".join(map(remedy_words, movement.remedies, steps))
    times = movement.times_limit
    if movement.within:
        return limits, f"now {100 * times:.0f} % of the guidance"
    return limits, f"now TOO FAST, {beyond_guidance(times)}"


PAGE_WIDTH = 79
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
        text, PAGE_WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
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
