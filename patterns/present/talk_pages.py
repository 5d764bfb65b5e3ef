"""The pages of a presentation: slides, notes, the live demonstration; and what is printed of it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from fractions import Fraction
from html import escape
from pathlib import Path
from typing import Any
from urllib.parse import quote

from patterns.drawing.style import CAUTION, FOLDER, SCRIPTED, html_page, page_part
from patterns.kit.pages import bundle

Item = dict[str, Any]  # of talk.json

_FORMS = {".svg": "The drawing, to any size (SVG)", ".png": "The picture (PNG)"}


def _part(name: str, **values: str) -> str:
    return page_part("present", name, **values)


def _script(*texts: str) -> str:
    """One script of several texts, which see each other and nothing else."""
    text = "\n".join(texts)
    return f'<script>\n"use strict";\n(() => {{\n{text}}})();\n</script>\n'


def _link(file: str, words: str) -> str:
    return f'<a href="{quote(file)}">{escape(words)}</a>'


def _caution(item: Item) -> str:
    """Warn of what exceeds a limit, before it is played."""
    safety = item.get("safety")
    if not safety or safety["verdict"] == "pass":
        return ""
    return (
        '<div class="caution" role="note"><p><strong>Exceeds a limit for flashes or stripes.'
        f"</strong> {escape(safety['summary'])}. Show it to nobody unwarned.</p></div>"
    )


def _shown(item: Item) -> str:
    """Picture of a slide; of a clip a still that is a link to it, so that nothing moves unasked."""
    title = escape(item["title"])
    if item["kind"] == "still":
        drawing = next((f for f in item["files"] if f.endswith(".svg")), item["files"][0])
        return f'<img src="{quote(drawing)}" alt="{title}">'
    clip, still = item["files"]
    panels = escape("; ".join(item["panels"]))
    return (
        f'<a class="clip" href="{quote(clip)}" data-words="Play">'
        f'<img src="{quote(still)}" alt="Play the clip: {panels}"></a>'
    )


def _said(*items: Item) -> str:
    """What is said of them, each sentence once."""
    sentences = dict.fromkeys(sentence for item in items for sentence in item["say"])
    return "".join(f"<p>{escape(sentence)}</p>" for sentence in sentences)


def _files(item: Item) -> str:
    """Links to a slide's files by themselves, in plain words."""
    if item["kind"] == "clip":
        size = f"{item['seconds']:g} s, {item['bytes'] / 1e6:.1f} MB"
        return _link(item["files"][0], f"The clip by itself, for a video player ({size})")
    return " ".join(_link(f, _FORMS[f[f.rindex(".") :]]) for f in item["files"])


def _notes(inner: str) -> str:
    return f'<div class="notes" role="group" aria-label="Notes" tabindex="0">{inner}</div>'


def _slide(number: int, title: str, inner: str, kind: str) -> str:
    """One slide; it alone is seen, so that its title is a heading of the first level."""
    name = f"slide-{number}"
    return (
        f'<section class="slide {kind}" id="{name}" aria-labelledby="{name}-title" tabindex="0">'
        f'<header><h1 id="{name}-title">{escape(title)}</h1></header>{inner}</section>'
    )


def _picture_slide(number: int, item: Item) -> str:
    notes = f"<h2>Say</h2>{_said(item)}"
    links = f'<p class="small links">{_files(item)}</p>'
    inner = (
        f"{_caution(item)}<figure>{_shown(item)}<figcaption>{escape(item['look'])}</figcaption>"
        f"</figure>{_notes(notes + links)}"
    )
    return _slide(number, item["title"], inner, "picture")


def _first_slide(talk: dict[str, Any], titles: Sequence[str]) -> str:
    contents = "".join(
        f'<li><a href="#slide-{n}">{escape(title)}</a></li>' for n, title in enumerate(titles, 2)
    )
    inner = _part("first_slide.html", caution=CAUTION, hz=talk["display"], contents=contents)
    return _slide(1, talk["title"], inner, "first")


_TAKE = "To take along"


def _last_slide(number: int, items: Sequence[Item]) -> str:
    """Slide with what is opened rather than shown: the live page, animated pictures."""
    entries = []
    for item in items:
        page = item["kind"] == "page"
        end = "." if page or item["seamless"] else "; it starts again with a jump."
        facts = "" if page else f"{item['bytes'] / 1e6:.1f} MB. {item['timing']}{end}"
        small = f'<p class="small">{escape(facts)}</p>' if facts else ""
        words = "Open the page" if page else f"Open the animated picture ({item['format']})"
        entries.append(
            f"<li><h2>{escape(item['title'])}</h2>{_caution(item)}{small}"
            f"<p>{_link(item['files'][0], words)}</p></li>"
        )
    notes = _notes(f"<h2>Say</h2>{_said(*items)}")
    taken = f'<div class="words"><ul class="take">{"".join(entries)}</ul></div>'
    return _slide(number, _TAKE, taken + notes, "last")


def _parts(talk: dict[str, Any]) -> tuple[list[Item], list[Item]]:
    """Items with a slide of their own, and those that the last slide holds."""
    items = talk["items"]
    own = [item for item in items if item["kind"] in ("clip", "still")]
    take = sorted((i for i in items if i not in own), key=lambda item: item["kind"] != "page")
    return own, take


def index_page(talk: dict[str, Any]) -> str:
    """HTML of the slides, from the object that talk.json holds.

    Without scripts, and on paper, all slides lie one below the other, each with its notes.
    """
    own, take = _parts(talk)
    titles = [item["title"] for item in own] + ([_TAKE] if take else [])
    slides = [_first_slide(talk, titles)]
    slides += [_picture_slide(number, item) for number, item in enumerate(own, 2)]
    if take:
        slides.append(_last_slide(len(own) + 2, take))
    return html_page(
        talk["title"], "\n".join(slides), css=_part("talk.css"), policy=FOLDER,
        after=_part("slide_bar.html") + _script(_part("talk.js")),
    )  # fmt: skip


def notes_page(talk: dict[str, Any]) -> str:
    """HTML of the speaker's notes, from the object that talk.json holds."""
    own, take = _parts(talk)
    entries = []
    for number, item in enumerate(own, 2):
        picture = item["files"][1] if item["kind"] == "clip" else item["files"][0]
        entries.append(
            f'<li><img src="{quote(picture)}" alt=""><div><h2>{number}. {escape(item["title"])}'
            f"</h2>{_caution(item)}<p><strong>Look:</strong> {escape(item['look'])}</p>"
            f"{_said(item)}</div></li>"
        )
    if take:
        entries.append(
            f"<li><div><h2>{len(own) + 2}. {_TAKE}</h2>"
            f"{''.join(map(_caution, take))}{_said(*take)}</div></li>"
        )
    words = {"title": escape(talk["title"]), "hz": talk["display"], "caution": CAUTION}
    body = _part("notes.html", entries="".join(entries), **words)
    title = f"Speaker's notes: {talk['title']}"
    css = "\n" + _part("notes.css")
    return html_page(title, body, css=css, policy=FOLDER, after=_script(_part("notes.js")))


_DEMO_SCRIPTS = ("demo_cadence.js", "demo_scene.js", "demo_meter.js", "demo_page.js")
DEMO_CAUTION = (
    "This page shows a picture that moves steadily. Moving patterns can trigger seizures in "
    "people with photosensitive epilepsy, and make others unwell. If that may be you, let "
    "somebody else watch; stop at the first sign of discomfort. Nothing moves until you start it."
)


def demo_page(rates: tuple[Fraction, ...] = (Fraction(24), Fraction(30))) -> str:
    """HTML of the live page: two canvases in one file that needs no network.

    `rates`: the two rates that it opens with, the first two of more; its slider takes them in.
    """
    start = json.dumps({"rates": [[r.numerator, r.denominator] for r in rates[:2]]})
    data = f'<script type="application/json" id="start">{start}</script>\n'
    body, css = _part("demo_page.html", caution=DEMO_CAUTION), _part("demo_page.css")
    after = data + _script(bundle("refresh"), *map(_part, _DEMO_SCRIPTS))
    return html_page("Why does it judder?", body, css=css, policy=SCRIPTED, after=after)


def talk_text(data: dict[str, Any], folder: Path, *, whole: bool) -> str:
    """What was made, for the terminal, from the object that talk.json holds."""
    lines = [data["title"]]
    width = max(len(name) for item in data["items"] for name in item["files"])
    for item in data["items"]:
        small = item["bytes"] < 1e5
        size = f"{item['bytes'] / 1e3:.0f} kB" if small else f"{item['bytes'] / 1e6:.1f} MB"
        lines.append(f"  {item['files'][0]:<{width}}  {size:>8}  {item['title']}")
        lines += [f"  {name}" for name in item["files"][1:]]
        if item.get("timing"):
            lines.append(f"    {item['timing']}")
        if item.get("safety"):
            lines.append(f"    safety: {item['safety']['summary']}")
    pages = f"show {folder / 'index.html'}; print {folder / 'notes.html'}"
    lines.append(pages if whole else f"in {folder}")
    if any(item.get("safety") for item in data["items"]):
        lines.append("(flashes and stripes: an aid, not a certificate)")
    return "\n".join(lines)
