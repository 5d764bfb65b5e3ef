"""The hold timeline: what a reading found, frame by frame, for a slide.

Frames lie side by side, each as high as it was held: above, a close look at the first part with a
loss; below, all. Nothing is said by colour alone: lost frames have a wedge, mixtures a diamond.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from patterns.drawing.canvas import Box, Drawing, Polygon, Stroke, Text
from patterns.drawing.style import LIGHT, SLIDE, Scheme, hold_colours
from patterns.picture.lettering import cap_height_px, text_width_px
from patterns.reading.hold_cadence import HeldFrame
from patterns.reading.reading import Reading
from patterns.timing.notation import pattern_text, plural
from patterns.timing.rates import format_decimal

CLOSE_FRAMES = 48
TOP_PX, CLOSE_PX, WHOLE_PX = 330, 400, 90  # upper edge and height of the close look, of all
AXIS_PX = 96  # room for the scale at the left
MOST_LINES = 9
BAND_PX, BAND_SLIDE_PX = 160, 600  # where every frame was held alike
MOST_LOST = 24  # columns of frames lost one after the other


@dataclass(frozen=True)
class _Bars:
    """A row of frames as it is drawn: where, and by what."""

    reading: Reading
    drawing: Drawing
    colours: Scheme
    base: float
    height: float
    left: float = float(SLIDE.margin_px + AXIS_PX)
    width: float = float(SLIDE.width_px - 2 * SLIDE.margin_px - AXIS_PX)

    @cached_property
    def counted(self) -> bool:
        return any(frame.refreshes is not None for frame in self.reading.holds)

    @cached_property
    def top_value(self) -> float:
        return max(1.0, 1.04 * max(map(self.value, self.reading.holds)))

    @cached_property
    def repeated(self) -> frozenset[int]:
        return frozenset(self.reading.repeated)

    @cached_property
    def due(self) -> tuple[int, ...]:
        """Holds that the cadence has; none where they are not counted."""
        reading = self.reading
        if not self.counted:
            return ()
        if reading.expected is not None and reading.expected.pattern:
            return reading.expected.pattern
        return reading.pattern or tuple({frame.refreshes or 0 for frame in reading.holds})

    def value(self, frame: HeldFrame) -> float:
        return float(frame.refreshes or 0) if self.counted else 1000 * frame.hold_s

    def high(self, value: float) -> float:
        """Height in pixels of a hold in refreshes if they are `counted`, else in milliseconds."""
        return self.height * value / self.top_value

    def fill(self, frame: HeldFrame) -> tuple[str, str]:
        """Colours of a frame's column, and of text upon it: by the cadence where it is counted."""
        if frame.number in self.repeated:
            return self.colours.wrong, self.colours.wrong_ink
        if not self.due or frame.refreshes is None:
            return self.colours.calm, self.colours.calm_ink
        return hold_colours(frame.refreshes, self.due, self.colours)


def _flawless(reading: Reading) -> bool:
    """Whether every frame was held alike, and nothing else was found."""
    faults = reading.dropped or reading.repeated or reading.blended or reading.out_of_order
    alike = len({frame.refreshes for frame in reading.holds}) == 1
    return bool(reading.even) and alike and not faults and not reading.unseen


def _first_shown(reading: Reading) -> int:
    """Index of the first frame of the close look: a little before the first loss, if any."""
    frames = reading.holds
    marks = [*reading.dropped[:1], *reading.repeated[:1]]
    if not marks or len(frames) <= CLOSE_FRAMES or reading.drops_beyond > len(frames) / 8:
        return 0
    place = next((i for i, f in enumerate(frames) if f.number >= min(marks)), 0)
    return max(0, min(place - CLOSE_FRAMES // 3, len(frames) - CLOSE_FRAMES))


def _units(reading: Reading) -> tuple[str, str]:
    """What holds are counted in: one of them, and many."""
    of_file = reading.kind in ("clip", "footage")
    return ("picture", "pictures") if of_file else ("refresh", "refreshes")


def hold_timeline(reading: Reading, colours: Scheme = LIGHT) -> Drawing:
    """Draw a reading as a slide of 1920 by 1080 pixels; lower where all is alike."""
    flawless = _flawless(reading)
    height = BAND_SLIDE_PX if flawless else SLIDE.height_px
    title = f"{reading.file}: {reading.verdict}"
    drawing = Drawing(SLIDE.width_px, height, colours.paper, title)
    _head(reading, drawing, colours)
    if flawless:
        _band(reading, drawing, colours)
    elif reading.holds:
        first = _first_shown(reading)
        close = reading.holds[first : first + CLOSE_FRAMES]
        bars = _Bars(reading, drawing, colours, TOP_PX + CLOSE_PX, CLOSE_PX)
        _scale(bars)
        _close_look(close, bars)
        whole_base = SLIDE.height_px - SLIDE.margin_px - 44
        _whole(_Bars(reading, drawing, colours, whole_base, WHOLE_PX), first, len(close))
        _key(reading, drawing, colours)
    return drawing


def _head(reading: Reading, drawing: Drawing, colours: Scheme) -> None:
    left, base = SLIDE.margin_px, SLIDE.margin_px - 24 + cap_height_px(SLIDE.title_px)
    drawing.add(Text(left, base, reading.file, SLIDE.title_px, colours.ink, bold=True))
    words = reading.verdict[0].upper() + reading.verdict[1:] + "."
    text = Text(left, base + 62, words, SLIDE.body_px, colours.ink)
    drawing.paragraph(text, SLIDE.width_px - 2 * left, round(1.3 * SLIDE.body_px))


def _band(reading: Reading, drawing: Drawing, colours: Scheme) -> None:
    """Draw one band for all frames, and what they were."""
    left, width = float(SLIDE.margin_px), float(SLIDE.width_px - 2 * SLIDE.margin_px)
    drawing.add(Box(left, TOP_PX, width, BAND_PX, colours.calm, SLIDE.radius_px))
    hold, size = reading.holds[0].refreshes, SLIDE.heading_px
    held = "" if hold is None else f", {plural(hold, *_units(reading))} each"
    words = f"{len(reading.holds)} frames, all held alike{held}"
    base = TOP_PX + BAND_PX / 2 + cap_height_px(size) / 2
    drawing.add(Text(left + width / 2, base, words, size, colours.calm_ink, "middle", bold=True))


def _scale(bars: _Bars) -> None:
    """Draw a line for each refresh, or for round milliseconds."""
    steps = (float(m * 10**power) for power in range(16) for m in (1, 2, 5))
    step = next(step for step in steps if bars.top_value / step <= MOST_LINES)
    size, muted, x = SLIDE.small_px, bars.colours.muted, bars.left - 16
    for place in range(1, int(bars.top_value / step) + 1):
        y = bars.base - bars.high(place * step)
        middle = y + cap_height_px(size) / 2
        bars.drawing.add(
            Stroke(bars.left, y, bars.left + bars.width, y, bars.colours.rule, 2),
            Text(x, middle, f"{place * step:.0f}", size, muted, "end"),
        )
    unit = f"{_units(bars.reading)[1] if bars.counted else 'ms'} held"
    bars.drawing.add(Text(x, bars.base - bars.height - 14, unit, size, muted, "start"))


def _columns(
    reading: Reading, frames: Sequence[HeldFrame]
) -> tuple[list[int], list[tuple[str, int]]]:
    """Places of frames side by side, and label and place of lost ones; few of a long loss."""
    dropped = sorted(set(reading.dropped)) if reading.kind != "footage" else []
    places: list[int] = []
    lost: list[tuple[str, int]] = []
    for before, frame in pairwise([None, *frames]):
        assert frame is not None
        if before is not None:
            first, end = bisect_right(dropped, before.number), bisect_left(dropped, frame.number)
            labels = list(map(str, dropped[first : min(end, first + MOST_LOST)]))
            if end - first > MOST_LOST:
                labels[-1] = f"+{end - first - MOST_LOST + 1}"
            start = len(places) + len(lost)
            lost.extend((label, start + k) for k, label in enumerate(labels))
        places.append(len(places) + len(lost))
    return places, lost


def _close_look(close: Sequence[HeldFrame], bars: _Bars) -> None:
    (places, lost), drawing = _columns(bars.reading, close), bars.drawing
    pitch = bars.width / (len(places) + len(lost))
    mixed = {b.number for b in bars.reading.blended}
    ringed = bars.repeated if bars.reading.kind == "recording" else frozenset()
    for frame, place in zip(close, places, strict=True):
        x = bars.left + place * pitch
        _column(frame, x, pitch, bars)
        top = bars.base - bars.high(bars.value(frame))
        if frame.number in mixed:
            drawing.add(_diamond(x + pitch / 2, top - 18, bars.colours))
        if frame.number in ringed:
            drawing.add(Stroke(x + 4, top - 8, x + pitch - 8, top - 8, bars.colours.third, 6))
    for label, place in lost:
        _wedge(bars.left + (place + 0.5) * pitch - 3, bars, label)
    _numbers({place: f.number for f, place in zip(close, places, strict=True)}, pitch, bars)


def _column(frame: HeldFrame, x: float, pitch: float, bars: _Bars) -> None:
    value, (fill, ink) = bars.value(frame), bars.fill(frame)
    height, width = bars.high(value), pitch - min(8.0, pitch / 4)
    radius = min(SLIDE.radius_px, width / 4)
    bars.drawing.add(Box(x, bars.base - height, width, height, fill, radius))
    label, size = f"{value:.0f}", SLIDE.small_px
    if bars.counted and text_width_px(label, size) + 4 <= width and height > 1.6 * size:
        base = bars.base - height + 12 + cap_height_px(size)
        bars.drawing.add(Text(x + width / 2, base, label, size, ink, "middle"))


def _wedge(x: float, bars: _Bars, label: str) -> None:
    """Mark a lost frame: a wedge on the base line, its number above."""
    colours, half, size = bars.colours, 13, SLIDE.small_px
    top = bars.base - 64
    width, height = text_width_px(label, size) + 8, cap_height_px(size) + 10
    bars.drawing.add(
        Stroke(x, top, x, bars.base, colours.wrong, 5),
        Box(x - width / 2, top - 29 - height, width, height, colours.paper, 4),
        Polygon(((x - half, top - 22), (x + half, top - 22), (x, top + 4)), colours.wrong),
        Text(x, top - 34, label, size, colours.ink, "middle"),
    )


def _diamond(x: float, y: float, colours: Scheme) -> Polygon:
    return Polygon(((x, y - 13), (x + 13, y), (x, y + 13), (x - 13, y)), colours.third)


def _numbers(numbers: dict[int, int], pitch: float, bars: _Bars) -> None:
    """Write some of the frame numbers, given by their column, under the columns."""
    size, muted = SLIDE.small_px, bars.colours.muted
    widest = text_width_px(str(max(numbers.values())), size) + 24
    every = next(n for n in (1, 2, 5, 10, 20, 50) if n * pitch >= widest or n == 50)
    base = bars.base + 14 + cap_height_px(size)
    for column, number in numbers.items():
        if number % every == 0:
            x = bars.left + (column + 0.5) * pitch - 3
            bars.drawing.add(Text(x, base, str(number), size, muted, "middle"))
    bars.drawing.add(Text(bars.left - 48, base, "frame", size, muted, "end"))


def _whole(bars: _Bars, first: int, shown: int) -> None:
    """Draw all frames small, what is shown closely framed, losses as ticks above."""
    frames, drawing, colours = bars.reading.holds, bars.drawing, bars.colours
    places, lost = _columns(bars.reading, frames)
    pitch = bars.width / (len(places) + len(lost))
    drawn: dict[int, tuple[float, str]] = {}
    for frame, place in zip(frames, places, strict=True):
        pixel = int(place * pitch / 2)  # columns of two pixels at least
        before = drawn.get(pixel, (0.0, colours.short))
        # of the frames that share a column the one that matters most gives its colour
        order = [colours.short, colours.calm, colours.wrong].index
        fill = max(before[1], bars.fill(frame)[0], key=order)
        drawn[pixel] = (max(before[0], bars.value(frame)), fill)
    width = max(2.0, pitch - (1 if pitch > 3 else 0))
    for pixel, (value, fill) in drawn.items():
        height = bars.high(value)
        drawing.add(Box(bars.left + 2 * pixel, bars.base - height, width, height, fill))
    for pixel in sorted({int(place * pitch) for _, place in lost}):
        x = bars.left + pixel + 0.5 * pitch
        drawing.add(Stroke(x, bars.base + 4, x, bars.base + 20, colours.wrong, 4))
    if shown < len(frames):
        x0 = bars.left + places[first] * pitch
        x1 = bars.left + (places[first + shown - 1] + 1) * pitch
        drawing.add(Stroke(x0, bars.base + 26, x1, bars.base + 26, colours.muted, 5))
    label = f"all {len(frames)} frames, {bars.reading.seconds:.1f} s"
    drawing.add(Text(bars.left, bars.base - bars.height - 16, label, SLIDE.small_px, colours.muted))


def _key(reading: Reading, drawing: Drawing, colours: Scheme) -> None:
    """Say what the marks mean, along the foot."""
    size = SLIDE.small_px
    side = cap_height_px(size)
    x, base = float(SLIDE.margin_px), SLIDE.height_px - SLIDE.margin_px / 2 + 4.0

    def explain(words: str, mark_px: float) -> None:
        nonlocal x
        drawing.add(Text(x + mark_px, base, words, size, colours.ink))
        x += mark_px + text_width_px(words, size) + 44

    kinds = [(colours.calm, "long hold"), (colours.short, "short hold")]
    for fill, words in [*kinds, (colours.wrong, "not of the cadence")]:
        drawing.add(Box(x, base - side - 3, side + 6, side + 6, fill, 4))
        explain(words, side + 20)
    if reading.dropped and reading.kind != "footage":
        points = ((x, base - side), (x + 26, base - side), (x + 13, base + 2))
        drawing.add(Polygon(points, colours.wrong))
        explain("frame dropped", 42)
    if reading.blended:
        drawing.add(_diamond(x + 13, base - side / 2, colours))
        explain("mixture of two", 42)
    if reading.kind == "recording" and reading.repeated:
        drawing.add(Stroke(x, base - side / 2, x + 30, base - side / 2, colours.third, 6))
        explain("held too long", 42)
    figures, due = [], reading.expected
    if due is not None and due.pattern is not None and reading.kind != "clip":
        on = format_decimal(due.cadence.refresh_hz, 2)
        figures.append(f"expected {pattern_text(due.pattern)} on {on} Hz")
    if reading.error is not None:
        figures.append(f"timing error {reading.error.rms_ms:.1f} ms")
    right = float(SLIDE.width_px - SLIDE.margin_px)
    drawing.add(Text(right, base, "; ".join(figures), size, colours.muted, "end"))
