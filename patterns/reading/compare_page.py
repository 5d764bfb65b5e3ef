"""A comparison of devices as one page to send to a client: self-contained, no script."""

from __future__ import annotations

from html import escape

from patterns.drawing.canvas import Box, Drawing, Polygon, Stroke, Text, to_themed_svg, typeface_css
from patterns.drawing.page import html_page
from patterns.drawing.style import LIGHT
from patterns.picture.lettering import text_width_px
from patterns.reading.compare import Comparison, Entry
from patterns.reading.reading_text import table_rows
from patterns.reading.timeline import hold_timeline

CHART_WIDTH, ROW_PX, TYPE_PX = 1080, 64, 24
_CSS = """
.scroll { overflow-x: auto; margin: 1rem 0; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
th { text-align: left; font-size: var(--small); color: var(--muted); font-weight: 550; }
th, td { padding: 0.45rem 1rem 0.45rem 0; border-bottom: 1px solid var(--rule); vertical-align: top;
  white-space: nowrap; }
td.n, th.n { text-align: right; }
tbody th { color: var(--ink); font-size: var(--body); font-weight: 650; }
.chart svg { width: 100%; min-width: 44rem; height: auto; border: 1px solid var(--rule);
  border-radius: var(--radius); display: block; }
.place { display: grid; grid-template-columns: 2.5rem 1fr; margin: 0.35rem 0; max-width: 48rem; }
.place b { font-size: var(--heading); line-height: 1.1; }
figure { margin: 1.25rem 0 2rem; break-inside: avoid; }
figcaption { font-size: var(--small); color: var(--muted); margin-top: 0.4rem; max-width: 48rem; }
ul.cautions { padding-left: 1.1rem; max-width: 48rem; }
"""


def error_chart(entries: list[Entry]) -> Drawing:
    """Timing error of each device as a bar, with its spread as a whisker."""
    known = [entry for entry in entries if entry.error_ms is not None]
    height = ROW_PX * len(known) + 70
    drawing = Drawing(CHART_WIDTH, height, LIGHT.paper, "Timing error of each device")
    name_px = min(460.0, 40.0 + max((text_width_px(_name(e), TYPE_PX) for e in known), default=0))
    left, right = name_px, CHART_WIDTH - 130.0
    most = max([1.0, *((e.error_ms or 0) + (e.spread_ms or 0) for e in known)])
    scale = (right - left) / most
    for row, entry in enumerate(known):
        _bar(drawing, entry, 24.0 + row * ROW_PX, left, scale)
    base = height - 20
    drawing.add(Stroke(left, 14, left, height - 46, LIGHT.muted, 2))
    note = "timing error, ms RMS (less is more even)"
    drawing.add(Text(left, base, note, 20, LIGHT.muted))
    return drawing


def _name(entry: Entry) -> str:
    text = f"{entry.label}, {entry.clip.split(',')[0]}" if entry.clip else entry.label
    return text if len(text) <= 34 else f"{text[:33]}…"


def _bar(drawing: Drawing, entry: Entry, top: float, left: float, scale: float) -> None:
    value, spread = entry.error_ms or 0.0, entry.spread_ms or 0.0
    width = max(2.0, value * scale)
    middle = top + 18
    fill = LIGHT.calm
    drawing.add(
        Text(left - 18, middle + 8, _name(entry), TYPE_PX, LIGHT.ink, "end"),
        Box(left, top, width, 36, fill, 4),
    )
    end = left + width
    if spread:
        low, high = end - spread * scale, end + spread * scale
        drawing.add(
            Stroke(low, middle, high, middle, LIGHT.ink, 3),
            Stroke(low, middle - 8, low, middle + 8, LIGHT.ink, 3),
            Stroke(high, middle - 8, high, middle + 8, LIGHT.ink, 3),
        )
        end = high
    drawing.add(Text(end + 14, middle + 8, f"{value:.1f}", TYPE_PX, LIGHT.ink, bold=True))
    if entry.lost:
        x = end + 14 + text_width_px(f"{value:.1f}", TYPE_PX) + 22
        points = ((x, middle - 9), (x + 20, middle - 9), (x + 10, middle + 9))
        drawing.add(Polygon(points, LIGHT.wrong))


def _table(found: Comparison) -> str:
    head, *rows = table_rows(found.entries)
    cells = "".join(
        f"<th{' class=n' if i > 2 else ''} scope=col>{escape(cell)}</th>"
        for i, cell in enumerate(head)
    )
    lines = []
    for row in rows:
        first = f"<th scope=row>{escape(row[0])}</th>"
        rest = "".join(
            f"<td{' class=n' if i > 1 else ''}>{escape(cell)}</td>"
            for i, cell in enumerate(row[1:])
        )
        lines.append(f"<tr>{first}{rest}</tr>")
    return (
        '<div class="scroll" tabindex="0" role="group" aria-label="Devices, best first">'
        f"<table><thead><tr>{cells}</tr></thead>"
        f"<tbody>{''.join(lines)}</tbody></table></div>"
    )


def _ranking(found: Comparison) -> str:
    parts = []
    for clip, standings in found.rankings:
        parts.append(f"<h2>Ranking on {escape(clip)}</h2>")
        for s in standings:
            mark = f"{s.place}{'=' if s.tied else ''}"
            parts.append(
                f'<div class="place"><b>{mark}</b><div><strong>{escape(s.entry.label)}</strong>: '
                f"{escape(s.reason)}</div></div>"
            )
    return "\n".join(parts)


def _chart(drawing: Drawing, caption: str) -> str:
    return (
        f'<figure class="chart"><div class="scroll" tabindex="0" role="group" '
        f'aria-label="{escape(caption)}">{to_themed_svg(drawing)}</div>'
        f"<figcaption>{escape(caption)}</figcaption></figure>"
    )


def compare_page(found: Comparison) -> str:
    """Whole page as HTML."""
    parts = [f"<h1>{escape(found.verdict)}</h1>", _table(found)]
    if any(entry.error_ms is not None for entry in found.entries):
        caption = (
            "Whisker: standard error from the spread within each reading. "
            "Wedge: frames were dropped."
        )
        parts.append(_chart(error_chart(list(found.entries)), caption))
    parts.append(_ranking(found))
    if found.cautions:
        items = "".join(f"<li>{escape(caution)}</li>" for caution in found.cautions)
        parts.append(f'<h2>What cannot be compared</h2><ul class="cautions">{items}</ul>')
    parts.append("<h2>Frame by frame</h2>")
    for entry in found.entries:
        if entry.reading.holds:
            parts.append(_chart(hold_timeline(entry.reading), f"{entry.label}: {entry.clip}"))
    parts.append(
        '<h2>What the figures mean</h2><p class="small">Cadence: for how many refreshes frames '
        "stay on screen, in turn. Timing error: how far frames come on from an even clock, RMS. "
        "Frames lost: those that never show although the screen has time for them. Longest "
        "hold: the longest time for which one frame stayed. Holds are frame inter-arrival times "
        "in the sense of ITU-T P.931; there is no standard limit for their unevenness.</p>"
    )
    return html_page(
        "How evenly these screens hold frames",
        "\n".join(parts),
        css=f"{_CSS}{typeface_css()}",
    )
