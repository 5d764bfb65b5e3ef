"""What a split clip shows: its panels with their words, its scene, how the panels lie."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil

from patterns.drawing.style import DARK, Scheme
from patterns.errors import RequestError
from patterns.present.hold_meter import Feed, is_even, meter_window
from patterns.present.panel import FLATTEST, Area, LayoutName, PanelAreas, panel_layout
from patterns.scenes.motion import Motion, image_motion
from patterns.scenes.pattern import Pattern
from patterns.scenes.table import pattern_named
from patterns.strip.layout import strip_layout
from patterns.timing.conform import Conform
from patterns.timing.rates import format_decimal, limit_px_s
from patterns.timing.shutter import USUAL_SHUTTER, Shutter, format_exposure, shutter_angle

LEAST_WIDTH, LEAST_HEIGHT = 320, 120  # of a panel's picture


@dataclass(frozen=True)
class SceneChoice:
    """A pattern and its speed."""

    pattern: str = "bars"  # name of what moves
    pace: Fraction | None = None  # of the option that sets its speed, not 0; None: as `Pace` begins
    seed: int = 1  # chooses the land and what stands on it
    across: int = 2  # how many pictures lie side by side, itself included

    def __post_init__(self) -> None:
        if not self.value:
            pace = self.entry.pace
            what = "would be infinitely fast" if pace.inverse else "shows no motion to compare"
            raise RequestError(f"--{pace.option} 0 {what}: give such as {float(pace.shown):g}")

    @property
    def entry(self) -> Pattern:
        """What the table says of the pattern."""
        return pattern_named(self.pattern)

    @property
    def value(self) -> Fraction:
        """Value of the option that sets the speed."""
        return self.entry.pace.shown if self.pace is None else self.pace

    def motion(self, width: int, height: int) -> Motion:
        """Motion for a picture of `width` x `height` pixels."""
        entry, pace = self.entry, {self.entry.pace.option: self.value}
        return entry.motion(width, height, entry.among(self.across) | pace)

    def fastest_px_s(self, width: int, height: int) -> float:
        """Image speed where it is fastest in a picture of `width` x `height` pixels."""
        return image_motion(self.motion(width, height), width, height).fastest_px_s

    def at_least(self, px_s: float, width: int, height: int) -> SceneChoice:
        """Same scene, so fast that its fastest place reaches `px_s`, as far as is safe."""
        times = px_s / self.fastest_px_s(width, height)
        return replace(self, pace=self.entry.pace.faster(self.value, times)) if times > 1 else self

    @property
    def period_s(self) -> Fraction:
        """Seconds after which the scene is the same again, in a picture of any size."""
        motion = self.motion(1920, 1080)
        return abs(motion.period / motion.speed)

    def in_periods(self, seconds: Fraction, periods: int) -> SceneChoice:
        """Same scene, so fast that `seconds` hold so many periods."""
        times = periods * self.period_s / seconds
        inverse = self.entry.pace.inverse
        return replace(self, pace=self.value / times if inverse else self.value * times)

    def closed(self, seconds: Fraction) -> SceneChoice:
        """Same scene, at most a period faster in `seconds`, so that it closes, if that is safe."""
        if seconds < self.period_s:
            return self
        closed = self.in_periods(seconds, ceil(seconds / self.period_s))
        return self if self.entry.pace.beyond(closed.value) else closed

    @property
    def words(self) -> str:
        """Describe the move in a few words."""
        return self.entry.pace.described(self.value)


@dataclass(frozen=True)
class Panel:
    """What one panel shows, and the words above it."""

    feed: Feed  # which frame is on at each refresh
    exposure_s: Fraction  # exposure of each frame of the footage
    title: str
    caption: str  # the small label
    mark: str  # one word beside the title
    good: bool  # whether that is as it should be


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
    """A split clip."""

    panels: tuple[Panel, ...]  # two to four
    scene: SceneChoice  # what moves in all of them
    refresh_hz: Fraction  # refreshes a second of the display
    layout: LayoutName = "side"  # how the panels lie
    width: int = 1920
    height: int = 1080
    seconds: Fraction = Fraction(8)  # length of the scene; the file is `slow` times as long
    slow: int = 1  # how often each refresh is repeated
    colours: Scheme = DARK
    strip: bool = False  # whether each panel has the counting strip that programs read

    def __post_init__(self) -> None:
        if not 0 < self.seconds * self.slow <= 600:
            raise RequestError(
                f"{float(self.seconds):g} s slowed {self.slow} times is outside 0 to 600 s"
            )
        for panel, areas in zip(self.panels, self.areas, strict=True):
            _check_panel(areas.picture, panel.feed.footage, strip=self.strip)

    @property
    def refreshes(self) -> int:
        """How many refreshes of the display the clip lasts, unslowed."""
        return ceil(self.seconds * self.refresh_hz)

    @property
    def areas(self) -> tuple[PanelAreas, ...]:
        """Where the panels lie."""
        entry, size = self.scene.entry, (self.width, self.height)
        return panel_layout(
            *size, len(self.panels), self.layout, level_line=entry.level_line, line_at=entry.line_at
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

    def scene_rows(self, number: int) -> int:
        """Rows of the scene in panel `number`, above or below its strip."""
        own, rate = self.areas[number].picture, self.panels[number].feed.footage
        return own.height - (strip_layout(own.width, own.height, rate).band_height if self.strip
                             else 0)  # fmt: skip

    @property
    def scene_size(self) -> tuple[int, int]:
        """Pixels of the scene in a panel, or in both sides of a line together."""
        first, *others = (area.picture for area in self.areas)
        high = max(map(self.scene_rows, range(len(self.panels))))
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


def _panel(
    feed: Feed, refresh_hz: Fraction, shutter: Shutter, title: str, words: str, mark: str = ""
) -> Panel:
    """Panel with a mark that says even or uneven, unless another says what is wrong with it."""
    even = is_even(feed, refresh_hz)
    said = mark or ("even" if even else "uneven")
    return Panel(feed, shutter.at(feed.footage), title, words, said, even and not mark)


def _shutter_words(rate: Fraction, shutter: Shutter) -> str:
    """Exposure and angle, what is kept equal first."""
    exposure_s = shutter.at(rate)
    time, angle = format_exposure(exposure_s), format_decimal(shutter_angle(exposure_s, rate), 1)
    by_time = shutter.exposure_s is not None
    return f"shutter {time}, {angle}°" if by_time else f"shutter {angle}°, {time}"


def rate_panels(
    rates: tuple[Fraction, ...], refresh_hz: Fraction, shutter: Shutter = USUAL_SHUTTER
) -> tuple[Panel, ...]:
    """One panel a rate. Raises `RequestError`: the exposure is longer than a frame."""
    return tuple(
        _panel(
            Feed(rate, rate), refresh_hz, shutter,
            f"{format_decimal(rate)} fps", _shutter_words(rate, shutter),
        )
        for rate in rates
    )  # fmt: skip


def conform_panels(
    footage: Fraction, timeline: Fraction, refresh_hz: Fraction, shutter: Shutter = USUAL_SHUTTER
) -> tuple[Panel, ...]:
    """Footage on a timeline of another rate, in three ways, and footage shot at that rate.

    Raises `RequestError`: the two rates are the same.
    """
    if footage == timeline:
        raise RequestError(
            f"footage and timeline are both {format_decimal(footage)}: nothing is conformed; "
            "try --footage 24 --timeline 30"
        )
    conform = Conform(footage, timeline)
    shot, line = format_decimal(footage), format_decimal(timeline)
    how = "repeated" if conform.speed > 1 else "dropped"
    changed = "sped up" if conform.speed > 1 else "slowed"
    mixed = format_decimal(100 * conform.mixed_share, 0)
    percent = f"{format_decimal(100 * conform.speed, 1)} %"
    kinds = (
        (Feed(footage, timeline, "repeated"), f"{shot} in {line}, {how}",
         conform.repeat_words, ""),
        (Feed(footage, timeline, "blended"), f"{shot} in {line}, blended",
         f"{mixed} % of frames are two at once", "ghosts"),
        (Feed(footage, timeline, "sped"), f"{shot} in {line}, {changed}",
         f"every frame once: {percent} speed", ""),
        (Feed(timeline, timeline), f"shot at {line}", "as it should be: nothing to conform", ""),
    )  # fmt: skip
    return tuple(_panel(feed, refresh_hz, shutter, *words) for feed, *words in kinds)
