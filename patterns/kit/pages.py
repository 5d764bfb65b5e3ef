"""The kit's pages, opened from its folder: the index, the crib sheet to print, how to film."""

from __future__ import annotations

from fractions import Fraction
from html import escape
from typing import Any

from patterns.drawing.style import CAUTION, FOLDER, html_page, page_part
from patterns.kit.player_parts import (
    NO_SCRIPT,
    caution_dialog,
    clip_group,
    exceeds,
    heading,
    look_for,
    part,
    player,
    script,
)
from patterns.timing.cadence import cadence, parse_display
from patterns.timing.cadence_text import short_verdict
from patterns.timing.rates import format_rate


def fastest_place(record: dict[str, Any]) -> str:
    """Sentence that says where a clip moves fastest, from its record; '' if nowhere more."""
    place = record["image_motion"]["fastest"]
    typical = record["image_motion"]["typical"]
    if place["px_per_s"] == typical["px_per_s"]:
        return ""
    down = "lower" if place["at_y"] > 2 / 3 else "upper" if place["at_y"] < 1 / 3 else "middle"
    if place["at_x"] in (0.0, 1.0) and down != "middle":
        where = f"{down} corners"
    else:
        side = "left" if place["at_x"] < 1 / 3 else "right" if place["at_x"] > 2 / 3 else "centre"
        where = f"{down} {side}"
    times = place["px_per_s"] / typical["px_per_s"] if typical["px_per_s"] else 0
    return f" Fastest place: {where}, {times:.1f} times the typical speed."


HOW_TO_NAME = "how-to-film.html"
HOW_TO_TITLE = "How to film and photograph a screen"


def how_to_body() -> str:
    """HTML of the page's `main`."""
    return page_part("kit", "how_to_film.html")


def how_to_page() -> str:
    """Whole page, for a folder."""
    return html_page(HOW_TO_TITLE, how_to_body())


def _row(record: dict[str, Any]) -> str:
    rate = format_rate(Fraction(record["rate_exact"]))
    cells = "".join(f"<td>{escape(entry['verdict'])}</td>" for entry in record["cadence"])
    pace = f"{record['image_motion']['fastest']['px_per_frame']:.1f}"
    return (
        f'<tr><td class="rate">{escape(rate)}</td><td>{pace}</td>{cells}<td class="seen"></td></tr>'
    )


def _section(group: dict[str, Any], displays: list[str]) -> str:
    head = "".join(f"<th>on {escape(name)} Hz</th>" for name in displays)
    rows = "".join(_row(record) for record in group["clips"])
    return (
        f"<section><h2>{escape(heading(group['pattern']))}</h2>"
        f"<p>{escape(look_for(group['pattern']))}{fastest_place(group['clips'][0])}</p>"
        f'<div class="scroll" tabindex="0" role="group" aria-label="What each rate should show">'
        f"<table><thead><tr><th>fps</th><th>px a frame</th>{head}"
        f"<th>seen on this device</th></tr></thead><tbody>{rows}</tbody></table></div></section>"
    )


def crib_sheet(kit: dict[str, Any]) -> str:
    """HTML of the crib sheet, from the object that kit.json holds."""
    sections = "".join(_section(group, kit["displays"]) for group in kit["patterns"])
    body = (
        f"<h1>What to look for</h1>"
        f'<p class="blanks"><span>Device</span><span>Player</span><span>Date</span></p>'
        f"<p>Full screen, brightness up, battery saver off. Follow the motion with your eyes. "
        f"In the strip along the edge one cell of the middle row is lit for each frame: filmed at "
        f"240 fps or photographed for a whole second, it shows how long each frame was held.</p>"
        f"{sections}"
        f'<div class="caution" role="note"><p><strong>Caution.</strong> {CAUTION}</p></div>'
    )
    return html_page("Evenhold crib sheet", body, css="\n" + page_part("kit", "crib_sheet.css"))


def _table(kit: dict[str, Any]) -> str:
    """What each rate does on the displays that the kit was made for."""
    rates = dict.fromkeys(clip["rate_exact"] for g in kit["patterns"] for clip in g["clips"])
    head = "".join(f"<th>{escape(name)} Hz</th>" for name in kit["displays"])
    rows = []
    for rate in sorted(map(Fraction, rates)):
        cells = "".join(
            f"<td>{escape(short_verdict(cadence(rate, parse_display(name))))}</td>"
            for name in kit["displays"]
        )
        rows.append(f"<tr><th>{float(rate):.6g} fps</th>{cells}</tr>")
    return (
        '<section aria-label="By arithmetic"><h2>What each should do</h2><p>Refreshes for which '
        "a display holds each frame, in turn.</p>"
        '<div class="scroll" tabindex="0" role="group" aria-label="Holds by rate and display">'
        f"<table><thead><tr><td></td>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"
        "</div></section>"
    )


def index_page(kit: dict[str, Any]) -> str:
    """HTML of the index, from the object that kit.json holds."""
    groups = "".join(
        clip_group(g["pattern"], g["poster"], g["clips"], base="") for g in kit["patterns"]
    )
    exceeding = [clip for g in kit["patterns"] for clip in g["clips"] if exceeds(clip)]
    body = (
        "<h1>How evenly does this screen hold its frames?</h1>"
        '<p class="lead">Tap a clip: it plays full screen, again and again. Swipe or use the '
        "arrow keys for the next. The speed is the same in all clips of a row; only the rate "
        "differs.</p>"
        f"{NO_SCRIPT}<p id='measured' class='note' role='status'>Measuring this screen's "
        "refresh …</p><p id='missing' class='note'></p>"
        f"{groups}{_table(kit)}"
        '<p class="note">Full screen shows the true thing: a small picture is scaled by the '
        "player. If a clip stutters that should be even, the player or its power saving may be "
        "the cause: charge the device, try another player, and play again. "
        '<a href="crib-sheet.html">Crib sheet to print</a></p>'
        '<p class="note">What the glass really showed, a camera sees: '
        f'<a href="{HOW_TO_NAME}">{HOW_TO_TITLE}</a></p>'
    )
    after = (
        f"{player().replace('Stop and sum up', 'Stop')}{caution_dialog(exceeding, 'you play')}"
        f"<script>\n{script('kit')}\n</script>"
    )
    return html_page("Evenhold kit", body, css=part("page.css"), policy=FOLDER, after=after)
