"""The kit's pages, and the parts that they share with those of `evenhold serve`.

The index plays the clips, the crib sheet is to print, the third page says how to film a screen;
all open from their folder. The HTML lies beside this file; text from records is escaped here.

Codec strings of media types: RFC 6381 and the codecs' own bindings (ISO/IEC 14496-15 for H.264
and H.265, "VP Codec ISO Media File Format Binding", "AV1 Codec ISO Media File Format Binding");
all from memory. Without a level the bare container type is given.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from fractions import Fraction
from html import escape
from pathlib import PurePath
from typing import Any
from urllib.parse import quote

from patterns.drawing.style import CAUTION, FOLDER, html_page, page_part, table_in_page
from patterns.scenes.table import PATTERNS
from patterns.timing.cadence import cadence, parse_display
from patterns.timing.cadence_text import short_verdict
from patterns.timing.rates import format_decimal, format_rate

HOW_TO_NAME = "how-to-film.html"
HOW_TO_TITLE = "How to film and photograph a screen"
HOW_TO_LINK = f'<a href="{HOW_TO_NAME}">{HOW_TO_TITLE}</a>'
MEASURING = (
    "<noscript><p class=note>Scripts are off: the clips open in the browser's own player, and "
    "nothing is measured.</p></noscript><p id='measured' class='note' role='status'>Measuring this "
    "screen's refresh …</p>"
)
_CONTAINERS = {".mp4": "video/mp4", ".mov": "video/quicktime", ".webm": "video/webm"}
_IMPORT = re.compile(r'^import (\* as \w+|\{[^}]+\}) from "\./(\w+)\.js";$', re.MULTILINE)
_EXPORT = re.compile(r"^export (?:async )?(?:function|class|const) (\w+)", re.MULTILINE)


def container_type(file: str) -> str:
    """Type of a file by its suffix, as the answer's Content-Type states it."""
    return _CONTAINERS.get(PurePath(file).suffix.lower(), "application/octet-stream")


def media_type(record: dict[str, Any]) -> str:
    """Type of a clip for `canPlayType`, such as 'video/mp4; codecs="avc1.640028"'."""
    container = container_type(record["file"])
    level = re.fullmatch(r"(\d+)(?:\.(\d))?", record["codec_level"])
    if level is None:
        return container
    major, minor = int(level[1]), int(level[2] or 0)
    texts = {
        "h264": f"avc1.6400{10 * major + minor:02x}",
        "hevc": f"hvc1.1.6.L{3 * (10 * major + minor)}.B0",
        "vp9": f"vp09.00.{10 * major + minor}.08",
        "av1": f"av01.0.{4 * (major - 2) + minor:02d}M.08",
    }
    codec = texts.get(record["codec"])
    return f'{container}; codecs="{codec}"' if codec else container


def player(stop: str) -> str:
    """HTML of the player; `stop` is what its last button says."""
    return page_part("kit", "player", "player.html", stop=stop)


def bundle(main: str) -> str:
    """One script of the module `main` and all that it imports.

    A page that is opened from a folder may not import modules. Each becomes a function that
    is called once and returns what the module exports.
    """
    ordered: list[str] = []
    _collect(main, ordered)
    return "const modules = {};\n" + "\n".join(_wrapped(name) for name in ordered)


def _module(name: str) -> str:
    return page_part("kit", "player", f"{name}.js")


def _collect(name: str, ordered: list[str]) -> None:
    for _, imported in _IMPORT.findall(_module(name)):
        _collect(imported, ordered)
    if name not in ordered:
        ordered.append(name)


def _wrapped(name: str) -> str:
    text = _module(name)
    exports = ", ".join(_EXPORT.findall(text))
    text = _IMPORT.sub(lambda m: f'const {m[1].removeprefix("* as ")} = modules["{m[2]}"];', text)
    text = re.sub(r"^export ", "", text, flags=re.MULTILINE)
    return f'modules["{name}"] = (() => {{\n{text}return {{ {exports} }};\n}})();'


def _safety(record: dict[str, Any]) -> dict[str, Any]:
    safety = record.get("safety")
    return safety if isinstance(safety, dict) else {"summary": "not checked"}


def exceeds(record: dict[str, Any]) -> bool:
    """Whether a clip is not known to pass the limits for flashes and stripes."""
    return _safety(record).get("verdict") != "pass"


def caution_dialog(records: Iterable[dict[str, Any]], what: str) -> str:
    """Dialogue that stands before the first play; names the clips that exceed a limit."""
    exceeding = "".join(
        f"<p><strong>{escape(str(record['file']))} exceeds a limit.</strong> "
        f"{escape(str(_safety(record).get('summary', '')))}</p>"
        for record in records
        if exceeds(record)
    )
    values = {"what": what, "caution": CAUTION, "exceeding": exceeding}
    return page_part("kit", "player", "caution.html", **values)


def heading(pattern: str) -> str:
    """Heading of a pattern; its name where this version does not know it."""
    return PATTERNS[pattern].heading if pattern in PATTERNS else pattern


def clip_group(pattern: str, poster: str, clips: Iterable[dict[str, Any]], base: str) -> str:
    """Section of one pattern: what to look for, and its clips in a row; files lie at `base`."""
    title = escape(heading(pattern))
    words = f"<p>{escape(PATTERNS[pattern].look_for)}</p>" if pattern in PATTERNS else ""
    still = f"{base}{quote(poster)}" if poster else ""
    picture = f'<img class="poster" src="{still}" alt="" loading="lazy">' if still else ""
    items = "".join(_clip(record, still, base) for record in clips)
    return (
        f'<section aria-label="{title}"><div class="head">{picture}<div><h2>{title}</h2>'
        f'{words}</div></div><ul class="clips">{items}</ul></section>'
    )


def _clip(record: dict[str, Any], poster: str, base: str) -> str:
    rate = Fraction(record["rate_exact"])
    values = {name: record[name] for name in ("file", "width", "height", "frames", "codec")} | {
        "href": base + quote(record["file"]),
        "name": f"{heading(record['pattern'])}, {format_rate(rate)} fps",
        "type": media_type(record),
        "rate": float(rate),
        "poster": poster,
        "fps": format_decimal(rate),
        "seconds": f"{record['duration_s']:.3g}",
    }
    escaped = {name: escape(str(value)) for name, value in values.items()}
    mark = '<span class="wrong mark">flashes</span>' if exceeds(record) else ""
    return page_part("kit", "player", "clip.html", mark=mark, **escaped)


def index_page(kit: dict[str, Any]) -> str:
    """HTML of the index, from the object that kit.json holds."""
    groups, displays = kit["patterns"], [parse_display(name) for name in kit["displays"]]
    clips = [clip for group in groups for clip in group["clips"]]
    head = "".join(f"<th>{escape(display.name)} Hz</th>" for display in displays)
    rows = ""
    for rate in sorted({Fraction(clip["rate_exact"]) for clip in clips}):
        holds = (escape(short_verdict(cadence(rate, display))) for display in displays)
        cells = "".join(f"<td>{words}</td>" for words in holds)
        rows += f"<tr><th>{float(rate):.6g} fps</th>{cells}</tr>"
    body = page_part(
        "kit",
        "index.html",
        measuring=MEASURING,
        groups="".join(clip_group(g["pattern"], g["poster"], g["clips"], "") for g in groups),
        table=table_in_page("Holds by rate and display", f"<td></td>{head}", rows),
        how_to=HOW_TO_LINK,
    )
    script = f"<script>\n{bundle('kit')}\n</script>"
    after = f"{player('Stop')}{caution_dialog(clips, 'you play')}{script}"
    css = page_part("kit", "player", "page.css")
    return html_page("Evenhold kit", body, css=css, policy=FOLDER, after=after)


def crib_sheet(kit: dict[str, Any]) -> str:
    """HTML of the crib sheet, from the object that kit.json holds."""
    sections = "".join(_crib_section(group, kit["displays"]) for group in kit["patterns"])
    body = page_part("kit", "crib_sheet.html", sections=sections, caution=CAUTION)
    return html_page("Evenhold crib sheet", body, css="\n" + page_part("kit", "crib_sheet.css"))


def _crib_section(group: dict[str, Any], displays: list[str]) -> str:
    pattern, clips = PATTERNS[group["pattern"]], group["clips"]
    names = "".join(f"<th>on {escape(name)} Hz</th>" for name in displays)
    head = f"<th>fps</th><th>px a frame</th>{names}<th>seen on this device</th>"
    table = table_in_page("What each rate should show", head, "".join(map(_crib_row, clips)))
    words = f"{escape(pattern.look_for)}{_fastest_place(clips[0])}"
    return f"<section><h2>{escape(pattern.heading)}</h2><p>{words}</p>{table}</section>"


def _crib_row(record: dict[str, Any]) -> str:
    rate = format_rate(Fraction(record["rate_exact"]))
    cells = "".join(f"<td>{escape(entry['verdict'])}</td>" for entry in record["cadence"])
    pace = f"{record['image_motion']['fastest']['px_per_frame']:.1f}"
    return (
        f'<tr><td class="rate">{escape(rate)}</td><td>{pace}</td>{cells}<td class="seen"></td></tr>'
    )


def _fastest_place(record: dict[str, Any]) -> str:
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


def how_to_body() -> str:
    """HTML of the `main` of the page on filming and photographing a screen."""
    return page_part("kit", "how_to_film.html")


def how_to_page() -> str:
    """That page, for a folder."""
    return html_page(HOW_TO_TITLE, how_to_body())
