"""The HTML of the pages: the clips by pattern and rate, and the live bars.

The page works without scripts as a list of links; the modules in `static` add playing,
measuring and sending. Text from records is escaped here; what devices send never comes
into a page.
"""

from __future__ import annotations

from html import escape
from urllib.parse import quote

from patterns.drawing.style import page_part
from patterns.kit.pages import HOW_TO_NAME, HOW_TO_TITLE, how_to_body
from patterns.kit.player_parts import (
    NO_SCRIPT,
    caution_dialog,
    clip_group,
    exceeds,
    player,
)
from patterns.web.site import Site


def _document(title: str, body: str, module: str = "") -> str:
    script = f'<script type="module" src="static/{module}.js"></script>\n' if module else ""
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1, viewport-fit=cover">\n'
        '<meta name="robots" content="noindex">\n'
        f"<title>{escape(title)}</title>\n"
        '<link rel="icon" href="data:,">\n'
        '<link rel="stylesheet" href="theme.css">\n<link rel="stylesheet" href="static/page.css">\n'
        f"{script}</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _summary() -> str:
    return page_part("web", "static", "summary.html").rstrip("\n")


def clips_page(site: Site) -> str:
    """Page with every clip of the site."""
    exceeding = [record for group in site.groups for record in group.clips if exceeds(record)]
    groups = "".join(clip_group(g.pattern, g.poster, list(g.clips), "clips/") for g in site.groups)
    body = (
        "<main><h1>How evenly does this screen hold its frames?</h1>"
        '<p class="lead">Tap a clip: it plays full screen, again and again, and is measured '
        "meanwhile. Swipe or use the arrow keys for the next. The speed is the same in all clips "
        "of a row; only the rate differs.</p>"
        f"{NO_SCRIPT}<p id='measured' class='note' role='status'>Measuring this screen's "
        "refresh …</p>"
        f"<p id='missing' class='note'></p>{_summary()}"
        f"{groups}"
        '<section aria-label="Live"><h2>What this screen can do at best</h2>'
        "<p>Bars that are drawn anew at every refresh, without a file or a decoder in between: "
        "the reference for all the clips above.</p>"
        '<ul class="clips"><li><a class="clip" href="live"><span class="rate">Live</span> '
        '<span class="unit">bars</span><span class="detail">at this screen\'s own rate</span></a>'
        "</li></ul></section>"
        "<section aria-label='Good to know'><h2>Good to know</h2><ul class='plain'>"
        "<li>Charge the device and switch off its power saving: many phones refresh 30 times a "
        "second when they save power.</li>"
        "<li>A playing clip keeps most screens awake. If yours dims all the same, lengthen its "
        "timeout in the device's settings.</li>"
        "<li>A tap on the picture shows and hides the chart and the buttons. The chart has a block "
        "for each frame, as wide as it was held, and its number of refreshes in it.</li>"
        "<li>Turn the device so that the clip fills the screen.</li>"
        f'<li>A camera sees what the glass showed: <a href="{HOW_TO_NAME}">{HOW_TO_TITLE}</a>.</li>'
        "</ul></section></main>"
        f"{player()}{caution_dialog(exceeding, 'you play')}"
    )
    return _document("Evenhold clips", body, "clips")


def how_to_page() -> str:
    """Page on filming and photographing a screen."""
    back = '<p><a class="button" href="./">Back to the clips</a></p>'
    return _document(HOW_TO_TITLE, f"<main>{how_to_body()}{back}</main>")


def live_page(site: Site) -> str:
    """Page that draws bars at the display's own rate."""
    awake = quote(str(site.groups[0].clips[0]["file"]))
    body = (
        "<main><h1>Bars at this screen's own rate</h1>"
        '<p class="lead">Each refresh gets a picture of its own, with its number in the strip '
        "below, so that a recording of the screen can be read with <code>evenhold read</code>. "
        "The screen cannot hold frames more evenly than this.</p>"
        f"{NO_SCRIPT}<p id='measured' class='note' role='status'>Measuring this screen's "
        "refresh …</p>"
        '<div class="row"><button id="start" class="main" disabled>Start</button>'
        '<a class="button" href="./">Back to the clips</a></div>'
        f"{_summary()}</main>"
        '<div id="stage" hidden role="dialog" aria-modal="true" aria-label="Moving bars" '
        'tabindex="-1">'
        '<canvas id="bars" role="img" aria-label="Bars that move at the screen\'s rate"></canvas>'
        f'<video id="awake" muted loop playsinline preload="none" src="clips/{awake}" '
        'aria-hidden="true" tabindex="-1"></video>'
        '<div id="top" class="bar"><span id="live" class="figure"></span>'
        '<button id="full">Full screen</button><button id="finish" class="main">Stop and sum up'
        "</button></div></div>"
        f"{caution_dialog([], 'the bars move')}"
    )
    return _document("Evenhold live bars", body, "live")
