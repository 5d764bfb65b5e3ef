"""What all drawings and pages share: palette, type scale, margins, the frame of a page.

One rule for what a colour means, in pictures and pages alike. A hold is in the calm hue:
in its lighter step where the cadence has a longer hold beside it. The warm hue is for what
is wrong: a hold that the cadence does not have, a lost frame, an exceeded limit. The hues
stay apart in the three kinds of dichromacy and in grey (tested against the simulation of
Machado, Oliveira and Fernandes, 2009), and nothing is said by colour alone.
"""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import NamedTuple

from patterns.errors import RequestError


class Scheme(NamedTuple):
    """Colours as #rrggbb."""

    name: str
    paper: str  # background
    panel: str  # a raised area upon it
    ink: str
    muted: str  # secondary text
    rule: str  # thin lines
    calm: str  # long holds, and holds all alike; buttons
    calm_ink: str  # text upon it
    short: str  # short holds, beside longer ones
    short_ink: str
    wrong: str  # what the cadence does not have, lost frames, exceeded limits
    wrong_ink: str
    third: str  # a further kind, where two do not do


LIGHT = Scheme(
    name="light",
    paper="#faf8f3",
    panel="#efece4",
    ink="#18222d",
    muted="#556270",
    rule="#cbc6ba",
    calm="#245a8d",
    calm_ink="#ffffff",
    short="#a3c9ee",
    short_ink="#18222d",
    wrong="#dc7417",
    wrong_ink="#18222d",
    third="#5d3a66",
)
DARK = Scheme(
    name="dark",
    paper="#10161d",
    panel="#1b242e",
    ink="#f3efe6",
    muted="#a3afbb",
    rule="#3a4653",
    calm="#3a74b0",
    calm_ink="#ffffff",
    short="#bfe0fa",
    short_ink="#10161d",
    wrong="#e58e2f",
    wrong_ink="#10161d",
    third="#c7a0d6",
)
SCHEMES = {scheme.name: scheme for scheme in (LIGHT, DARK)}

# Colours by their names in style sheets, without the two dashes.
_CSS_NAMES = {name: name.replace("_", "-") for name in Scheme._fields[1:]}
# Those of the page that a drawing stands in, whichever scheme its reader has.
PAGE = Scheme("page", *(f"var(--{name})" for name in _CSS_NAMES.values()))


class Layout(NamedTuple):
    """Type sizes and distances in pixels of a picture `width_px` wide.

    The type steps by about 1.5: `title`, `heading`, `body`, `small`; nothing on a slide
    is set smaller than `small`, a fortieth of its height.
    """

    width_px: int = 1920
    height_px: int = 1080
    title_px: int = 68
    heading_px: int = 46
    body_px: int = 33
    small_px: int = 27
    margin_px: int = 104
    radius_px: int = 8
    hairline_px: int = 3


SLIDE = Layout()


def hold_colours(refreshes: int, cadence: Collection[int], colours: Scheme) -> tuple[str, str]:
    """Colour of a hold and of the text upon it.

    `cadence`: holds that the cadence has; a hold of 0, a lost frame, is not looked at.
    """
    has = set(cadence) - {0}
    if refreshes not in has:
        return colours.wrong, colours.wrong_ink
    if refreshes < max(has):
        return colours.short, colours.short_ink
    return colours.calm, colours.calm_ink


def scheme_properties(colours: Scheme) -> str:
    """Colours of one scheme as CSS custom properties, in one line."""
    return " ".join(f"--{css}: {getattr(colours, name)};" for name, css in _CSS_NAMES.items())


def css_properties() -> str:
    """Palette, type scale and margins as CSS custom properties, dark where the reader asks.

    A page may force a scheme with `data-scheme="light"` or `"dark"` on its root.
    """
    values = {"light": scheme_properties(LIGHT), "dark": scheme_properties(DARK)}
    return page_part("drawing", "palette.css", **values)


def check_picture_name(path: Path) -> None:
    """Refuse a name that is neither .png nor .svg. Raises `RequestError`: another ending."""
    if path.suffix.lower() not in (".png", ".svg"):
        raise RequestError(f"picture {path.name!r} is neither .png nor .svg: try cadence.png")


CAUTION = (
    "These clips move across the whole screen. Moving stripes and flicker can trigger seizures "
    "in people with photosensitive epilepsy, and make others unwell. If that may be you, let "
    "somebody else watch; stop at the first sign of discomfort. The clips were checked against "
    "published limits for flashes and stripes; that check is an aid, not a certificate."
)


def page_part(folder: str, *name: str, **values: str) -> str:
    """Text of a style sheet, a script or a piece of HTML that lies in a folder of the package.

    Where there are `values`, each `$name` in the text stands for one; the caller escapes them.
    """
    # here, because only pages need them
    from importlib.resources import files
    from string import Template

    text = files("patterns").joinpath(folder, *name).read_text(encoding="utf-8")
    return Template(text).substitute(values) if values else text


def page_css() -> str:
    """Style sheet of every page: palette, type scale, text, links and cautions."""
    return f"{css_properties()}\n{page_part('drawing', 'page.css')}"


# What a page may load, as a content security policy: nothing but what stands in it,
SELF_CONTAINED = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; "
    "base-uri 'none'; form-action 'none'"
)
# its own script as well,
SCRIPTED = f"{SELF_CONTAINED}; script-src 'unsafe-inline'"
# and pictures and clips of its folder.
FOLDER = (
    SCRIPTED.replace("img-src data:", "img-src 'self' file: data:") + "; media-src 'self' file:"
)


def table_in_page(label: str, head: str, rows: str) -> str:
    """Table, its cells as HTML, that is scrolled by finger and keyboard where it is too wide."""
    from html import escape  # here and below, because only pages need it

    return (
        f'<div class="scroll" tabindex="0" role="group" aria-label="{escape(label)}"><table>'
        f"<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>"
    )


def html_page(
    title: str,
    body: str,
    *,
    css: str = "",
    common: str | None = None,
    policy: str = SELF_CONTAINED,
    after: str = "",
) -> str:
    """Whole HTML document: `body` goes into its `main`, `after` (dialogues, scripts) behind it.

    `title` is plain text; in the others the caller escapes what comes from outside. `css` are
    rules of this page alone, which stand behind the `common` ones, those of `page_css` if not
    given; `policy` is `SELF_CONTAINED`, `SCRIPTED` or `FOLDER`.
    """
    from html import escape

    rules = f"{page_css() if common is None else common}{css}"
    values = {"title": escape(title), "body": body, "policy": policy, "css": rules, "after": after}
    return page_part("drawing", "page.html", **values)
