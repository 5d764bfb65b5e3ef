"""The sections of a plan's page: the numbers behind what is to be set."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape

from patterns.planning.conform_advice import FootageAdvice
from patterns.planning.plan import Plan, RatePlan
from patterns.planning.rate_words import rate_reason, repeat_words
from patterns.planning.setting_words import (
    check_words,
    remedy_words,
)
from patterns.planning.words import CAUTIONS, audience_words, fps, number, percent
from patterns.present.picture import to_png
from patterns.present.plan_picture import plan_picture
from patterns.present.plan_text import near_groups
from patterns.timing.shutter import format_exposure

__all__ = ["plan_sections"]


def plan_sections(plan: Plan) -> list[str]:
    """Sections 1 to 6 as HTML, one for each rate of footage."""
    return [
        _rates(plan),
        _shutter(plan),
        _filters(plan),
        _movement(plan),
        *(_footage(advice) for advice in plan.footage),
        _cautions(),
    ]


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
