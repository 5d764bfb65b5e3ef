"""The split clip: one scene at several rates side by side, each frame held as on a display.

The file runs at the display's own rate, so that each of its frames is one refresh (or
`slow` of them are), and every panel changes its picture exactly at the refreshes at
which the display would.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil

from patterns.clip import Clip, StripEdge
from patterns.drawing.canvas import Box, Drawing, Text
from patterns.drawing.picture_file import to_image
from patterns.drawing.style import DARK, Scheme
from patterns.errors import RequestError
from patterns.picture.lettering import cap_height_px, size_for_width, text_width_px
from patterns.picture.planes import Planes
from patterns.present.feed import Feed
from patterns.present.hold_meter import HoldMeter, meter_window
from patterns.present.panel_layout import FLATTEST, Area, LayoutName, PanelAreas, panel_layout
from patterns.present.panel_picture import PanelPicture
from patterns.present.scene_choice import SceneChoice
from patterns.present.to_planes import image_to_planes, paste
from patterns.strip.layout import strip_layout
from patterns.timing.panning import limit_px_s
from patterns.timing.rates import format_decimal

__all__ = ["Panel", "SplitClip", "SplitSpec"]

LEAST_WIDTH, LEAST_HEIGHT = 320, 120  # of a panel's picture
LEAST_FITTED = 0.8  # words set smaller than this share of their size go on two lines instead


@dataclass(frozen=True)
class Panel:
    """What one panel shows, and the words above it.

    Attributes
    ----------
    feed
        Which frame is on at each refresh.
    exposure_s
        Exposure of each frame of the footage.
    title, words
        Large and small label.
    mark, good
        One word beside the title, and whether it is as it should be.
    """

    feed: Feed
    exposure_s: Fraction
    title: str
    words: str
    mark: str
    good: bool


def _check_panel(picture: Area, rate: Fraction, *, strip: bool) -> None:
    """Refuse a panel that is too small to watch, or whose strip could not be read."""
    too, what = "", "for their counting strips"
    if picture.width < LEAST_WIDTH or picture.height < LEAST_HEIGHT:
        too, what = "small", "to watch"
    elif strip and picture.width > FLATTEST * picture.height:
        too = "flat"
    elif strip:
        try:
            strip_layout(picture.width, picture.height, rate)
        except RequestError:
            too = "small"
    if too:
        raise RequestError(
            f"panels of {picture.width}x{picture.height} are too {too} {what}: "
            "try --size 1080p, another --layout or fewer rates"
        )


@dataclass(frozen=True)
class SplitSpec:
    """A split clip.

    Attributes
    ----------
    panels
        Two to four.
    scene
        What moves in all of them.
    refresh_hz
        Refreshes a second of the display.
    layout
        How the panels lie.
    width, height
        Size of the file's pictures.
    seconds
        Length of the scene; the file is `slow` times as long.
    slow
        How often each refresh is repeated.
    colours
        Scheme.
    strip
        Whether each panel has the counting strip that programs read.
    """

    panels: tuple[Panel, ...]
    scene: SceneChoice
    refresh_hz: Fraction
    layout: LayoutName = "side"
    width: int = 1920
    height: int = 1080
    seconds: Fraction = Fraction(8)
    slow: int = 1
    colours: Scheme = DARK
    strip: bool = False

    def __post_init__(self) -> None:
        """Check what can be checked without drawing."""
        if not 1 <= self.slow <= 60:
            raise RequestError(f"slow {self.slow} is outside 1 to 60: try 4")
        if not 0 < self.seconds * self.slow <= 600:
            raise RequestError(
                f"{float(self.seconds):g} s slowed {self.slow} times is outside 0 to 600 s"
            )
        if self.width % 2 or self.height % 2:
            raise RequestError(f"size {self.width}x{self.height} is odd: both must be even")
        for panel, areas in zip(self.panels, self.areas, strict=True):
            _check_panel(areas.picture, panel.feed.footage, strip=self.strip)

    @property
    def refreshes(self) -> int:
        """How many refreshes of the display the clip lasts, unslowed."""
        return ceil(self.seconds * self.refresh_hz)

    def footage_frames(self, number: int) -> int:
        """Frames of footage that panel `number` needs."""
        last = self.panels[number].feed.shown(self.refreshes - 1, self.refresh_hz)
        return last.frame + 2

    @property
    def areas(self) -> tuple[PanelAreas, ...]:
        """Where the panels lie."""
        return panel_layout(
            self.width,
            self.height,
            len(self.panels),
            self.layout,
            level_line=self.scene.entry.level_line,
            line_at=self.scene.entry.line_at,
        )

    @property
    def unit(self) -> float:
        """A 1080th of the height, or a 1920th of the width, if that is smaller: pixels."""
        return min(self.width / 1920, self.height / 1080)

    @property
    def meter_window(self) -> int:
        """Refreshes across the hold meters."""
        feeds = tuple(panel.feed for panel in self.panels)
        return meter_window(feeds, self.refresh_hz, self.areas[0].meter.width, self.unit)

    @property
    def scene_size(self) -> tuple[int, int]:
        """Pixels of the scene in a panel, or in both sides of a line together."""
        first, *others = (area.picture for area in self.areas)
        high = max(_scene_rows(self, number) for number in range(len(self.panels)))
        if self.layout != "line":
            return first.width, high
        if self.scene.entry.level_line:
            return first.width, 2 * high + others[0].top - first.bottom
        return others[0].right - first.left, high

    @property
    def fastest_px_s(self) -> float:
        """Image speed where the scene is fastest."""
        return self.scene.fastest_px_s(*self.scene_size)

    @property
    def times_guidance(self) -> float:
        """That speed over what the guidance for pans allows at the slowest rate."""
        slowest = min(panel.feed.timeline for panel in self.panels)
        return self.fastest_px_s / float(limit_px_s(slowest, self.scene_size[0]))


def _scene_rows(spec: SplitSpec, number: int) -> int:
    own, rate = spec.areas[number].picture, spec.panels[number].feed.footage
    band = strip_layout(own.width, own.height, rate).band_height if spec.strip else 0
    return own.height - band


def _panel_picture(spec: SplitSpec, number: int) -> PanelPicture:
    """Scene and strip of one panel; on both sides of a line the scene is one."""
    panel, areas = spec.panels[number], spec.areas
    own = areas[number].picture
    upper = spec.layout == "line" and spec.scene.entry.level_line and number == 0
    size, high = spec.scene_size, _scene_rows(spec, number)
    scene = Clip(
        motion=spec.scene.motion(*size),
        rate=panel.feed.footage,
        exposure_s=panel.exposure_s,
        width=size[0],
        height=size[1],
        frames=spec.footage_frames(number),
        strip="none",
        seed=spec.scene.seed,
    )
    part = Area(0, 0, own.width, high)
    if spec.layout == "line" and number:
        level = spec.scene.entry.level_line
        part = Area(
            0 if level else own.left - areas[0].picture.left, size[1] - high if level else 0,
            own.width, high,
        )  # fmt: skip
    edge: StripEdge = "none" if not spec.strip else "top" if upper else "bottom"
    return PanelPicture(scene, part, replace(scene, width=own.width, height=own.height, strip=edge))


class SplitClip:
    """Draws the frames of a split clip.

    Raises
    ------
    RequestError
        The panels do not fit the layout, or a panel is too small for its strip.
    """

    def __init__(self, spec: SplitSpec) -> None:
        self.spec = spec
        self.areas = spec.areas
        self.pictures = tuple(_panel_picture(spec, i) for i in range(len(spec.panels)))
        self.window = spec.meter_window
        self._meters = tuple(
            HoldMeter(panel.feed, spec.refresh_hz, area.meter, self.window, spec.colours, spec.unit)
            for panel, area in zip(spec.panels, self.areas, strict=True)
        )
        self._ground = image_to_planes(to_image(_ground(spec, self.areas)))

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
    words = Text(label.left, base + area.words_px * 1.45, panel.words, area.words_px, c.muted)
    fitted = size_for_width(panel.words, label.width, area.words_px)
    if fitted >= LEAST_FITTED * area.words_px or area.meter.width == area.picture.width:
        drawing.add(replace(words, size_px=fitted))
    else:
        drawing.paragraph(words, label.width, round(area.words_px * 1.3))
