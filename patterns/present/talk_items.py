"""The parts of a presentation: each is made into its files, and says what it shows."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal

import numpy as np

from patterns.drawing.canvas import Drawing
from patterns.drawing.hold_chart import hold_chart
from patterns.drawing.picture_file import to_png, to_svg
from patterns.drawing.space_time import space_time
from patterns.picture.stills import picture_bytes
from patterns.present.animation import write_animation
from patterns.present.animation_timing import FORMATS, FormatName, least_slow, played_timing
from patterns.present.demo_page import write_demo_page
from patterns.present.speaker_notes import (
    Notes,
    animation_notes,
    clip_notes,
    conform_notes,
    demo_notes,
    eye_notes,
    hold_chart_notes,
    space_time_notes,
)
from patterns.present.split_clip import SplitSpec
from patterns.present.split_file import write_split
from patterns.present.talk_request import Part, TalkRequest
from patterns.present.tracked_eye import MODEL_WORDS
from patterns.present.tracked_eye_slide import SLOWER, tracked_eye_slide
from patterns.safety.report import SafetyReport
from patterns.scenes.table import PATTERNS
from patterns.side_by_side import Progress
from patterns.timing.rates import format_decimal
from patterns.whole_file import write_whole

__all__ = ["Item", "Kind", "items_of", "whole_talk"]

Kind = Literal["clip", "still", "animation", "page"]
Facts = dict[str, Any]
SLOW_IN_TALK = 4
SLOW_SCENE_S, OTHER_SCENE_S = Fraction(2), Fraction(6)


@dataclass(frozen=True)
class Item:
    """One thing to show.

    Attributes
    ----------
    kind
        'clip', 'still', 'animation' or 'page'.
    files
        Names in the folder, the first one to be shown.
    notes
        Its title, and what to say and where to look.
    make
        Writes the files into a folder, and returns what is recorded beside their names.
    """

    kind: Kind
    files: tuple[str, ...]
    notes: Notes
    make: Callable[[Path, Progress | None], Facts]


def _safety(report: SafetyReport) -> Facts:
    return {"verdict": "pass" if report.passes else "exceeds", "summary": report.summary}


def _clip(request: TalkRequest, name: str, spec: SplitSpec, notes: Notes) -> Item:
    file = name + request.suffix

    def make(folder: Path, progress: Progress | None) -> Facts:
        report = write_split(
            spec, folder / file, codec=request.codec, force=request.force,
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

    return Item("clip", (file,), notes, make)


def _split(request: TalkRequest, spec: SplitSpec) -> Item:
    shape = "" if spec.layout in ("side", "grid") else f"-{spec.layout}"
    slow = f"-slow{spec.slow}" if spec.slow > 1 else ""
    name = f"split-{spec.scene.pattern}-{request.rates_name}{shape}{slow}"
    return _clip(request, name, spec, clip_notes(request, spec))


def _conform(request: TalkRequest) -> Item:
    spec = request.conform()
    shot, line = format_decimal(request.footage), format_decimal(request.timeline)
    slow = f"-slow{spec.slow}" if spec.slow > 1 else ""
    name = f"conform-{shot}-in-{line}-on-{format_decimal(request.refresh_hz)}hz{slow}"
    return _clip(request, name, spec, conform_notes(request))


def _drawn(request: TalkRequest, name: str, drawing: Drawing, notes: Notes) -> Item:
    """A still that is a drawing: PNG to show, SVG for documents."""
    files = (f"{name}.png", f"{name}.svg")

    def make(folder: Path, progress: Progress | None) -> Facts:  # noqa: ARG001 - one signature
        write_whole(folder / files[0], to_png(drawing), force=request.force)
        write_whole(folder / files[1], to_svg(drawing), force=request.force)
        return {}

    return Item("still", files, notes, make)


def _stills(request: TalkRequest) -> Iterator[Item]:
    cadences, colours = request.cadences, request.still_colours
    speed = Fraction(request.split().fastest_px_s)
    chart = hold_chart(cadences, colours)
    yield _drawn(request, "hold-chart", chart, hold_chart_notes(request))
    diagram = space_time(cadences, speed, colours)
    yield _drawn(request, "space-time", diagram, space_time_notes(request))
    file = "tracked-eye.png"

    def make(folder: Path, progress: Progress | None) -> Facts:  # noqa: ARG001 - one signature
        slide = tracked_eye_slide(cadences, clip_px_s=speed, colours=colours)
        data = picture_bytes(np.asarray(slide), ".png", optimize=True)
        write_whole(folder / file, data, force=request.force)
        return {"speed_px_s": float(speed / SLOWER), "model": MODEL_WORDS}

    yield Item("still", (file,), eye_notes(request), make)


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

    return Item("animation", (file,), animation_notes(timing, slow), make)


def _demo(request: TalkRequest) -> Item:
    def make(folder: Path, progress: Progress | None) -> Facts:  # noqa: ARG001 - one signature
        write_demo_page(folder / "demo.html", request.rates, force=request.force)
        return {}

    return Item("page", ("demo.html",), demo_notes(request), make)


def items_of(request: TalkRequest, part: Part) -> tuple[Item, ...]:
    """What one part of a presentation holds, as it was asked for.

    Raises
    ------
    RequestError
        It is not possible; nothing has been drawn.
    """
    if part == "split":
        return (_split(request, request.split()),)
    if part == "conform":
        return (_conform(request),)
    if part == "stills":
        return tuple(_stills(request))
    if part == "demo":
        return (_demo(request),)
    return tuple(_animation(request, name, request.slow) for name in request.formats)


def whole_talk(request: TalkRequest) -> tuple[Item, ...]:
    """Everything for a talk, in the order in which it is shown.

    The chosen pattern at full speed and slowed, the other patterns, the conform
    demonstration, the stills, one animated picture of each format as fast as its clock
    can hold it, and the page.
    """
    chosen = request.pattern
    slow = max(SLOW_IN_TALK, request.slow)
    full = replace(request, slow=1)
    slow_scene = min(request.seconds, SLOW_SCENE_S)
    other_scene = min(request.seconds, OTHER_SCENE_S)
    others = [
        full.split(
            pattern=pattern,
            layout="line" if len(request.rates) == 2 else None,
            seconds=other_scene,
        )
        for pattern in PATTERNS
        if pattern != chosen
    ]
    stills = tuple(_stills(full))
    return (
        _split(full, full.split()),
        _split(full, full.split(slow=slow, seconds=slow_scene)),
        stills[0],
        *(_split(full, spec) for spec in others),
        *stills[1:],
        _conform(full),
        *(_animation(full, name, least_slow(name, request.refresh_hz)) for name in FORMATS),
        _demo(full),
    )
