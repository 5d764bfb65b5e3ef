"""The pages of a presentation: the index to show from, and the speaker's notes to print."""

from __future__ import annotations

from html import escape
from typing import Any
from urllib.parse import quote

from patterns.drawing.page import CAUTION, html_page

__all__ = ["index_page", "notes_page"]

_CSS = """
ol.items { list-style: none; margin: 1.5rem 0 0; padding: 0; display: grid; gap: 2.75rem; }
ol.items h2 { margin: 0 0 0.3rem; }
.shown { display: block; width: 100%; height: auto; background: #000;
  border-radius: var(--radius); }
img.shown { background: none; }
.look { font-size: 1.1rem; margin: 0.6rem 0 0.3rem; }
.files a { display: inline-block; padding: 0.5rem 1rem 0.5rem 0; }
.open { display: inline-block; padding: 0.7rem 1.2rem; border-radius: var(--radius);
  background: var(--calm); color: var(--calm-ink); text-decoration: none; font-weight: 650; }
nav a { display: inline-block; padding: 0.5rem 1.2rem 0.5rem 0; }
"""
_NOTES_CSS = """
main { max-width: 46rem; }
ol.items { padding: 0; list-style-position: inside; }
ol.items > li { break-inside: avoid; margin: 0 0 1.6rem; border-top: 2px solid var(--rule);
  padding-top: 0.7rem; }
ol.items > li::marker { font-weight: 650; color: var(--muted); }
h2 { display: inline; font-size: 1.2rem; }
dl { display: grid; grid-template-columns: 5.5rem 1fr; gap: 0.35rem 0.8rem; margin: 0.6rem 0 0; }
dt { color: var(--muted); } dd { margin: 0; } dd p { margin: 0 0 0.35rem; }
@media print { body { font-size: 11pt; } .caution { background: none; } }
"""


def _flashing(item: dict[str, Any]) -> str:
    safety = item.get("safety")
    if not safety or safety["verdict"] == "pass":
        return ""
    return (
        '<div class="caution" role="note"><p><strong>Exceeds a limit for flashes or stripes.'
        f"</strong> {escape(safety['summary'])}. Show it to nobody unwarned.</p></div>"
    )


def _shown(item: dict[str, Any]) -> str:
    file = quote(item["files"][0])
    title = escape(item["title"])
    if item["kind"] == "clip":
        return (
            f'<video class="shown" controls loop muted playsinline preload="metadata" '
            f'src="{file}" aria-label="{title}"></video>'
        )
    if item["kind"] == "still":
        return f'<img class="shown" src="{file}" alt="{title}" loading="lazy">'
    # An animated picture would move unasked: it is opened by a press.
    words = "Open the demonstration" if item["kind"] == "page" else "Open the animated picture"
    return f'<p><a class="open" href="{file}">{words}</a></p>'


def _facts(item: dict[str, Any]) -> str:
    parts = [item["timing"]] if item.get("timing") else []
    if item["kind"] == "clip":
        parts.append(f"{item['seconds']:g} s at {item['refresh_hz']:g} fps, full screen")
    if item["kind"] == "animation" and not item["seamless"]:
        parts.append("starts again with a jump")
    model = f'<p class="small">{escape(item["model"])}</p>' if item.get("model") else ""
    return (f'<p class="small">{escape(". ".join(parts))}.</p>' if parts else "") + model


def _entry(item: dict[str, Any]) -> str:
    links = "".join(f'<a href="{quote(f)}">{escape(f)}</a>' for f in item["files"])
    return (
        f"<li><h2>{escape(item['title'])}</h2>{_flashing(item)}{_shown(item)}"
        f'<p class="look">{escape(item["look"])}</p>{_facts(item)}'
        f'<p class="small files">{links}</p></li>'
    )


def index_page(talk: dict[str, Any]) -> str:
    """HTML of the index, from the object that talk.json holds."""
    body = (
        f"<h1>{escape(talk['title'])}</h1>"
        f'<p class="lead">A screen shows a new picture only when it refreshes. If the frames of '
        f"a clip do not fit, some stay longer than others, and a steady move shakes.</p>"
        f'<div class="caution" role="note"><p><strong>Before you play.</strong> {CAUTION}</p></div>'
        f'<nav aria-label="Pages"><a href="notes.html">Speaker\'s notes, to print</a>'
        f'<a href="demo.html">Demonstration on this screen</a></nav>'
        f'<ol class="items">{"".join(_entry(item) for item in talk["items"])}</ol>'
        f'<p class="small">The clips show the true thing only on a display that refreshes '
        f"{talk['display']} times a second, full screen, in a player that drops nothing.</p>"
    )
    return html_page(talk["title"], body, css=_CSS)


def notes_page(talk: dict[str, Any]) -> str:
    """HTML of the speaker's notes, from the object that talk.json holds."""
    entries = []
    for item in talk["items"]:
        said = "".join(f"<p>{escape(sentence)}</p>" for sentence in item["say"])
        show = escape(item["files"][0])
        entries.append(
            f"<li><h2>{escape(item['title'])}</h2>{_flashing(item)}<dl><dt>Show</dt>"
            f"<dd>{show}</dd><dt>Look at</dt><dd>{escape(item['look'])}</dd>"
            f"<dt>Say</dt><dd>{said}</dd></dl></li>"
        )
    body = (
        f"<h1>Speaker's notes</h1>"
        f'<p class="lead">{escape(talk["title"])}. Set the projector or laptop to '
        f"{talk['display']} Hz, play full screen, and look yourself before anybody comes.</p>"
        f'<div class="caution" role="note"><p><strong>Say first.</strong> {CAUTION}</p></div>'
        f'<ol class="items">{"".join(entries)}</ol>'
    )
    return html_page(f"Speaker's notes: {talk['title']}", body, css=_NOTES_CSS)
