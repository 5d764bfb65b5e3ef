"""The hold timeline: what a reading found, frame by frame, for a slide.

Frames lie side by side, each as high as it was held, in refreshes (or milliseconds where
the refresh is not known). Above, a close look at the first part that tells most; below,
the whole reading. Where every frame was held alike there is one band and one line. Nothing
is told by colour alone: holds differ in height, lost frames have a wedge, mixtures a diamond.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from patterns.drawing.canvas import Box, Drawing, Polygon, Stroke, Text
from patterns.drawing.style import LIGHT, SLIDE, Scheme, hold_colours
from patterns.picture.lettering import cap_height_px, text_width_px
from patterns.reading.hold_pattern import pattern_text
from patterns.reading.holds import HeldFrame
from patterns.reading.reading import Reading
from patterns.timing.rates import format_decimal

__all__ = ["hold_timeline"]

CLOSE_FRAMES = 48
TOP_PX, CLOSE_PX = 330, 400  # upper edge and height of the close look
WHOLE_PX = 90  # height of the whole reading
AXIS_PX = 96  # room for the scale at the left
MOST_LINES = 9
BAND_PX, BAND_SLIDE_PX = 160, 600  # where every frame was held alike
MOST_LOST = 24  # columns of frames lost one after the other

Colours = tuple[str, str]  # of an area, and of text upon it


@dataclass(frozen=True)
class _Bars:
    """Where a row of frames is drawn; `top_value` is what its height stands for."""

    left: float
    width: float
    base: float
    height: float
    top_value: float
    colours: Scheme


def _value(frame: HeldFrame, counted: bool) -> float:
    if counted:
        return float(frame.refreshes or 0)
    return 1000 * frame.hold_s


def _due(reading: Reading, counted: bool) -> tuple[int, ...]:
    """Holds that the cadence has, in refreshes; none where they are not counted."""
    if not counted:
        return ()
    if reading.expected is not None and reading.expected.pattern:
        return tuple(reading.expected.pattern)
    return tuple(reading.pattern or {frame.refreshes or 0 for frame in reading.holds})


def _fill(
    frame: HeldFrame, repeated: frozenset[int], due: tuple[int, ...], colours: Scheme
) -> Colours:
    """Colour of a frame's column: by the cadence where holds are counted."""
    if frame.number in repeated:
        return colours.wrong, colours.wrong_ink
    if not due or frame.refreshes is None:
        return colours.calm, colours.calm_ink
    return hold_colours(frame.refreshes, due, colours)


def _flawless(reading: Reading) -> bool:
    """Whether every frame was held alike, and nothing else was found."""
    faults = reading.dropped or reading.repeated or reading.blended or reading.out_of_order
    kinds = {frame.refreshes for frame in reading.holds}
    return bool(reading.even) and len(kinds) == 1 and not faults and not reading.unseen


def _first_shown(reading: Reading) -> int:
    """Index of the first frame of the close look: a little before the first loss, if any."""
    frames = reading.holds
    marks = [*reading.dropped[:1], *reading.repeated[:1]]
    if not marks or len(frames) <= CLOSE_FRAMES or reading.drops_beyond > len(frames) / 8:
        return 0
    place = next((i for i, f in enumerate(frames) if f.number >= min(marks)), 0)
    return max(0, min(place - CLOSE_FRAMES // 3, len(frames) - CLOSE_FRAMES))


def hold_timeline(reading: Reading, colours: Scheme = LIGHT) -> Drawing:
    """Draw a reading as a slide of 1920 by 1080 pixels; lower where all is alike."""
    style = SLIDE
    flawless = bool(reading.holds) and _flawless(reading)
    height = BAND_SLIDE_PX if flawless else style.height_px
    drawing = Drawing(style.width_px, height, colours.paper, f"{reading.file}: {reading.verdict}")
    _head(reading, drawing, colours)
    if not reading.holds:
        return drawing
    if flawless:
        _band(reading, drawing, colours)
        return drawing
    counted = any(frame.refreshes is not None for frame in reading.holds)
    first = _first_shown(reading)
    close = reading.holds[first : first + CLOSE_FRAMES]
    top_value = max(1.0, 1.04 * max(_value(frame, counted) for frame in reading.holds))
    left = float(style.margin_px + AXIS_PX)
    width = float(style.width_px - style.margin_px - left)
    bars = _Bars(left, width, TOP_PX + CLOSE_PX, CLOSE_PX, top_value, colours)
    of = "pictures" if reading.kind in ("clip", "footage") else "refreshes"
    _scale(bars, drawing, f"{of} held" if counted else "ms held")
    _close_look(reading, close, bars, drawing, counted)
    whole_base = style.height_px - style.margin_px - 44
    whole = _Bars(left, width, whole_base, WHOLE_PX, top_value, colours)
    _whole(reading, whole, drawing, counted, first, len(close))
    _key(reading, drawing, colours)
    return drawing


def _head(reading: Reading, drawing: Drawing, colours: Scheme) -> None:
    style = SLIDE
    base = style.margin_px - 24 + cap_height_px(style.title_px)
    name = Text(style.margin_px, base, reading.file, style.title_px, colours.ink, bold=True)
    drawing.add(name)
    words = reading.verdict[0].upper() + reading.verdict[1:] + "."
    text = Text(style.margin_px, base + 62, words, style.body_px, colours.ink)
    drawing.paragraph(text, style.width_px - 2 * style.margin_px, round(1.3 * style.body_px))


def _band(reading: Reading, drawing: Drawing, colours: Scheme) -> None:
    """Draw one band for all frames, and what they were."""
    left, width = float(SLIDE.margin_px), float(SLIDE.width_px - 2 * SLIDE.margin_px)
    drawing.add(Box(left, TOP_PX, width, BAND_PX, colours.calm, SLIDE.radius_px))
    hold = reading.holds[0].refreshes
    unit = "picture" if reading.kind in ("clip", "footage") else "refresh"
    plural = {"picture": "pictures", "refresh": "refreshes"}[unit]
    held = "" if hold is None else f", {hold} {unit if hold == 1 else plural} each"
    words = f"{len(reading.holds)} frames, all held alike{held}"
    base = TOP_PX + BAND_PX / 2 + cap_height_px(SLIDE.heading_px) / 2
    middle = left + width / 2
    drawing.add(Text(middle, base, words, SLIDE.heading_px, colours.calm_ink, "middle", bold=True))


def _scale(bars: _Bars, drawing: Drawing, unit: str) -> None:
    """Draw a line for each refresh, or for round milliseconds."""
    steps = (float(m * 10**power) for power in range(16) for m in (1, 2, 5))
    step = next(step for step in steps if bars.top_value / step <= MOST_LINES)
    value = step
    size = SLIDE.small_px
    while value <= bars.top_value:
        y = bars.base - bars.height * value / bars.top_value
        drawing.add(Stroke(bars.left, y, bars.left + bars.width, y, bars.colours.rule, 2))
        label = f"{value:.0f}"
        middle = y + cap_height_px(size) / 2
        drawing.add(Text(bars.left - 16, middle, label, size, bars.colours.muted, "end"))
        value += step
    top = bars.base - bars.height - 14
    drawing.add(Text(bars.left - 16, top, unit, size, bars.colours.muted, "start"))


@dataclass(frozen=True)
class _Columns:
    """Where frames stand side by side: `places` of those held, label and place of those lost."""

    places: list[int]
    lost: list[tuple[str, int]]

    @property
    def count(self) -> int:
        return len(self.places) + len(self.lost)


def _columns(reading: Reading, frames: Sequence[HeldFrame]) -> _Columns:
    """Columns in the order of the reading; of a long loss only the first ones have their own."""
    dropped = sorted(set(reading.dropped)) if reading.kind != "footage" else []
    found = _Columns([], [])
    for before, frame in pairwise([None, *frames]):
        assert frame is not None
        if before is not None:
            first, end = bisect_right(dropped, before.number), bisect_left(dropped, frame.number)
            labels = list(map(str, dropped[first : min(end, first + MOST_LOST)]))
            if end - first > MOST_LOST:
                labels[-1] = f"+{end - first - MOST_LOST + 1}"
            start = found.count
            found.lost.extend((label, start + k) for k, label in enumerate(labels))
        found.places.append(found.count)
    return found


def _close_look(
    reading: Reading, close: Sequence[HeldFrame], bars: _Bars, drawing: Drawing, counted: bool
) -> None:
    columns = _columns(reading, close)
    pitch = bars.width / columns.count
    due, repeated = _due(reading, counted), frozenset(reading.repeated)
    mixed = {b.number for b in reading.blended if b.number is not None}
    long = repeated if reading.kind == "recording" else frozenset()
    for frame, place in zip(close, columns.places, strict=True):
        x = bars.left + place * pitch
        look = _fill(frame, repeated, due, bars.colours)
        _column(frame, x, pitch, bars, drawing, counted, look)
        top = bars.base - bars.height * _value(frame, counted) / bars.top_value
        if frame.number in mixed:
            _diamond(x + pitch / 2, top - 18, bars.colours, drawing)
        if frame.number in long:
            ring = Stroke(x + 4, top - 8, x + pitch - 8, top - 8, bars.colours.third, 6)
            drawing.add(ring)
    for label, place in columns.lost:
        _wedge(bars.left + (place + 0.5) * pitch - 3, bars, drawing, label)
    numbers = [frame.number for frame in close]
    _numbers(dict(zip(columns.places, numbers, strict=True)), pitch, bars, drawing)


def _column(
    frame: HeldFrame,
    x: float,
    pitch: float,
    bars: _Bars,
    drawing: Drawing,
    counted: bool,
    look: Colours,
) -> None:
    value = _value(frame, counted)
    height = bars.height * value / bars.top_value
    width = pitch - min(8.0, pitch / 4)
    fill, ink = look
    radius = min(SLIDE.radius_px, width / 4)
    drawing.add(Box(x, bars.base - height, width, height, fill, radius))
    label = f"{value:.0f}" if counted else ""
    size = SLIDE.small_px
    if label and text_width_px(label, size) + 4 <= width and height > 1.6 * size:
        base = bars.base - height + 12 + cap_height_px(size)
        drawing.add(Text(x + width / 2, base, label, size, ink, "middle"))


def _wedge(x: float, bars: _Bars, drawing: Drawing, label: str) -> None:
    """Mark a lost frame: a wedge on the base line, its number above."""
    colours, half = bars.colours, 13
    top = bars.base - 64
    size = SLIDE.small_px
    width, height = text_width_px(label, size) + 8, cap_height_px(size) + 10
    drawing.add(
        Stroke(x, top, x, bars.base, colours.wrong, 5),
        Box(x - width / 2, top - 29 - height, width, height, colours.paper, 4),
        Polygon(((x - half, top - 22), (x + half, top - 22), (x, top + 4)), colours.wrong),
        Text(x, top - 34, label, SLIDE.small_px, colours.ink, "middle"),
    )


def _diamond(x: float, y: float, colours: Scheme, drawing: Drawing) -> None:
    drawing.add(Polygon(((x, y - 13), (x + 13, y), (x, y + 13), (x - 13, y)), colours.third))


def _numbers(numbers: dict[int, int], pitch: float, bars: _Bars, drawing: Drawing) -> None:
    """Write some of the frame numbers, given by their column, under the columns."""
    size = SLIDE.small_px
    widest = text_width_px(str(max(numbers.values())), size) + 24
    every = next(n for n in (1, 2, 5, 10, 20, 50) if n * pitch >= widest or n == 50)
    base = bars.base + 14 + cap_height_px(size)
    for column, number in numbers.items():
        if number % every == 0:
            x = bars.left + (column + 0.5) * pitch - 3
            drawing.add(Text(x, base, str(number), size, bars.colours.muted, "middle"))
    drawing.add(Text(bars.left - 48, base, "frame", size, bars.colours.muted, "end"))


def _whole(
    reading: Reading, bars: _Bars, drawing: Drawing, counted: bool, first: int, shown: int
) -> None:
    """Draw all frames small, what is shown closely framed, losses as ticks above."""
    frames = reading.holds
    columns = _columns(reading, frames)
    pitch = bars.width / columns.count
    due, repeated, colours = _due(reading, counted), frozenset(reading.repeated), bars.colours
    drawn: dict[int, tuple[float, str]] = {}
    for frame, place in zip(frames, columns.places, strict=True):
        pixel = int(place * pitch / 2)  # columns of two pixels at least
        before = drawn.get(pixel, (0.0, colours.short))
        fill = _fill(frame, repeated, due, colours)[0]
        # of the frames that share a column the one that matters most gives its colour
        fill = max(before[1], fill, key=[colours.short, colours.calm, colours.wrong].index)
        drawn[pixel] = (max(before[0], _value(frame, counted)), fill)
    for pixel, (value, fill) in drawn.items():
        height = bars.height * value / bars.top_value
        width = max(2.0, pitch - (1 if pitch > 3 else 0))
        drawing.add(Box(bars.left + 2 * pixel, bars.base - height, width, height, fill))
    for pixel in sorted({int(place * pitch) for _, place in columns.lost}):
        x = bars.left + pixel + 0.5 * pitch
        drawing.add(Stroke(x, bars.base + 4, x, bars.base + 20, bars.colours.wrong, 4))
    if shown < len(frames):
        x0 = bars.left + columns.places[first] * pitch
        x1 = bars.left + (columns.places[first + shown - 1] + 1) * pitch
        drawing.add(Stroke(x0, bars.base + 26, x1, bars.base + 26, bars.colours.muted, 5))
    size = SLIDE.small_px
    label = f"all {len(frames)} frames, {reading.seconds:.1f} s"
    above = bars.base - bars.height - 16
    drawing.add(Text(bars.left, above, label, size, bars.colours.muted))


def _key(reading: Reading, drawing: Drawing, colours: Scheme) -> None:
    """Say what the marks mean, along the foot."""
    size = SLIDE.small_px
    side = cap_height_px(size)
    x, base = float(SLIDE.margin_px), SLIDE.height_px - SLIDE.margin_px / 2 + 4.0
    kinds = [(colours.calm, "long hold"), (colours.short, "short hold")]
    for fill, words in [*kinds, (colours.wrong, "not of the cadence")]:
        drawing.add(Box(x, base - side - 3, side + 6, side + 6, fill, 4))
        drawing.add(Text(x + side + 20, base, words, size, colours.ink))
        x += side + 20 + text_width_px(words, size) + 44
    if reading.dropped and reading.kind != "footage":
        points = ((x, base - side), (x + 26, base - side), (x + 13, base + 2))
        drawing.add(Polygon(points, colours.wrong))
        drawing.add(Text(x + 42, base, "frame dropped", size, colours.ink))
        x += 42 + text_width_px("frame dropped", size) + 44
    if reading.blended:
        _diamond(x + 13, base - side / 2, colours, drawing)
        drawing.add(Text(x + 42, base, "mixture of two", size, colours.ink))
        x += 42 + text_width_px("mixture of two", size) + 44
    if reading.kind == "recording" and reading.repeated:
        drawing.add(Stroke(x, base - side / 2, x + 30, base - side / 2, colours.third, 6))
        drawing.add(Text(x + 42, base, "held too long", size, colours.ink))
    right = float(SLIDE.width_px - SLIDE.margin_px)
    drawing.add(Text(right, base, _figures(reading), size, colours.muted, "end"))


def _figures(reading: Reading) -> str:
    parts = []
    expected = reading.expected
    if expected is not None and expected.pattern is not None and reading.kind != "clip":
        on = format_decimal(expected.cadence.refresh_hz, 2)
        parts.append(f"expected {pattern_text(expected.pattern)} on {on} Hz")
    if reading.error is not None:
        parts.append(f"timing error {reading.error.rms_ms:.1f} ms")
    return "; ".join(parts)
