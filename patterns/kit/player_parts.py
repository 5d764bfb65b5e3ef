"""The pages that play clips, as parts: the list of clips, the player, its scripts in one.

The kit's own page and the one that `evenhold serve` hands out are made of the same parts.
Text from records is escaped here.
"""

from __future__ import annotations

import re
from fractions import Fraction
from html import escape
from importlib.resources import files
from typing import Any
from urllib.parse import quote

from patterns.drawing.page import CAUTION
from patterns.kit.media_types import media_type
from patterns.kit.what_to_look_for import heading, look_for
from patterns.timing.rates import format_decimal, format_rate

__all__ = ["NO_SCRIPT", "PLAYER", "caution_dialog", "clip_group", "exceeds", "part", "script"]

NO_SCRIPT = (
    "<noscript><p class=note>Scripts are off: the clips open in the browser's own player, and "
    "nothing is measured.</p></noscript>"
)
PLAYER = """<div id="player" hidden role="dialog" aria-modal="true" aria-label="Player"
tabindex="-1">
<video id="video" muted loop playsinline preload="auto" tabindex="-1"></video>
<div id="top" class="bar"><strong id="title"></strong><span id="refresh" class="figure"></span>
<button id="close" aria-label="Close the player">Close</button></div>
<div id="bottom" class="bar">
<canvas id="chart" role="img" aria-label="Holds of the latest frames"></canvas>
<p id="live" class="figure"></p>
<p id="scaling" class="note"></p>
<div class="row"><button id="previous">Previous</button><button id="pause">Pause</button>
<button id="next">Next</button><button id="full">Full screen</button>
<button id="finish" class="main">Stop and sum up</button></div></div></div>"""
_IMPORT = re.compile(r'^import (\* as \w+|\{[^}]+\}) from "\./(\w+)\.js";$', re.MULTILINE)
_EXPORT = re.compile(r"^export (?:async )?(?:function|class|const) (\w+)", re.MULTILINE)


def part(name: str) -> str:
    """Text of a script or style sheet of the player."""
    return files("patterns.kit").joinpath("player", name).read_text(encoding="utf-8")


def script(main: str) -> str:
    """One script of the module `main` and all that it imports.

    A page that is opened from a folder may not import modules. Each becomes a function that
    is called once and returns what the module exports.
    """
    ordered: list[str] = []
    _collect(main, ordered)
    return "const modules = {};\n" + "\n".join(_wrapped(name) for name in ordered)


def _collect(name: str, ordered: list[str]) -> None:
    for _, imported in _IMPORT.findall(part(f"{name}.js")):
        _collect(imported, ordered)
    if name not in ordered:
        ordered.append(name)


def _wrapped(name: str) -> str:
    text = part(f"{name}.js")
    exports = ", ".join(_EXPORT.findall(text))
    text = _IMPORT.sub(lambda m: f'const {m[1].removeprefix("* as ")} = modules["{m[2]}"];', text)
    text = re.sub(r"^export ", "", text, flags=re.MULTILINE)
    return f'modules["{name}"] = (() => {{\n{text}return {{ {exports} }};\n}})();'


def caution_dialog(exceeding: list[dict[str, Any]], what: str) -> str:
    """Dialogue that stands before the first play; names what exceeds a limit."""
    worse = "".join(
        f"<p><strong>{escape(str(r['file']))} exceeds a limit.</strong> {escape(_safety(r))}</p>"
        for r in exceeding
    )
    return (
        '<dialog id="caution" aria-labelledby="caution-title"><h2 id="caution-title">Before '
        f"{what}</h2><p>{CAUTION}</p>{worse}"
        '<div class="row"><button id="accept" class="main">I have read this</button>'
        '<button id="decline">Not now</button></div></dialog>'
    )


def exceeds(record: dict[str, Any]) -> bool:
    """Whether a clip is not known to pass the limits for flashes and stripes."""
    safety = record.get("safety")
    return not isinstance(safety, dict) or safety.get("verdict") != "pass"


def _safety(record: dict[str, Any]) -> str:
    safety = record.get("safety")
    return str(safety.get("summary", "")) if isinstance(safety, dict) else "not checked"


def clip_group(pattern: str, poster: str, clips: list[dict[str, Any]], base: str) -> str:
    """Section of one pattern: what to look for, and its clips in a row; files lie at `base`."""
    title = escape(heading(pattern))
    words = f"<p>{escape(look_for(pattern))}</p>" if look_for(pattern) else ""
    picture = (
        f'<img class="poster" src="{base}{quote(poster)}" alt="" loading="lazy">' if poster else ""
    )
    items = "".join(_clip(record, poster, base) for record in clips)
    return (
        f'<section aria-label="{title}"><div class="head">{picture}<div><h2>{title}</h2>'
        f'{words}</div></div><ul class="clips">{items}</ul></section>'
    )


def _clip(record: dict[str, Any], poster: str, base: str) -> str:
    rate = Fraction(record["rate_exact"])
    spoken = f"{heading(record['pattern'])}, {format_rate(rate)} fps"
    data = {
        "file": record["file"],
        "name": spoken,
        "type": media_type(record),
        "rate": str(float(rate)),
        "rate-exact": record["rate_exact"],
        "width": str(record["width"]),
        "height": str(record["height"]),
        "frames": str(record["frames"]),
        "poster": f"{base}{quote(poster)}" if poster else "",
    }
    attributes = " ".join(f'data-{k}="{escape(str(v))}"' for k, v in data.items())
    mark = '<span class="wrong mark">flashes</span>' if exceeds(record) else ""
    return (
        f'<li><a class="clip" href="{base}{quote(str(record["file"]))}" {attributes}>'
        f'<span class="rate">{escape(format_decimal(rate))}</span> <span class="unit">fps</span>'
        f'{mark}<span class="here"></span>'
        f'<span class="detail">{record["width"]}×{record["height"]}, {escape(record["codec"])}, '
        f"{record['duration_s']:.3g}\u00a0s</span></a></li>"
    )
