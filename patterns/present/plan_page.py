"""A plan as one page to print and tape to the case: self-contained, no script."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape
from pathlib import Path

from patterns.errors import OutputError
from patterns.planning.conform_advice import FootageAdvice
from patterns.planning.plan import Plan, RatePlan
from patterns.planning.words import (
    CAUTIONS,
    audience_words,
    check_words,
    conform_verdict,
    filter_words,
    fps,
    move_words,
    movement_verdict,
    number,
    percent,
    rate_reason,
    remedy_words,
    repeat_words,
    shutter_verdict,
)
from patterns.present.picture import to_png
from patterns.present.plan_picture import plan_picture
from patterns.present.plan_text import near_groups
from patterns.present.style import LIGHT, css_properties
from patterns.timing.shutter import format_exposure
from patterns.video.partial import PartialFile

__all__ = ["plan_page", "write_page"]

_STYLE = """
* { box-sizing: border-box; }
body { margin: 0 auto; padding: var(--margin); max-width: 62rem; background: var(--paper);
  color: var(--ink); font: var(--body)/1.4 system-ui, sans-serif; }
h1 { font-size: var(--heading); margin: 0 0 0.2rem; }
h2 { font-size: var(--body); margin: 0 0 0.4rem; padding-top: 0.35rem;
  border-top: 3px solid var(--ink); }
p { margin: 0.3rem 0; }
.move, .small { color: var(--muted); font-size: var(--small); }
.set { display: grid; grid-template-columns: repeat(3, 1fr); gap: var(--gap);
  margin: 1rem 0; padding: 0; list-style: none; }
.set li { background: var(--panel); border-left: 0.5rem solid var(--usual);
  border-radius: var(--radius); padding: 0.5rem 0.8rem; }
.set li.mind { border-left-style: double; border-left-color: var(--odd); }
.set b { display: block; font-size: var(--title); line-height: 1.1; }
.set .what { font-size: var(--small); color: var(--muted); }
.set .why { font-size: var(--small); }
.parts { columns: 2; column-gap: 1.6rem; }
section { break-inside: avoid; margin-bottom: 1.1rem; overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-size: var(--small);
  font-variant-numeric: tabular-nums; }
th { text-align: right; font-weight: 600; border-bottom: 1px solid var(--ink);
  padding: 0.1rem 0.25rem; vertical-align: bottom; }
td { text-align: right; border-bottom: 1px solid var(--rule); padding: 0.1rem 0.25rem; }
th:first-child, td:first-child { text-align: left; font-weight: 600; }
td, th { white-space: nowrap; }
td.words { text-align: left; font-weight: 400; white-space: normal; }
th.words { text-align: left; }
.dense th, .dense td { padding: 0.1rem 0.1rem; }
figure { margin: 0; }
img { width: 100%; height: auto; background: #faf8f3; border-radius: var(--radius); }
ul { margin: 0.3rem 0; padding-left: 1.1rem; font-size: var(--small); }
@media screen and (max-width: 46rem) { .set { grid-template-columns: 1fr; } .parts { columns: 1; } }
@page { size: A4; margin: 9mm; }
@media print {
  html { font-size: 9.2px; }
  :root { LIGHT }
  body { padding: 0; max-width: none; background: none; }
  .set li, img { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
  section { overflow: visible; margin-bottom: 0.7rem; }
}
"""


def plan_page(plan: Plan) -> str:
    """Whole page as HTML: what to set on top, large; the numbers behind it below."""
    sections = [
        _rates(plan),
        _shutter(plan),
        _filters(plan),
        _movement(plan),
        *(_footage(advice) for advice in plan.footage),
        _cautions(),
    ]
    request = plan.request
    move = f"{move_words(request.motion)}, {request.width}×{request.height}"
    light = " ".join(
        f"--{name.replace('_', '-')}: {value};"
        for name, value in vars(LIGHT).items()
        if name != "name"
    )
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>Shooting plan: {escape(move)}</title>\n"
        f"<style>\n{css_properties()}{_STYLE.replace('LIGHT', light)}</style>\n</head>\n<body>\n"
        f'<h1>Shooting plan</h1>\n<p class="move">{escape(move[0].upper() + move[1:])}.</p>\n'
        f"{_settings(plan)}\n"
        f'<div class="parts">\n{chr(10).join(sections)}\n</div>\n</body>\n</html>\n'
    )


def write_page(plan: Plan, path: Path, *, force: bool = False) -> None:
    """Write the page, whole or not at all.

    Raises
    ------
    RequestError
        The file exists and `force` is false, or its folder is missing.
    OutputError
        The disk refuses it.
    """
    partial = PartialFile(path, force=force)
    try:
        try:
            partial.path.write_text(plan_page(plan), encoding="utf-8")
        except OSError as error:
            raise OutputError(f"{path} cannot be written: {error.strerror or error}") from error
        partial.publish()
    finally:
        partial.discard()


def _card(what: str, value: str, why: str, *, mind: bool = False) -> str:
    kind = ' class="mind"' if mind else ""
    return (
        f'<li{kind}><span class="what">{escape(what)}</span><b>{escape(value)}</b>'
        f'<span class="why">{escape(why)}</span></li>'
    )


def _settings(plan: Plan) -> str:
    best = plan.best
    shutter, movement = best.shutter, best.movement
    standing = best.advice.standing
    mains = shutter.mains
    cards = [
        _card(
            "Rate",
            f"{fps(best.rate)} fps",
            rate_reason(best.advice, None),
            mind=not standing.even_everywhere,
        ),
        _card(
            "Shutter",
            format_exposure(shutter.advised_s),
            shutter_verdict(shutter),
            mind=mains is not None and mains.nearest_s is None,
        ),
    ]
    if shutter.filters is not None:
        cards.append(
            _card("Filter", shutter.filters.names, filter_words(shutter.filters),
                  mind=shutter.filters.wanted_stops < 0)
        )  # fmt: skip
    cards.append(
        _card(
            "Fastest place crosses in",
            f"{number(movement.fastest_cross_s, 1)} s" if movement.step_px else "–",
            movement_verdict(movement),
            mind=not movement.within,
        )
    )
    for advice in plan.footage:
        value = fps(advice.footage)
        if advice.best is not None:
            conform = advice.best.conform
            value = f"{percent(conform.speed)} in {fps(conform.timeline)}"
        cards.append(_card(f"Shot at {fps(advice.footage)}", value, conform_verdict(advice)))
    return f'<ul class="set">{"".join(cards)}</ul>'


def _section(number_and_title: str, *parts: str) -> str:
    return f"<section>\n<h2>{escape(number_and_title)}</h2>\n{chr(10).join(parts)}\n</section>"


def _note(text: str) -> str:
    return f'<p class="small">{escape(text)}</p>'


def _table(
    head: tuple[str, ...],
    rows: Sequence[tuple[str, ...]],
    words: int | None = None,
    *,
    dense: bool = False,
) -> str:
    """Build a table; column `words` holds text and is set flush left."""
    kinds = [' class="words"' if i == words else "" for i in range(len(head))]
    top = "".join(f"<th{kind}>{escape(cell)}</th>" for kind, cell in zip(kinds, head, strict=True))
    lines = []
    for row in rows:
        cells = "".join(
            f"<td{kind}>{escape(cell)}</td>" for kind, cell in zip(kinds, row, strict=True)
        )
        lines.append(f"<tr>{cells}</tr>")
    kind = ' class="dense"' if dense else ""
    return f"<table{kind}><thead><tr>{top}</tr></thead><tbody>{''.join(lines)}</tbody></table>"


def _rates(plan: Plan) -> str:
    request = plan.request
    rows, reasons, above = [], [], None
    for rate in plan.rates:
        jump = rate.advice.jump
        rows.append(
            (
                fps(rate.rate),
                f"{1000 * rate.advice.standing.expected_error_s:.2f}",
                f"{1000 * rate.advice.standing.ranked_error_s:.2f}",
                f"{jump.px:.1f}",
                f"{jump.percent_of_width:.2f}",
                f"{jump.arcmin:.1f}",
                number(float(jump.showing.seen_beat_hz), 2) if not jump.showing.even else "–",
                f"{rate.advice.step_px:.1f}",
            )
        )
        reasons.append(
            f"<li><b>{fps(rate.rate)}</b>: {escape(rate_reason(rate.advice, above))}</li>"
        )
        above = rate.advice
    audience = audience_words(request.audience, assumed=request.audience_assumed)
    nears = [_note(f"{names}: {words}.") for names, words in near_groups(plan).items()]
    return _section(
        "1 Rate, most even first",
        _note(f"Displays: {audience}. Jump on the worst display, at the fastest place, seen from "
              f"{float(request.viewing_heights):g} picture heights. Error, and as seen (without "
              "slow slips and dropped frames), ms; jump and step, px; arc, minutes; beat, Hz."),
        _table(("fps", "error", "seen", "jump", "% width", "arc", "beat", "step"), rows),
        f"<ul>{''.join(reasons)}</ul>",
        *nears,
    )  # fmt: skip


def _shutter(plan: Plan) -> str:
    request = plan.request
    title = f"2 Shutter, {number(float(request.angle_deg), 1)}° wished"
    if request.mains_hz is None:
        rows = [(fps(r.rate), format_exposure(r.shutter.wished_s)) for r in plan.rates]
        return _section(
            title, _note("Daylight: any exposure holds still."), _table(("fps", "exposure"), rows)
        )
    note = (
        f"Mains {request.mains_hz} Hz, light pulses at {2 * request.mains_hz} Hz, lamp depth "
        f"{percent(request.lamp_depth)}. Whole cycles: multiples of 1/{2 * request.mains_hz} s."
    )
    return _section(
        title,
        _note(note),
        _table(
            ("fps", "wished", "under the lamps", "set", "really °"),
            [_mains_row(rate) for rate in plan.rates],
            2,
        ),
    )


def _mains_row(rate: RatePlan) -> tuple[str, ...]:
    shutter = rate.shutter
    assert shutter.mains is not None
    return (
        fps(rate.rate),
        format_exposure(shutter.wished_s),
        check_words(shutter.mains.wished),
        format_exposure(shutter.advised_s),
        number(float(shutter.advised_deg), 1),
    )


def _filters(plan: Plan) -> str:
    metered = plan.request.metered
    if metered is None:
        return _section("3 Filter", _note("No exposure was metered."))
    rows = []
    for rate in plan.rates:
        filters = rate.shutter.filters
        assert filters is not None
        rows.append(
            (
                fps(rate.rate),
                f"{filters.wanted_stops:.2f}",
                f"{filters.factor:.4g}",
                f"{filters.density:.2f}",
                filters.names,
                f"{filters.trim_stops:+.2f}",
            )
        )
    return _section(
        "3 Filter",
        _note(f"Metered {metered.text}, EV {metered.ev100:.2f} at ISO 100. Trim: stops still too "
              "bright (+) or too dark (−). ND 0.3 to 3.0 in steps of 0.3 (common practice)."),
        _table(("fps", "stops", "factor", "density", "filter", "trim"), rows),
    )  # fmt: skip


def _movement(plan: Plan) -> str:
    best = plan.best.movement
    rows = [
        (
            fps(m.rate),
            f"{m.step_px:.1f}",
            f"{m.limit_step_px:.1f}",
            f"{m.times_limit:.2f}",
            f"{m.limit_cross_s:.1f}",
            percent(m.past_share),
        )
        for m in (rate.movement for rate in plan.rates)
    ]
    drawing = plan_picture(plan)
    png = base64.b64encode(to_png(drawing)).decode()
    remedies = " or ".join(remedy_words(remedy) for remedy in best.remedies)
    return _section(
        "4 Movement",
        f'<figure><img alt="{escape(drawing.title)}" width="{drawing.width}" '
        f'height="{drawing.height}" src="data:image/png;base64,{png}"></figure>',
        _note(f"Meets the guidance at {fps(best.rate)} fps with {remedies or 'any move'}."),
        _table(("fps", "px/frame", "allowed", "times", "crossing s", "past it"), rows),
        _note(
            "Guidance: 7 s to cross at 24 fps and 180° (Chapiro et al. 2019, quoting the "
            "American Cinematographer Manual, 2007); in proportion at other rates by convention."
        ),
    )


def _footage(advice: FootageAdvice) -> str:
    rows = [
        (
            fps(choice.conform.timeline),
            f"{100 * float(choice.conform.speed):.2f}",
            f"{100 * float(choice.conform.length):.2f}",
            f"{choice.conform.semitones:+.2f}",
            f"{1000 * choice.played.ranked_error_s:.2f}",
            repeat_words(choice.conform),
            f"{1000 * choice.repeated_error_s:.2f}",
            f"{100 * float(choice.conform.mixed_share):.0f}",
        )
        for choice in advice.choices
    ]
    head = ("in", "speed", "length", "sound", "error", "left as shot", "error", "mixed")
    return _section(
        f"5 Conform what was shot at {fps(advice.footage)}",
        _note(
            f"At its own rate: error {1000 * advice.own.ranked_error_s:.2f} ms over the "
            "audience. Speed, length and mixed in percent, sound in semitones, errors in ms."
        ),
        _table(head, rows, dense=True),
    )


def _cautions() -> str:
    return _section("6 Cautions", f"<ul>{''.join(f'<li>{escape(c)}</li>' for c in CAUTIONS)}</ul>")
