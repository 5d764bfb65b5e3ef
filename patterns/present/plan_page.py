"""A plan as one page to print and tape to the case: self-contained, no script."""

from __future__ import annotations

from html import escape
from importlib.resources import files

from patterns.planning.plan import Plan
from patterns.planning.rate_words import conform_verdict, rate_reason
from patterns.planning.setting_words import (
    filter_words,
    movement_verdict,
    shutter_verdict,
)
from patterns.planning.words import fps, move_words, number, percent
from patterns.present.plan_sections import plan_sections
from patterns.present.style import LIGHT, css_properties, scheme_properties
from patterns.timing.shutter import format_exposure

__all__ = ["plan_page"]


def plan_page(plan: Plan) -> str:
    """Whole page as HTML: what to set on top, large; the numbers behind it below."""
    request = plan.request
    style = files("patterns.present").joinpath("plan_page.css").read_text(encoding="utf-8")
    move = f"{move_words(request.motion)}, {request.width}×{request.height}"
    style = style.replace("/* LIGHT */", scheme_properties(LIGHT))
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>Shooting plan: {escape(move)}</title>\n"
        f"<style>\n{css_properties()}{style}</style>\n"
        "</head>\n<body>\n"
        f'<h1>Shooting plan</h1>\n<p class="move">{escape(move[0].upper() + move[1:])}.</p>\n'
        f"{_settings(plan)}\n"
        f'<div class="parts">\n{chr(10).join(plan_sections(plan))}\n</div>\n</body>\n</html>\n'
    )


def _card(what: str, value: str, why: str, *, mind: bool = False) -> str:
    kind = ' class="mind"' if mind else ""
    return (
        f'<li{kind}><span class="what">{escape(what)}</span><b>{escape(value)}</b>'
        f'<span class="why">{escape(why)}</span></li>'
    )


def _settings(plan: Plan) -> str:
    best = plan.best
    shutter, movement = best.shutter, best.movement
    standing = best.advice.standing
    mains = shutter.mains
    cards = [
        _card(
            "Rate",
            f"{fps(best.rate)} fps",
            rate_reason(best.advice, None),
            mind=not standing.even_everywhere,
        ),
        _card(
            "Shutter",
            format_exposure(shutter.advised_s),
            shutter_verdict(shutter),
            mind=mains is not None and mains.nearest_s is None,
        ),
    ]
    if shutter.filters is not None:
        cards.append(
            _card("Filter", shutter.filters.names, filter_words(shutter.filters),
                  mind=shutter.filters.wanted_stops < 0)
        )  # fmt: skip
    cards.append(
        _card(
            "Fastest place crosses in",
            f"{number(movement.fastest_cross_s, 1)} s" if movement.step_px else "–",
            movement_verdict(movement),
            mind=not movement.within,
        )
    )
    for advice in plan.footage:
        value = fps(advice.footage)
        if advice.best is not None:
            conform = advice.best.conform
            value = f"{percent(conform.speed)} in {fps(conform.timeline)}"
        cards.append(_card(f"Shot at {fps(advice.footage)}", value, conform_verdict(advice)))
    return f'<ul class="set">{"".join(cards)}</ul>'
