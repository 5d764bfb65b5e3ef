"""The pages that play clips, as parts: the list of clips, the player, its scripts in one.

The kit's own page and the one that `evenhold serve` hands out are made of the same parts.
Text from records is escaped here.

Codec strings of media types: RFC 6381 and the codecs' own bindings (ISO/IEC 14496-15 for H.264
and H.265, "VP Codec ISO Media File Format Binding", "AV1 Codec ISO Media File Format Binding");
all from memory. Without a level the bare container type is given.
"""

from __future__ import annotations

import re
from fractions import Fraction
from html import escape
from typing import Any
from urllib.parse import quote

from patterns.drawing.style import CAUTION, page_part
from patterns.scenes.table import PATTERNS
from patterns.timing.rates import format_decimal, format_rate

_CONTAINERS = {".mp4": "video/mp4", ".mov": "video/quicktime", ".webm": "video/webm"}


def container_type(file: str) -> str:
    """Type of a file by its suffix, as the answer's Content-Type states it."""
    suffix = file[file.rfind(".") :].lower() if "." in file else ""
    return _CONTAINERS.get(suffix, "application/octet-stream")


def _codec_text(codec: str, level: str) -> str:
    """Codec string of 8-bit 4:2:0 at a level such as '4.1'; '' where there is none."""
    major, _, minor = level.partition(".")
    if not major.isdigit() or (minor and not minor.isdigit()):
        return ""
    tens = int(major) * 10 + int(minor or 0)
    texts = {
        "h264": f"avc1.6400{tens:02x}",
        "hevc": f"hvc1.1.6.L{tens * 3}.B0",
        "vp9": f"vp09.00.{tens}.08",
        "av1": f"av01.0.{(int(major) - 2) * 4 + int(minor or 0):02d}M.08",
    }
    return texts.get(codec, "")


def media_type(record: dict[str, Any]) -> str:
    """Type of a clip for `canPlayType`, such as 'video/mp4; codecs="avc1.640028"'."""
    container = container_type(record["file"])
    codec = _codec_text(record["codec"], record["codec_level"])
    return f'{container}; codecs="{codec}"' if codec else container


NO_SCRIPT = (
    "<noscript><p class=note>Scripts are off: the clips open in the browser's own player, and "
    "nothing is measured.</p></noscript>"
)
_IMPORT = re.compile(r'^import (\* as \w+|\{[^}]+\}) from "\./(\w+)\.js";$', re.MULTILINE)
_EXPORT = re.compile(r"^export (?:async )?(?:function|class|const) (\w+)", re.MULTILINE)


def heading(pattern: str) -> str:
    """Heading of a pattern; its name where this version does not know it."""
    return PATTERNS[pattern].heading if pattern in PATTERNS else pattern


def look_for(pattern: str) -> str:
    """Where to look in a clip of `pattern`, a short paragraph; '' where it is not known."""
    return PATTERNS[pattern].look_for if pattern in PATTERNS else ""


def part(name: str) -> str:
    """Text of a script or style sheet of the player."""
    return page_part("kit", "player", name)


def player() -> str:
    """HTML of the player."""
    return part("player.html").rstrip("\n")


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
