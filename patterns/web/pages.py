"""The pages that the server hands out: the clips by pattern and rate, and the live bars.

They work without scripts as a list of links; the modules in `static` add playing, measuring
and sending. What devices send never comes into a page.
"""

from __future__ import annotations

from urllib.parse import quote

from patterns.drawing.style import page_part
from patterns.kit.pages import (
    HOW_TO_LINK,
    HOW_TO_TITLE,
    MEASURING,
    caution_dialog,
    clip_group,
    how_to_body,
    player,
)
from patterns.web.site import Site


def _document(title: str, body: str, module: str = "") -> str:
    script = f'<script type="module" src="static/{module}.js"></script>\n' if module else ""
    return page_part("web", "document.html", title=title, body=body, script=script)


def clips_page(site: Site) -> str:
    """Page with every clip of the site."""
    body = page_part(
        "web",
        "clips.html",
        measuring=MEASURING,
        summary=page_part("web", "summary.html"),
        groups="".join(clip_group(g.pattern, g.poster, g.clips, "clips/") for g in site.groups),
        how_to=HOW_TO_LINK,
        player=player("Stop and sum up"),
        caution=caution_dialog((c for g in site.groups for c in g.clips), "you play"),
    )
    return _document("Evenhold clips", body, "clips")


def how_to_page() -> str:
    """Page on filming and photographing a screen."""
    back = '<p><a class="button" href="./">Back to the clips</a></p>'
    return _document(HOW_TO_TITLE, f"<main>{how_to_body()}{back}</main>")


def live_page(site: Site) -> str:
    """Page that draws bars at the display's own rate; a clip keeps the screen awake meanwhile."""
    body = page_part(
        "web",
        "live.html",
        measuring=MEASURING,
        summary=page_part("web", "summary.html"),
        awake=quote(str(site.groups[0].clips[0]["file"])),
        caution=caution_dialog([], "the bars move"),
    )
    return _document("Evenhold live bars", body, "live")
