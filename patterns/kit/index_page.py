"""The kit's index: opened from the folder on a phone or a laptop, it plays and measures."""

from __future__ import annotations

from fractions import Fraction
from html import escape
from typing import Any

from patterns.drawing.page import FOLDER, html_page
from patterns.kit.how_to_page import HOW_TO_NAME, HOW_TO_TITLE
from patterns.kit.player_parts import (
    NO_SCRIPT,
    PLAYER,
    caution_dialog,
    clip_group,
    exceeds,
    part,
    script,
)
from patterns.timing.cadence import cadence, parse_display
from patterns.timing.verdict import short_verdict

__all__ = ["index_page"]


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
        f"{PLAYER.replace('Stop and sum up', 'Stop')}{caution_dialog(exceeding, 'you play')}"
        f"<script>\n{script('kit')}\n</script>"
    )
    return html_page("Evenhold kit", body, css=part("page.css"), policy=FOLDER, after=after)
