"""A comparison of devices as one page to send to a client: self-contained, no script."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from patterns.drawing.canvas import Drawing, to_svg, typeface_css
from patterns.drawing.style import PAGE, html_page
from patterns.reading.compare import Comparison, Entry, table_rows
from patterns.reading.timeline import hold_timeline
from patterns.timing.notation import plural

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
.row { display: grid; grid-template-columns: 12rem 1fr 13rem; gap: 0.2rem 1rem; margin: 0.5rem 0;
  align-items: center; overflow-wrap: anywhere; }
.track { position: relative; height: 1.4rem; border-left: 2px solid var(--muted); }
.track b { display: block; height: 100%; min-width: 2px; background: var(--calm); }
.track i { position: absolute; top: 45%; height: 2px; background: var(--ink);
  border: solid var(--ink); border-width: 0 2px; }
.lost { font-style: normal; background: var(--wrong); color: var(--wrong-ink); padding: 0 0.4rem;
  border-radius: var(--radius); white-space: nowrap; }
@media (max-width: 44rem) {
  thead { display: none; }
  tbody tr { display: grid; padding: 0.5rem 0; border-bottom: 1px solid var(--rule); }
  tbody th, tbody td { border: 0; padding: 0.1rem 0; white-space: normal; }
  td[data-of] { display: grid; grid-template-columns: 8rem 1fr; text-align: left; }
  td[data-of]::before { content: attr(data-of); color: var(--muted); }
  .row { grid-template-columns: 1fr; }
}
.place { display: grid; grid-template-columns: 2.5rem 1fr; margin: 0.35rem 0; max-width: 48rem; }
.place b { font-size: var(--heading); line-height: 1.1; }
figure { margin: 1.25rem 0 2rem; break-inside: avoid; }
figcaption { font-size: var(--small); color: var(--muted); margin-top: 0.4rem; max-width: 48rem; }
ul.cautions { padding-left: 1.1rem; max-width: 48rem; }
"""


def _error_bars(entries: Sequence[Entry]) -> str:
    """Timing error of each device as a bar, with its spread as a whisker."""
    most = max([1.0, *((e.error_ms or 0) + (e.spread_ms or 0) for e in entries)])
    rows = []
    for entry in entries:
        value, spread = entry.error_ms or 0.0, entry.spread_ms or 0.0
        low, wide = max(0.0, value - spread), min(value, spread) + spread
        whisker = f'<i style="left:{low / most:.2%};width:{wide / most:.2%}"></i>'
        lost = f'<em class="lost">lost {plural(entry.lost, "frame")}</em>' if entry.lost else ""
        rows.append(
            f'<div class="row"><span>{escape(_name(entry))}</span>'
            f'<div class="track"><b style="width:{value / most:.2%}"></b>'
            f"{whisker if spread else ''}</div><span>{value:.1f} ms {lost}</span></div>"
        )
    return f"<h2>Timing error (less is more even)</h2>{''.join(rows)}" if rows else ""


def _name(entry: Entry) -> str:
    return f"{entry.label}, {entry.clip.split(',')[0]}" if entry.clip else entry.label


def _table(found: Comparison) -> str:
    head, *rows = table_rows(found.entries)
    cells = "".join(
        f"<th{' class=n' if i > 2 else ''} scope=col>{escape(cell)}</th>"
        for i, cell in enumerate(head)
    )
    lines = []
    for row in rows:
        rest = "".join(
            f'<td{" class=n" if i > 2 else ""} data-of="{escape(head[i])}">{escape(cell)}</td>'
            for i, cell in enumerate(row[1:], 1)
        )
        lines.append(f"<tr><th scope=row>{escape(row[0])}</th>{rest}</tr>")
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
        f'aria-label="{escape(caption)}">{to_svg(drawing, alone=False)}</div>'
        f"<figcaption>{escape(caption)}</figcaption></figure>"
    )


def compare_page(found: Comparison) -> str:
    """Whole page as HTML."""
    parts = [f"<h1>{escape(found.verdict)}</h1>", _table(found)]
    known = [entry for entry in found.entries if entry.error_ms is not None]
    parts.append(_error_bars(known))
    if any(entry.spread_ms for entry in known):
        parts.append('<p class="small">Whisker: standard error from the spread within it.</p>')
    parts.append(_ranking(found))
    if found.cautions:
        items = "".join(f"<li>{escape(caution)}</li>" for caution in found.cautions)
        parts.append(f'<h2>What cannot be compared</h2><ul class="cautions">{items}</ul>')
    parts.append("<h2>Frame by frame</h2>")
    for entry in found.entries:
        if entry.reading.holds:
            parts.append(_chart(hold_timeline(entry.reading, PAGE), f"{entry.label}: {entry.clip}"))
    parts.append(
        '<h2>What the figures mean</h2><p class="small">Cadence: for how many refreshes frames '
        "stay on screen, in turn. Timing error: how far frames come on from an even clock, RMS. "
        "Frames lost: those that never show although the screen has time for them. Longest "
        "hold: the longest time for which one frame stayed. Holds are frame inter-arrival times "
        "in the sense of ITU-T P.931; there is no standard limit for their unevenness.</p>"
    )
    css = f"{_CSS}{typeface_css()}"
    return html_page("How evenly these screens hold frames", "\n".join(parts), css=css)
