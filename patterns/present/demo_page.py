"""The one-page demonstration: two canvases, live, in one file that needs no network."""

from __future__ import annotations

import json
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

from patterns.drawing.page import SCRIPTED, html_page
from patterns.errors import RequestError
from patterns.whole_file import write_whole

SCRIPTS = ("demo_cadence.js", "demo_scene.js", "demo_meter.js", "demo_page.js")
DEMO_CAUTION = (
    "This page shows a picture that moves steadily. Moving patterns can trigger seizures in "
    "people with photosensitive epilepsy, and make others unwell. If that may be you, let "
    "somebody else watch; stop at the first sign of discomfort. Nothing moves until you start it."
)


def _read(name: str) -> str:
    return files("patterns.present").joinpath(name).read_text(encoding="utf-8")


def demo_page(rates: tuple[Fraction, ...] = (Fraction(24), Fraction(30))) -> str:
    """Whole page as HTML.

    Parameters
    ----------
    rates
        The two rates that it opens with, the first two of more; its slider takes them in.

    Raises
    ------
    RequestError
        Fewer than two rates.
    """
    if len(rates) < 2:
        raise RequestError("the demonstration compares two rates: give --rates 24,30")
    start = json.dumps({"rates": [[r.numerator, r.denominator] for r in rates[:2]]})
    script = "\n".join(_read(name) for name in SCRIPTS)
    body = _read("demo_page.html").replace("<!--CAUTION-->", DEMO_CAUTION)
    return html_page(
        "Why does it judder?",
        f'{body}\n<script type="application/json" id="start">{start}</script>\n'
        f'<script>\n"use strict";\n(() => {{\n{script}}})();\n</script>',
        css=_read("demo_page.css"),
        policy=SCRIPTED,
    )


def write_demo_page(path: Path, rates: tuple[Fraction, ...], *, force: bool = False) -> None:
    """Write the page, whole or not at all.

    Raises
    ------
    RequestError
        Fewer than two rates, or the file exists and `force` is false.
    OutputError
        The disk refuses it.
    """
    write_whole(path, demo_page(rates), force=force)
