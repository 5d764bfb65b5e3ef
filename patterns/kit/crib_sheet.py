"""The crib sheet: one printed page that says what to look for on each clip."""

from __future__ import annotations

from fractions import Fraction
from html import escape
from typing import Any

from patterns.drawing.page import CAUTION, html_page
from patterns.kit.what_to_look_for import fastest_place, heading, look_for
from patterns.timing.rates import format_rate

__all__ = ["crib_sheet"]

_CSS = """
@page { size: A4; margin: 14mm; }
table { border-collapse: collapse; width: 100%; margin: 0.6rem 0 1rem; font-size: var(--small); }
th, td { text-align: left; vertical-align: top; padding: 0.35rem 0.7rem 0.35rem 0;
  border-bottom: 1px solid var(--rule); }
th { font-weight: 650; }
td.rate { white-space: nowrap; font-weight: 650; }
td.seen { width: 24%; }
.scroll { overflow-x: auto; }
h2 { margin-top: 1.2rem; break-after: avoid; }
section { break-inside: avoid; }
@media print { h1 { font-size: 16pt; } body { font-size: 9.5pt; } h2 { font-size: 12pt; }
  .caution { background: none; border: 1px solid #000; } th, td { border-color: #999; } }
"""


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
        f'<div class="scroll"><table><thead><tr><th>fps</th><th>px a frame</th>{head}'
        f"<th>seen on this device</th></tr></thead><tbody>{rows}</tbody></table></div></section>"
    )


def crib_sheet(kit: dict[str, Any]) -> str:
    """HTML of the crib sheet, from the object that kit.json holds."""
    sections = "".join(_section(group, kit["displays"]) for group in kit["patterns"])
    body = (
        f"<h1>What to look for</h1>"
        f'<p class="lead">Device: ____________________ &nbsp; Player: ____________________ '
        f"&nbsp; Date: ____________</p>"
        f"<p>Full screen, brightness up, battery saver off. Follow the motion with your eyes. "
        f"In the strip along the edge one cell of the middle row is lit for each frame: filmed at "
        f"240 fps or photographed for a whole second, it tells how long each frame was held.</p>"
        f"{sections}"
        f'<div class="caution" role="note"><p><strong>Caution.</strong> {CAUTION}</p></div>'
    )
    return html_page("Evenhold crib sheet", body, css=_CSS)
