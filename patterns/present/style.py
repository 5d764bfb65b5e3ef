"""The one hand that draws everything: palette, type scale, margins; light and dark.

The two hues that carry meaning are a blue and an orange of different lightness. They
stay apart in the three kinds of dichromacy and in grey (tested against the simulation
of Machado, Oliveira and Fernandes, 2009), and nothing is told by colour alone.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Literal

from patterns.errors import RequestError

__all__ = [
    "DARK",
    "LIGHT",
    "SLIDE",
    "Layout",
    "Scheme",
    "SchemeName",
    "css_properties",
    "scheme",
    "scheme_properties",
]

SchemeName = Literal["light", "dark"]


@dataclass(frozen=True)
class Scheme:
    """Colours as #rrggbb.

    Attributes
    ----------
    paper, panel
        Background, and a raised area upon it.
    ink, muted, rule
        Text, secondary text, and thin lines.
    usual, usual_ink
        What is as it should be (the usual hold), and text upon it.
    odd, odd_ink
        What is not (an odd hold, a lost frame), and text upon it.
    third, fourth
        More kinds, where two do not do.
    """

    name: SchemeName
    paper: str
    panel: str
    ink: str
    muted: str
    rule: str
    usual: str
    usual_ink: str
    odd: str
    odd_ink: str
    third: str
    fourth: str


LIGHT = Scheme(
    name="light",
    paper="#faf8f3",
    panel="#efece4",
    ink="#18222d",
    muted="#556270",
    rule="#cbc6ba",
    usual="#245a8d",
    usual_ink="#ffffff",
    odd="#f08c1e",
    odd_ink="#18222d",
    third="#5d3a66",
    fourth="#7fae9b",
)
DARK = Scheme(
    name="dark",
    paper="#10161d",
    panel="#1b242e",
    ink="#f3efe6",
    muted="#a3afbb",
    rule="#3a4653",
    usual="#4682bd",
    usual_ink="#ffffff",
    odd="#ffb454",
    odd_ink="#10161d",
    third="#c7a0d6",
    fourth="#86c7ae",
)


@dataclass(frozen=True)
class Layout:
    """Type sizes and distances in pixels of a picture `width_px` wide.

    The type steps by about 1.5: `title`, `heading`, `body`, `small`; nothing on a slide
    is set smaller than `small`, a fortieth of its height.
    """

    width_px: int
    height_px: int
    title_px: int
    heading_px: int
    body_px: int
    small_px: int
    margin_px: int
    radius_px: int
    hairline_px: int


SLIDE = Layout(
    width_px=1920,
    height_px=1080,
    title_px=68,
    heading_px=46,
    body_px=33,
    small_px=27,
    margin_px=104,
    radius_px=8,
    hairline_px=3,
)


def scheme(name: str) -> Scheme:
    """Return the scheme called 'light' or 'dark'.

    Raises
    ------
    RequestError
        Another name.
    """
    for known in (LIGHT, DARK):
        if known.name == name:
            return known
    raise RequestError(f"scheme {name!r} is unknown: allowed are light and dark")


def scheme_properties(colours: Scheme) -> str:
    """Colours of one scheme as CSS custom properties, in one line."""
    names = [field.name for field in fields(colours) if field.name != "name"]
    return " ".join(f"--{name.replace('_', '-')}: {getattr(colours, name)};" for name in names)


def css_properties() -> str:
    """Palette, type scale and margins as CSS custom properties, dark where the reader asks.

    A page may force a scheme with `data-scheme="light"` or `"dark"` on its root.
    """
    light, dark = scheme_properties(LIGHT), scheme_properties(DARK)
    type_scale = "--title: 2.1rem; --heading: 1.4rem; --body: 1rem; --small: 0.83rem;"
    spaces = "--margin: clamp(1rem, 5vw, 3.25rem); --gap: 0.75rem; --radius: 0.25rem;"
    return (
        f":root {{ color-scheme: light dark; {type_scale} {spaces} {light} }}\n"
        f"@media (prefers-color-scheme: dark) {{ :root {{ {dark} }} }}\n"
        f':root[data-scheme="light"] {{ color-scheme: light; {light} }}\n'
        f':root[data-scheme="dark"] {{ color-scheme: dark; {dark} }}\n'
    )
