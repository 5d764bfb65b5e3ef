"""A plan as sections that any printer can set: notes, a table, a list; and the plan as text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction

from patterns.planning import words
from patterns.planning.plan import FootageAdvice, NearRate, Plan, RatePlan
from patterns.planning.words import brief_text, fps, number, percent, rate_reasons
from patterns.timing.rates import format_decimal
from patterns.timing.shutter import format_exposure

GUIDANCE = (
    "Guidance: 7 s to cross at 24 fps and 180 degrees (Chapiro et al. 2019, quoting the American "
    "Cinematographer Manual, 2007); in proportion at other rates by convention."
)


@dataclass(frozen=True)
class Table:
    """Rows of cells under a head; the last column may hold sentences."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]  # as many texts in each as in the head
    sentences: bool = False  # whether the last column is set as running text


@dataclass(frozen=True)
class Section:
    """One subject of a plan: its title, then notes, a table and a list, each of which may lack."""

    title: str
    notes: tuple[str, ...] = ()
    table: Table | None = None
    items: tuple[str, ...] = ()


def plan_sections(plan: Plan) -> tuple[Section, ...]:
    """Sections of a plan in the order in which they are read: the numbers behind its brief."""
    settings = _rates(plan), _shutter(plan), _filters(plan), _movement(plan)
    return (*settings, *map(_footage, plan.footage), Section("Cautions", items=words.CAUTIONS))


def _rows(plan: Plan, row: Iterable[tuple[str, ...]]) -> tuple[tuple[str, ...], ...]:
    return tuple((fps(rate.rate), *cells) for rate, cells in zip(plan.rates, row, strict=True))


def _rates(plan: Plan) -> Section:
    request = plan.request
    reasons = [
        f"{fps(rate.rate)}: {reason}"
        for rate, reason in zip(plan.rates, rate_reasons(plan), strict=True)
    ]
    nears = [f"{names}: {said}" for names, said in _near_groups(plan).items()]
    heights = format_decimal(request.viewing_heights, 1)
    audience = words.audience_words(request.audience, assumed=request.audience_assumed)
    return Section(
        "Rate: how evenly the audience sees it",
        (
            f"Displays: {audience}.",
            "Unevenness: timing error (RMS) between slow slips, of the frames that show, weighted "
            "with the shares; best first, equal ones by fewer slips and dropped frames, then by "
            "the shorter step. Jump: how far the fastest place is out of place at worst, in "
            f"pixels and, seen from {heights} picture heights, minutes of arc.",
        ),
        Table(
            ("fps", "unevenness, ms", "jump, px", "jump, '", "on, Hz", "step, px"),
            _rows(plan, (_rate_cells(rate) for rate in plan.rates)),
        ),
        (*reasons, *nears),
    )


def _near_groups(plan: Plan) -> dict[str, str]:
    """Group near rates that do the same: names such as "29.97 instead of 30" to words."""
    groups: dict[str, list[str]] = {}
    for rate in plan.rates:
        near = rate.near
        if near is not None:
            names = groups.setdefault(_near_words(near, plan.request.take_s), [])
            names.append(f"{fps(near.rate)} instead of {fps(rate.rate)}")
    return {", ".join(names): words for words, names in groups.items()}


def _near_words(near: NearRate, take_s: Fraction) -> str:
    """Say what a near rate does over a long take."""
    parts = []
    for showing in near.showings:
        where = f"on {showing.display.name} Hz"
        if showing.slip is None:
            parts.append(f"{where} no slip")
        else:
            every_s = showing.slip.interval_s
            count = f"{float(take_s / every_s):.0f} in all"
            parts.append(f"{where} a slip every {number(float(every_s), 1)} s, {count}")
    drift = float(near.drift_s)
    minutes = number(float(take_s) / 60, 1)
    side = "behind" if drift > 0 else "ahead"
    return f"over {minutes} min {'; '.join(parts)}; its clock is {abs(drift):.1f} s {side} then"


def _rate_cells(rate: RatePlan) -> tuple[str, ...]:
    jump, worst = rate.jump, rate.standing.worst
    even = worst.even
    return (
        number(1000 * rate.standing.ranked_error_s, 1),
        "-" if even else number(jump.px, 1),
        "-" if even else number(jump.arcmin, 1),
        "-" if even else worst.display.name,
        number(rate.movement.step_px, 1),
    )


def _shutter(plan: Plan) -> Section:
    request = plan.request
    exposure_s = request.shutter.exposure_s
    target = f"{number(float(request.shutter.angle_deg), 1)} degrees"
    title = f"Shutter: target {format_exposure(exposure_s) if exposure_s else target}"
    if request.mains_hz is None:
        return Section(
            title,
            ("Daylight: any exposure holds still. Under lamps use --mains 50 or 60.",),
            Table(
                ("fps", "exposure"),
                _rows(plan, ((format_exposure(r.shutter.target_s),) for r in plan.rates)),
            ),
        )
    depth = percent(request.lamp_depth)
    return Section(
        title,
        (
            f"Mains {request.mains_hz} Hz: the light pulses {2 * request.mains_hz} times a second, "
            f"lamp depth {depth}{' (worst case)' if request.lamp_depth == 1 else ''}. Exposures "
            f"of whole cycles, multiples of 1/{2 * request.mains_hz} s, hold still.",
        ),
        Table(
            ("fps", "target", "set", "actual, deg", "the target under the lamps"),
            _rows(plan, (_mains_cells(rate) for rate in plan.rates)),
            sentences=True,
        ),
    )


def _mains_cells(rate: RatePlan) -> tuple[str, ...]:
    shutter = rate.shutter
    assert shutter.mains is not None
    parts = [words.check_words(shutter.mains.target)]
    near = rate.near
    if shutter.mains.target.beat_hz == 0 and near is not None:
        parts.append(words.near_light_words(near.rate, shutter.mains))
    parts.append(words.clean_words(shutter, rate.rate))
    target, advised = format_exposure(shutter.target_s), format_exposure(shutter.advised_s)
    return target, advised, number(float(shutter.advised_deg), 1), "; ".join(parts)


def _filters(plan: Plan) -> Section:
    metered = plan.request.metered
    if metered is None:
        return Section(
            "Filter", ('No exposure is metered: use --metered "ISO100 f/2.8 1/2000" or --ev.',)
        )
    rows = []
    for rate in plan.rates:
        filters = rate.shutter.filters
        assert filters is not None
        exposure, stops = format_exposure(rate.shutter.advised_s), number(filters.wanted_stops, 1)
        rows.append((exposure, stops, filters.names, f"{filters.trim_stops:+.1f}"))
    return Section(
        "Filter",
        (
            f"Metered {metered.text} (EV {metered.ev100:.1f} at ISO 100). Filters to choose from: "
            "ND 0.3 to 3.0 in steps of 0.3 (common practice). Left over: stops still too bright "
            "(+) or too dark (-).",
        ),
        Table(("fps", "exposure", "stops", "filter", "left over"), _rows(plan, rows)),
    )


def _movement(plan: Plan) -> Section:
    best = plan.best.movement
    if not best.step_px:
        return Section("Movement: none", ("Nothing moves in this picture: no guidance to keep.",))
    x, y = plan.speed.fastest_xy
    rows = [
        (
            number(m.step_px, 1),
            number(m.limit_step_px, 1),
            number(m.times_limit, 2),
            number(m.limit_cross_s, 1),
            percent(m.past_share),
        )
        for m in (rate.movement for rate in plan.rates)
    ]
    return Section(
        f"Movement: fastest {percent(x)} from the left, {percent(y)} from the top",
        (
            f"There it moves at {number(plan.speed.fastest_px_s, 0)} px/s and crosses the width in "
            f"{number(best.fastest_cross_s, 1)} s; half of the moving picture takes more than "
            f"{number(best.typical_cross_s, 1)} s.",
            GUIDANCE,
        ),
        Table(
            ("fps", "px a frame", "guidance", "times", "crossing, s", "past it in"),
            _rows(plan, rows),
        ),
        tuple(
            f"Meets the guidance at {fps(plan.best.rate)} fps: {words.remedy_words(remedy)} "
            f"(now {number(remedy.now)})"
            for remedy in best.remedies
        ),
    )


def _footage(advice: FootageAdvice) -> Section:
    rows = tuple(
        (
            fps(choice.conform.timeline),
            f"{number(100 * float(choice.conform.speed), 1)} %",
            f"{choice.conform.semitones:+.1f}",
            number(1000 * choice.played.ranked_error_s, 1),
            number(1000 * choice.repeated_error_s, 1),
            percent(choice.conform.mixed_share),
            choice.conform.repeat_words,
        )
        for choice in advice.choices
    )
    own = number(1000 * advice.own.ranked_error_s, 1)
    return Section(
        f"Conform: shot at {fps(advice.footage)}, on each candidate timeline",
        (
            f"Delivered at its own rate: unevenness {own} ms. Played: every frame once, at that "
            "speed; sound rises by so many semitones. As shot: at its own speed, frames repeated "
            "or dropped. Mixed: frames that blending makes of two, soft where something moves.",
        ),
        Table(
            ("in fps", "played at", "sound", "played, ms", "as shot, ms", "mixed", "as shot"),
            rows,
            sentences=True,
        ),
    )


PAGE_WIDTH = 79
GAP = "   "


def plan_text(plan: Plan, *, details: bool = False) -> str:
    """Brief of at most twelve lines; with `details` the sections behind it, 79 columns wide."""
    brief = brief_text(plan)
    if not details:
        return brief
    sections = ("\n".join(_section_text(n, s)) for n, s in enumerate(plan_sections(plan), start=1))
    return "\n".join([brief, *(f"{text}\n" for text in sections)])


def _wrap(text: str, first: str = "  ", rest: str = "  ") -> list[str]:
    return textwrap.wrap(
        text, PAGE_WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def _section_text(place: int, section: Section) -> Iterator[str]:
    yield f"{place}  {section.title}"
    for note in section.notes:
        yield from _wrap(note)
    if section.table is not None:
        yield ""
        yield from _table_text(section.table)
    if section.table is not None and section.items:
        yield ""
    for item in section.items:
        yield from _wrap(item, "  - ", "    ")


def _table_text(table: Table) -> Iterator[str]:
    """Columns flush right under their heads; sentences flush left, wrapped."""
    lines = [table.head, *table.rows]
    plain = len(table.head) - (1 if table.sentences else 0)
    widths = [max(len(line[i]) for line in lines) for i in range(plain)]
    indent = 2 + sum(widths) + len(GAP) * (plain - 1)
    for line in lines:
        cells = [f"{cell:>{width}}" for cell, width in zip(line, widths, strict=False)]
        text = "  " + GAP.join(cells)
        if table.sentences:
            pad = " " * (indent + len(GAP))
            yield from _wrap(line[-1], text + GAP, pad)
        else:
            yield text.rstrip()
