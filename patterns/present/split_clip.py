"""The split clip: one scene at several rates side by side, each frame held as on a display.

The file runs at the display's own rate, so that each of its frames is one refresh (or
`slow` of them are), and every panel changes its picture exactly at the refreshes at
which the display would.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from patterns.clip import Clip, StripEdge
from patterns.drawing.canvas import Box, Drawing, Text, to_planes
from patterns.errors import RequestError
from patterns.frame_source import FrameSource
from patterns.picture.lettering import cap_height_px, size_for_width, text_width_px
from patterns.picture.planes import Planes, picture_bytes, planes_to_rgb
from patterns.present.hold_meter import HoldMeter, Shown
from patterns.present.panel import Area, PanelAreas, paste
from patterns.present.split_spec import Panel, SplitSpec
from patterns.safety.check import LoopGuard
from patterns.safety.report import SafetyReport
from patterns.side_by_side import Progress
from patterns.strip.draw import StripDrawer
from patterns.timing.rates import format_decimal
from patterns.video.writer import VideoSpec, VideoWriter
from patterns.whole_file import write_whole

LEAST_FITTED = 0.8  # words set smaller than this share of their size go on two lines instead


class PanelPicture:
    """Draws the frames of one panel, each once however long it is held.

    `number`: which of the clip's panels; on both sides of a line the scene is one.
    """

    def __init__(self, spec: SplitSpec, number: int) -> None:
        panel, areas = spec.panels[number], spec.areas
        own, level = areas[number].picture, spec.scene.entry.level_line
        size, high = spec.scene_size, spec.scene_rows(number)
        # without a strip, as large as the whole of which the panel is a part
        scene = Clip(
            motion=spec.scene.motion(*size),
            rate=panel.feed.footage,
            exposure_s=panel.exposure_s,
            width=size[0],
            height=size[1],
            frames=panel.feed.shown(spec.refreshes - 1, spec.refresh_hz).frame + 2,
            strip="none",
            seed=spec.scene.seed,
        )
        left = top = 0
        if spec.layout == "line" and number:
            left = 0 if level else own.left - areas[0].picture.left
            top = size[1] - high if level else 0
        upper = spec.layout == "line" and level and number == 0
        edge: StripEdge = "none" if not spec.strip else "top" if upper else "bottom"
        striped = replace(scene, width=own.width, height=own.height, strip=edge)
        self._part = Area(left, top, own.width, high)
        self._first_row = own.height - high if edge == "top" else 0
        self._source = FrameSource(scene)
        self._drawer = StripDrawer(striped) if spec.strip else None
        self._scene = Planes.blank(*size)
        self._panel = Planes.blank(own.width, own.height)
        self._other = Planes.blank(own.width, own.height)
        self._now: Shown | None = None

    def draw(self, shown: Shown) -> Planes:
        """Panel showing `shown`; it is good until the next call."""
        if shown != self._now:
            self._frame(shown.frame, self._panel)
            if shown.next_share:
                self._frame(shown.frame + 1, self._other)
                # code values, as editing programs blend (common practice, no source)
                share = float(shown.next_share)
                for name in ("y", "cb", "cr"):
                    plane, other = getattr(self._panel, name), getattr(self._other, name)
                    plane[:] = np.rint(plane * np.float32(1 - share) + other * np.float32(share))
            self._now = shown
        return self._panel

    def _frame(self, n: int, panel: Planes) -> None:
        self._source.draw(n, self._scene)
        part, top = self._part, self._first_row
        seen = self._scene.part(part.left, part.top, part.right, part.bottom)
        panel.rows(top, top + part.height).fill(seen.y, seen.cb, seen.cr)
        if self._drawer is not None:
            self._drawer.draw(panel, n)


class SplitClip:
    """Draws the frames of a split clip.

    Raises `RequestError`: the panels do not fit the layout, or a panel is too small for its strip.
    """

    def __init__(self, spec: SplitSpec) -> None:
        self.spec = spec
        self.areas = spec.areas
        self.pictures = tuple(PanelPicture(spec, i) for i in range(len(spec.panels)))
        self.window = spec.meter_window
        self._meters = tuple(
            HoldMeter(panel.feed, spec.refresh_hz, area.meter, self.window, spec.colours, spec.unit)
            for panel, area in zip(spec.panels, self.areas, strict=True)
        )
        self._ground = to_planes(_ground(spec, self.areas))

    def draw(self, refresh: int, frame: Planes | None = None) -> Planes:
        """Frame as the display shows it at a refresh, in `frame` if it was drawn before."""
        spec = self.spec
        if frame is None:
            frame = self._ground.copy()
        for panel, areas, picture, meter in zip(
            spec.panels, self.areas, self.pictures, self._meters, strict=True
        ):
            shown = panel.feed.shown(refresh, spec.refresh_hz)
            paste(picture.draw(shown), frame, areas.picture.left, areas.picture.top)
            meter.draw(refresh, frame)
        return frame

    def refreshes(self) -> Iterator[Planes]:
        """Every refresh in order, in one frame that is used again."""
        frame = self._ground.copy()
        for k in range(self.spec.refreshes):
            yield self.draw(k, frame)


def _ground(spec: SplitSpec, areas: tuple[PanelAreas, ...]) -> Drawing:
    """All that stands still: labels, and the line at the foot."""
    drawing = Drawing(spec.width, spec.height, spec.colours.paper, "split clip")
    for panel, area in zip(spec.panels, areas, strict=True):
        _label(drawing, spec, panel, area)
    if spec.layout == "line":
        upper, lower = (area.picture for area in areas)
        drawing.add(
            Box(upper.left, upper.top, lower.right - upper.left, lower.bottom - upper.top,
                spec.colours.ink)
        )  # fmt: skip
    unit = spec.unit
    size = round(34 * unit)
    base = spec.height - 48 * unit - 6 * unit
    left, right = 48 * unit, spec.width - 48 * unit
    words, played = _foot(spec)
    c = spec.colours
    drawing.add(Text(left, base, words, size, c.ink))
    drawing.add(Text(right, base, played, size, c.muted, "end"))
    return drawing


def _foot(spec: SplitSpec) -> tuple[str, str]:
    hz = format_decimal(spec.refresh_hz)
    if spec.slow > 1:
        return (
            "Count along: each cell is one refresh of the screen.",
            f"{hz} Hz display, slowed {spec.slow} times",
        )
    times = spec.times_guidance
    pace = f"; {times:.1f} times the pan guidance" if times > 1 else ""
    return spec.scene.entry.look_at, f"{hz} Hz display, full screen{pace}"


def _label(drawing: Drawing, spec: SplitSpec, panel: Panel, area: PanelAreas) -> None:
    """Title with a mark that says even or uneven, and the small words beneath."""
    c, label = spec.colours, area.label
    mark, even = panel.mark, panel.good
    mark_px = round(area.title_px * 0.46)
    pad = round(mark_px * 0.5)
    mark_width = text_width_px(mark, mark_px) + 2 * pad
    size = size_for_width(panel.title, label.width - mark_width - pad, area.title_px)
    base = label.top + cap_height_px(area.title_px)
    drawing.add(Text(label.left, base, panel.title, size, c.ink, bold=True))
    left = label.left + text_width_px(panel.title, size) + round(size * 0.3)
    high = cap_height_px(area.title_px)
    fill, ink = (c.calm, c.calm_ink) if even else (c.ink, c.paper)
    box_high = round(mark_px * 1.35)
    drawing.add(
        Box(left, base - high / 2 - box_high / 2, mark_width, box_high, fill, box_high / 5),
        Text(left + pad, base - high / 2 + cap_height_px(mark_px) / 2, mark, mark_px, ink),
    )
    words = Text(label.left, base + area.caption_px * 1.45, panel.caption, area.caption_px, c.muted)
    fitted = size_for_width(panel.caption, label.width, area.caption_px)
    if fitted >= LEAST_FITTED * area.caption_px or area.meter.width == area.picture.width:
        drawing.add(replace(words, size_px=fitted))
    else:
        drawing.paragraph(words, label.width, round(area.caption_px * 1.3))


def refuse_flashing(report: SafetyReport, name: str, *, allow_flashing: bool) -> None:
    """Refuse what exceeds a limit for flashes or stripes with a `RequestError`, unless allowed."""
    if not report.passes and not allow_flashing:
        raise RequestError(
            f"{name} {report.summary}: slow it down, use another pattern or speed, or say "
            f"--allow-flashing if nobody unwarned will watch it"
        )


def write_split(
    spec: SplitSpec,
    path: Path,
    *,
    codec: str = "h264",
    force: bool = False,
    still: Path | None = None,
    allow_flashing: bool = False,
    progress: Progress | None = None,
) -> SafetyReport:
    """Write the clip; each refresh is one frame of the file, or `spec.slow` equal ones.

    `still`: JPEG to write too: the picture that stands for the clip until it plays, at the moment
    at which its meters are full.
    Returns what the check of its frames found, as they are shown.
    Raises `RequestError`: it is not possible, exceeds a limit for flashes, or the file exists.
    Raises `OutputError`, `EncoderError`: the disk or the encoder failed; nothing is left behind.
    """
    clip = SplitClip(spec)
    rate = spec.refresh_hz
    frames = spec.refreshes * spec.slow
    guard = LoopGuard(spec.width, spec.height, rate)
    shown_still: Planes | None = None
    video = VideoSpec(path, spec.width, spec.height, rate, codec, frames, force)
    with VideoWriter(video) as writer:
        for k, frame in enumerate(clip.refreshes()):
            if k == min(clip.window, spec.refreshes) - 1:
                shown_still = frame.copy()
            for again in range(spec.slow):
                n = k * spec.slow + again
                if not again:  # a repeated picture changes nothing that could flash
                    guard.see(n / rate, frame)
                writer.write(frame)
                if progress is not None:
                    progress(n + 1, frames)
        report = guard.report(end_s=frames / rate)
        # Inside the block, so that a file that is refused is not kept.
        refuse_flashing(report, path.name, allow_flashing=allow_flashing)
    if still is not None and shown_still is not None:
        data = picture_bytes(planes_to_rgb(shown_still), ".jpg", quality=88)
        write_whole(still, data, force=force)
    return report
