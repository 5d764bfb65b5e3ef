"""A presentation on disk: the parts asked for, or the whole folder with its slides and notes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from pathlib import Path
from typing import Any, Literal

import numpy as np

from patterns.drawing.canvas import Drawing, to_png, to_svg
from patterns.drawing.hold_chart import hold_chart
from patterns.drawing.space_time import space_time
from patterns.errors import RequestError
from patterns.kit.make_clip import dump
from patterns.picture.planes import picture_bytes
from patterns.present import speaker_notes as notes_of
from patterns.present.animation import (
    FORMATS,
    FormatName,
    least_slow,
    played_timing,
    write_animation,
)
from patterns.present.panel import LayoutName
from patterns.present.speaker_notes import Notes
from patterns.present.split_clip import write_split
from patterns.present.split_spec import SplitSpec
from patterns.present.talk_pages import demo_page, index_page, notes_page
from patterns.present.talk_request import Part, TalkRequest
from patterns.present.tracked_eye import MODEL_WORDS, SLOWER, tracked_eye_slide
from patterns.safety.report import SafetyReport
from patterns.scenes.table import PATTERNS
from patterns.side_by_side import Progress, Task, side_by_side
from patterns.timing.cadence_text import cadence_record
from patterns.timing.rates import format_decimal
from patterns.version import VERSION
from patterns.whole_file import make_folder, write_whole

SCHEMA = "evenhold/present 1"
PAGES = ("index.html", "notes.html", "talk.json")
SLOW_IN_TALK = 4
SLOW_SCENE_S, OTHER_SCENE_S = Fraction(2), Fraction(6)

Kind = Literal["clip", "still", "animation", "page"]
Facts = dict[str, Any]
Content = Callable[[], str | bytes]
# How long they take, about.
SIZES: dict[Kind, int] = {"clip": 1000, "animation": 300, "still": 50, "page": 10}


@dataclass(frozen=True)
class Item:
    """One thing to show."""

    kind: Kind  # 'clip', 'still', 'animation' or 'page'
    files: tuple[str, ...]  # names in the folder, the first one to be shown
    notes: Notes  # its title, and what to say and where to look
    make: Callable[[Path, Progress | None], Facts]  # writes them into a folder; returns the rest


def _safety(report: SafetyReport) -> Facts:
    return {"verdict": "pass" if report.passes else "exceeds", "summary": report.summary}


def _clip(request: TalkRequest, name: str, spec: SplitSpec, notes: Notes, *, still: bool) -> Item:
    slow = f"-slow{spec.slow}" if spec.slow > 1 else ""
    files = (f"{name}{slow}{request.suffix}", *([f"{name}{slow}.jpg"] if still else []))

    def make(folder: Path, progress: Progress | None) -> Facts:
        report = write_split(
            spec, folder / files[0], codec=request.codec, force=request.force,
            still=folder / files[1] if still else None,
            allow_flashing=request.allow_flashing, progress=progress,
        )  # fmt: skip
        return {
            "refresh_hz": float(spec.refresh_hz),
            "slow": spec.slow,
            "seconds": float(spec.refreshes * spec.slow / spec.refresh_hz),
            "speed_px_s": round(spec.fastest_px_s, 1),
            "times_pan_guidance": round(spec.times_guidance, 2),
            "panels": [f"{panel.title}: {panel.mark}" for panel in spec.panels],
            "safety": _safety(report),
        }

    return Item("clip", files, notes, make)


def _split(request: TalkRequest, spec: SplitSpec, *, still: bool = False) -> Item:
    shape = "" if spec.layout in ("side", "grid") else f"-{spec.layout}"
    name = f"split-{spec.scene.pattern}-{request.rates_name}{shape}"
    return _clip(request, name, spec, notes_of.clip_notes(request, spec), still=still)


def _conform(request: TalkRequest, *, still: bool = False) -> Item:
    shot, line = format_decimal(request.footage), format_decimal(request.timeline)
    name = f"conform-{shot}-in-{line}-on-{format_decimal(request.refresh_hz)}hz"
    return _clip(request, name, request.conform(), notes_of.conform_notes(request), still=still)


def _written(
    request: TalkRequest, kind: Kind, files: Mapping[str, Content], notes: Notes, **facts: Any
) -> Item:
    """Item whose files, by name, are each made at one go."""

    def make(folder: Path, progress: Progress | None) -> Facts:  # noqa: ARG001 - one signature
        for name, content in files.items():
            write_whole(folder / name, content(), force=request.force)
        return facts

    return Item(kind, tuple(files), notes, make)


def _both(name: str, drawing: Drawing) -> dict[str, Content]:
    """PNG to show, SVG for documents."""
    return {f"{name}.png": partial(to_png, drawing), f"{name}.svg": partial(to_svg, drawing)}


def _stills(request: TalkRequest) -> Iterator[Item]:
    cadences, colours = request.cadences, request.still_colours
    speed = Fraction(request.split().fastest_px_s)
    chart = _both("hold-chart", hold_chart(cadences, colours))
    yield _written(request, "still", chart, notes_of.hold_chart_notes(request))
    diagram = _both("space-time", space_time(cadences, speed, colours))
    yield _written(request, "still", diagram, notes_of.space_time_notes(request))

    def eye() -> bytes:
        slide = tracked_eye_slide(cadences, clip_px_s=speed, colours=colours)
        return picture_bytes(np.asarray(slide), ".png", optimize=True)

    facts = {"speed_px_s": float(speed / SLOWER), "model": MODEL_WORDS}
    yield _written(request, "still", {"tracked-eye.png": eye}, notes_of.eye_notes(request), **facts)


def _demo(request: TalkRequest) -> Item:
    page = {"demo.html": partial(demo_page, request.rates)}
    return _written(request, "page", page, notes_of.demo_notes(request))


def _animation(request: TalkRequest, name: FormatName, slow: int) -> Item:
    form = FORMATS[name]
    # Asked for what a clock cannot hold, this refuses before anything is drawn.
    timing = played_timing(name, request.refresh_hz, slow, 1)
    spec = request.animated(slow)
    kind = "apng" if name == "apng" else "loop"
    slowed = f"-slow{slow}" if slow > 1 else ""
    file = f"{kind}-{spec.scene.pattern}-{request.rates_name}{slowed}{form.suffix}"

    def make(folder: Path, progress: Progress | None) -> Facts:
        done = write_animation(
            spec, name, folder / file, force=request.force,
            allow_flashing=request.allow_flashing, progress=progress,
        )  # fmt: skip
        return {
            "format": form.name,
            "slow": slow,
            "pictures": len(done.timing.durations_s),
            "seconds": float(sum(done.timing.durations_s)),
            "timing": done.timing.words,
            "exact": done.timing.exact,
            "seamless": done.seamless,
            "safety": _safety(done.safety),
        }

    return Item("animation", (file,), notes_of.animation_notes(timing, slow), make)


def _whole(request: TalkRequest) -> tuple[Item, ...]:
    """Everything for a talk, in the order in which it is shown.

    The chosen pattern at full speed and slowed, the other patterns, the conform demonstration, the
    stills, one animated picture of each format as fast as its clock can hold it, and the page.
    """
    chosen = request.pattern
    full = replace(request, slow=1)
    slow = full.split(
        slow=max(SLOW_IN_TALK, request.slow), seconds=min(request.seconds, SLOW_SCENE_S)
    )
    line: LayoutName | None = "line" if len(request.rates) == 2 else None
    seconds = min(request.seconds, OTHER_SCENE_S)
    others = [full.split(pattern=p, layout=line, seconds=seconds) for p in PATTERNS if p != chosen]
    stills = tuple(_stills(full))
    return (
        _split(full, full.split(), still=True),
        _split(full, slow, still=True),
        stills[0],
        *(_split(full, spec, still=True) for spec in others),
        *stills[1:],
        _conform(full, still=True),
        *(_animation(full, name, least_slow(name, request.refresh_hz)) for name in FORMATS),
        _demo(full),
    )


def planned_items(request: TalkRequest, parts: Iterable[Part] | None = None) -> tuple[Item, ...]:
    """What some parts hold, or the whole talk; nothing is drawn.

    Raises `RequestError`: a part is not possible.
    """
    if parts is None:
        return _whole(request)
    makers: dict[Part, Callable[[], Iterable[Item]]] = {
        "split": lambda: [_split(request, request.split())],
        "conform": lambda: [_conform(request)],
        "stills": lambda: _stills(request),
        "animation": lambda: [_animation(request, f, request.slow) for f in request.formats],
        "demo": lambda: [_demo(request)],
    }
    wanted = set(parts)
    return tuple(item for part in makers if part in wanted for item in makers[part]())


def make_item(
    request: TalkRequest, parts: tuple[Part, ...] | None, number: int, progress: Progress
) -> Facts:
    """Make one item of a presentation; returns its JSON object."""
    item = planned_items(request, parts)[number]
    facts = item.make(request.folder, progress)
    return {
        "kind": item.kind,
        "files": list(item.files),
        "bytes": sum((request.folder / name).stat().st_size for name in item.files),
        "title": item.notes.title,
        "look": item.notes.look,
        "say": list(item.notes.say),
        **facts,
    }


def _refuse_existing(request: TalkRequest, names: Iterable[str]) -> None:
    """Say at once what would stand in the way after minutes of drawing."""
    there = [name for name in names if (request.folder / name).exists()]
    if there and not request.force:
        more = f" and {len(there) - 1} more" if len(there) > 1 else ""
        raise RequestError(
            f"{request.folder / there[0]}{more} exists: give --force to replace, or another --out"
        )


def make_talk(
    request: TalkRequest,
    parts: Iterable[Part] | None = None,
    progress: Progress | None = None,
    *,
    jobs: int = 1,
) -> Facts:
    """Make some parts, `jobs` files at once; or the whole folder with its pages and talk.json.

    Returns the object that `--json` prints.
    Raises `RequestError`: a part is not possible, exceeds a limit for flashes, or its file exists.
    Raises `OutputError`, `EncoderError`: the disk or the encoder failed; nothing half-written is
    left.
    """
    wanted = None if parts is None else tuple(parts)
    items = planned_items(request, wanted)
    names = [name for item in items for name in item.files]
    _refuse_existing(request, names if parts is not None else [*names, *PAGES])
    make_folder(request.folder)
    tasks = [
        Task(item.files[0], make_item, (request, wanted, number), SIZES[item.kind])
        for number, item in enumerate(items)
    ]
    hz = format_decimal(request.refresh_hz)
    data = {
        "schema": SCHEMA,
        "made_by": f"evenhold {VERSION}",
        "title": f"{request.rates_words} frames a second on a {hz} Hz screen",
        "display": hz,
        "rates": [format_decimal(rate) for rate in request.rates],
        "cadence": [cadence_record(cadence) for cadence in request.cadences],
        "items": side_by_side(tasks, jobs, progress),
    }
    if parts is None:
        pages = (index_page(data), notes_page(data), dump(data))
        for name, text in zip(PAGES, pages, strict=True):
            write_whole(request.folder / name, text, force=request.force)
    return data
