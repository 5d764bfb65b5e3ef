"""The space-time diagram: where a moving object is, and where the following eye expects it.

Time runs to the right, the object's place upwards. The eye goes along the straight line;
the screen shows the object on steps, one a frame, each as long as the frame is held. With
equal holds the steps keep the same distance to the line; with unequal ones they do not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from patterns.drawing.canvas import Box, Drawing, Polygon, Stroke, Text, titled_slide
from patterns.drawing.style import LIGHT, SLIDE, Scheme, hold_colours
from patterns.errors import RequestError
from patterns.timing.cadence import Cadence
from patterns.timing.rates import format_decimal

MOST_PLOTS = 4
FRAMES_ACROSS = 8  # of the slowest rate
TOP, FOOT = 290, 236
STEP_PX = 11
LINE_PX = 4


@dataclass(frozen=True)
class _Plot:
    """One plot's rectangle, and its scales in pixels a second and pixels a pixel."""

    cadence: Cadence
    left: float
    top: float
    width: float
    height: float
    seconds: Fraction
    colours: Scheme

    def x(self, time_s: Fraction) -> float:
        return self.left + float(time_s / self.seconds) * self.width

    def y(self, time_s: Fraction) -> float:
        """Row of the place that the object reaches at `time_s`."""
        return self.top + self.height * (1 - float(time_s / self.seconds))


def _frame(plot: _Plot, drawing: Drawing) -> None:
    """Ground, ticks of the refresh, and the straight line of the eye."""
    c = plot.colours
    drawing.add(Box(plot.left, plot.top, plot.width, plot.height, c.panel, SLIDE.radius_px))
    count = int(plot.seconds * plot.cadence.refresh_hz)
    for k in range(count + 1):
        x = plot.x(k / plot.cadence.refresh_hz)
        bottom = plot.top + plot.height
        drawing.add(Stroke(x, bottom + 8, x, bottom + 22, c.muted, SLIDE.hairline_px))


def _steps(plot: _Plot, drawing: Drawing) -> None:
    """Fill what lies between step and line, then draw the steps.

    They begin with frame 0, which comes on at its very moment: there the line begins.
    """
    c, cadence, start = plot.colours, plot.cadence, 0
    kinds = (cadence.usual_hold, cadence.odd_hold)
    for n, hold in enumerate(cadence.first_holds(int(plot.seconds * cadence.rate) + 2)):
        begin, end = start / cadence.refresh_hz, (start + hold) / cadence.refresh_hz
        start += hold
        if not hold or begin >= plot.seconds:
            continue
        fill, _ = hold_colours(hold, kinds, c)
        end = min(end, plot.seconds)
        x0, x1, y = plot.x(begin), plot.x(end), plot.y(n / cadence.rate)
        drawing.add(Polygon(((x0, plot.y(begin)), (x1, plot.y(end)), (x1, y), (x0, y)), c.rule))
        drawing.add(Box(x0, y - STEP_PX / 2, x1 - x0, STEP_PX, fill))
        if n:
            before = plot.y((n - 1) / cadence.rate)
            drawing.add(Stroke(x0, before, x0, y, fill, SLIDE.hairline_px))
    eye = (plot.x(Fraction(0)), plot.y(Fraction(0)), plot.x(plot.seconds), plot.y(plot.seconds))
    drawing.add(Stroke(*eye, c.ink, LINE_PX))


def _words(plot: _Plot, drawing: Drawing, speed_px_s: Fraction) -> None:
    c, cadence = plot.colours, plot.cadence
    name = f"{format_decimal(cadence.rate)} on {cadence.display.name} Hz"
    base = plot.top - 62
    drawing.add(Text(plot.left, base, name, SLIDE.heading_px, c.ink, bold=True))
    jump = format_decimal(cadence.timing_error_span_s * speed_px_s, 1)
    words = "steps alike: glides" if cadence.even else f"steps differ: {jump} px of shake"
    drawing.add(Text(plot.left, base + 44, words, SLIDE.small_px, c.muted))


def space_time(
    cadences: Sequence[Cadence], speed_px_s: Fraction, colours: Scheme = LIGHT
) -> Drawing:
    """Draw one to three cadences side by side, 1920 x 1080.

    `speed_px_s`: speed of the object, for the words; all plots share one scale of time.
    Raises `RequestError`: no cadence, or more than four.
    """
    if not 1 <= len(cadences) <= MOST_PLOTS:
        raise RequestError(
            f"a space-time diagram takes 1 to {MOST_PLOTS} rates, not {len(cadences)}"
        )
    title = "Where the object is, and where the eye is"
    drawing = titled_slide(title, colours, SLIDE.height_px, 22)
    left, right = SLIDE.margin_px, SLIDE.width_px - SLIDE.margin_px
    gap = 60
    width = (right - left - gap * (len(cadences) - 1)) / len(cadences)
    seconds = FRAMES_ACROSS / min(c.rate for c in cadences)
    for number, cadence in enumerate(cadences):
        plot = _Plot(
            cadence, left + number * (width + gap), TOP, width,
            SLIDE.height_px - TOP - FOOT, seconds, colours,
        )  # fmt: skip
        _frame(plot, drawing)
        _steps(plot, drawing)
        _words(plot, drawing, speed_px_s)
    _key(drawing, colours, f"{format_decimal(1000 * seconds, 0)} ms across")
    return drawing


def _key(drawing: Drawing, colours: Scheme, across: str) -> None:
    """Say what the marks mean, along the foot."""
    left, size = float(SLIDE.margin_px), SLIDE.small_px
    base = SLIDE.height_px - 76
    items = (
        ("the eye, following steadily", colours.ink),
        ("the screen, long hold", colours.calm),
        ("short hold", colours.short),
    )
    for words, fill in items:
        drawing.add(Box(left, base - 14, 46, 8, fill))
        text = Text(left + 62, base, words, size, colours.ink)
        drawing.add(text)
        left += 62 + text.width + 48
    right = SLIDE.width_px - SLIDE.margin_px
    drawing.add(Text(right, base, across, size, colours.muted, "end"))
    above = base - 66
    drawing.add(
        Text(SLIDE.margin_px, above, "time to the right, place upwards; grey: how far the object "
             "is from where the eye looks", size, colours.muted)
    )  # fmt: skip
