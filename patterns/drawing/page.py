"""The frame of every page that is opened from a folder: offline, and what it may load."""

from __future__ import annotations

from html import escape

from patterns.drawing.style import css_properties

CAUTION = (
    "These clips move across the whole screen. Moving stripes and flicker can trigger seizures "
    "in people with photosensitive epilepsy, and make others unwell. If that may be you, let "
    "somebody else watch; stop at the first sign of discomfort. The clips were checked against "
    "published limits for flashes and stripes; that check is an aid, not a certificate."
)

_CSS = """
*, *::before, *::after { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink); font-size: var(--body);
  line-height: 1.5; font-family: system-ui, -apple-system, "Segoe UI", Helvetica, Arial, sans-serif;
  -webkit-text-size-adjust: 100%; }
main { max-width: 68rem; margin: 0 auto; padding: var(--margin); }
h1 { font-size: var(--title); line-height: 1.15; margin: 0 0 0.5rem; font-weight: 650; }
h2 { font-size: var(--heading); line-height: 1.25; margin: 2.5rem 0 0.5rem; font-weight: 650; }
h3 { font-size: var(--body); margin: 0; font-weight: 650; }
p { margin: 0.4rem 0 0.8rem; max-width: 44rem; }
a { color: inherit; text-decoration-color: var(--calm); text-underline-offset: 0.2em;
  text-decoration-thickness: 0.12em; }
a:focus-visible, video:focus-visible, summary:focus-visible { outline: 3px solid var(--calm);
  outline-offset: 3px; }
.lead { color: var(--muted); }
.small { font-size: var(--small); color: var(--muted); }
.caution { border-left: 0.3rem solid var(--ink); background: var(--panel);
  padding: 0.8rem 1rem; margin: 1.25rem 0; max-width: 48rem; }
.caution p { margin: 0; }
@media print { body { background: #fff; color: #000; } main { padding: 0; max-width: none; } }
"""


def page_css() -> str:
    """Style sheet of every page: palette, type scale, text, links and cautions."""
    return css_properties() + _CSS


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


def html_page(
    title: str, body: str, *, css: str = "", policy: str = SELF_CONTAINED, after: str = ""
) -> str:
    """Whole HTML document.

    Parameters
    ----------
    title
        Plain text.
    body
        HTML of the page's `main`; what comes from outside is escaped by the caller.
    css
        Rules of this page alone.
    policy
        What the page may load: `SELF_CONTAINED`, `SCRIPTED` or `FOLDER`.
    after
        HTML behind `main`: dialogues, scripts.
    """
    return (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        f"<title>{escape(title)}</title>\n<style>\n{page_css()}{css}</style>\n"
        f"</head>\n<body>\n<main>\n{body}\n</main>\n{after}</body>\n</html>\n"
    )
