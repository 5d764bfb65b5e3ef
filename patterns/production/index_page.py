"""The kit's index: opened from the folder on a phone or a laptop, it plays every clip."""

from __future__ import annotations

from fractions import Fraction
from html import escape
from typing import Any
from urllib.parse import quote

from patterns.present.page import CAUTION, html_page
from patterns.production.what_to_look_for import HEADINGS, look_for, without_mark
from patterns.timing.rates import format_rate

__all__ = ["index_page"]

_CSS = """
.clips { display: grid; grid-template-columns: repeat(auto-fill, minmax(min(100%, 19rem), 1fr));
  gap: 1.5rem var(--gap); margin: 1rem 0; padding: 0; list-style: none; }
.clips video { display: block; width: 100%; height: auto; background: #000;
  border-radius: var(--radius); }
.clips .rate { font-size: var(--heading); margin: 0.5rem 0 0.1rem; }
.holds { margin: 0.2rem 0 0; padding: 0; list-style: none; font-size: var(--small); }
.holds li { margin: 0.25rem 0; }
.mark { display: inline-block; min-width: 4.2em; margin-right: 0.4em; padding: 0 0.45em;
  border-radius: var(--radius); text-align: center; }
.mark.even { background: var(--calm); color: var(--calm-ink); }
.mark.uneven { background: var(--ink); color: var(--paper); }
nav a { margin-right: 1.2rem; display: inline-block; padding: 0.4rem 0; }
"""


def _holds(record: dict[str, Any]) -> str:
    rows = []
    for entry in record["cadence"]:
        kind = "even" if entry["even"] else "uneven"
        rows.append(
            f'<li><span class="mark {kind}">{kind}</span>'
            f"{escape(entry['display'])} Hz: {escape(without_mark(entry['verdict']))}</li>"
        )
    return f'<ul class="holds">{"".join(rows)}</ul>'


def _flashing(record: dict[str, Any]) -> str:
    if record["safety"]["verdict"] == "pass":
        return ""
    return (
        f'<div class="caution" role="note"><p><strong>Exceeds a limit for flashes or stripes.'
        f"</strong> {escape(record['safety']['summary'])}</p></div>"
    )


def _clip(record: dict[str, Any], poster: str) -> str:
    rate = format_rate(Fraction(record["rate_exact"]))
    place = record["image_motion"]["fastest"]
    return (
        f"<li>{_flashing(record)}"
        f'<video controls loop muted playsinline preload="none" poster="{quote(poster)}" '
        f'width="{record["width"]}" height="{record["height"]}" src="{quote(record["file"])}" '
        f'aria-label="{escape(record["pattern"])} at {escape(rate)} frames a second"></video>'
        f'<h3 class="rate">{escape(rate)} fps</h3>'
        f'<a href="{quote(record["file"])}">{escape(record["file"])}</a>'
        f'<p class="small">{record["duration_s"]:.3g} s, shutter {record["shutter_deg"]:.4g}°, '
        f"at most {place['px_per_frame']:.1f} px a frame</p>"
        f"{_holds(record)}</li>"
    )


def _pattern(group: dict[str, Any]) -> str:
    name = group["pattern"]
    clips = "".join(_clip(record, group["poster"]) for record in group["clips"])
    return (
        f'<section id="{name}"><h2>{HEADINGS[name]}</h2><p>{look_for(name)}</p>'
        f'<ul class="clips">{clips}</ul></section>'
    )


def index_page(kit: dict[str, Any]) -> str:
    """HTML of the index, from the object that kit.json holds."""
    groups = kit["patterns"]
    links = "".join(f'<a href="#{g["pattern"]}">{HEADINGS[g["pattern"]]}</a>' for g in groups)
    displays = " and ".join(f"{name} Hz" for name in kit["displays"])
    body = (
        f"<h1>How evenly does this screen hold its frames?</h1>"
        f'<p class="lead">The same three moves at several frame rates. Play one full screen, then '
        f"the next: the speed is the same, only the rate differs. What each should do is stated "
        f"for {escape(displays)}.</p>"
        f'<div class="caution" role="note"><p><strong>Before you play.</strong> {CAUTION}</p></div>'
        f'<nav aria-label="Patterns">{links}<a href="crib-sheet.html">Crib sheet to print</a></nav>'
        f"{''.join(_pattern(group) for group in groups)}"
        f'<p class="small">Full screen shows the true thing: a small picture is scaled by the '
        f"player. If a clip stutters that should be even, the player or its power saving may be "
        f"the cause: try another player, charge the device, and play again.</p>"
    )
    return html_page("Evenhold kit", body, css=_CSS)
