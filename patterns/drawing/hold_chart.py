"""The hold chart: frames as blocks over the ticks of the refresh, one row a cadence.

A block's width is the time its frame stays on screen, so unequal holds are unequal
blocks; the number in it counts refreshes. All rows share one time scale. A cadence with
a slow slip is shown around a slip, with words for how seldom it comes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from patterns.drawing.canvas import Box, Drawing, Polygon, Stroke, Text, titled_slide
from patterns.drawing.style import LIGHT, SLIDE, Scheme, hold_colours
from patterns.errors import RequestError
from patterns.picture.lettering import cap_height_px, text_width_px
from patterns.timing.cadence import Cadence, SlowSlip, frame_starts, slow_slip
from patterns.timing.cadence_text import verdict
from patterns.timing.notation import interval_text
from patterns.timing.rates import format_decimal

MOST_ROWS = 12
FRAMES_ACROSS = 12  # of the slowest rate
MOST_BLOCKS = 120
HEAD_PX, FOOT_PX, ROW_PX = 200, 112, 256
BLOCK_PX = {1: 230, 2: 150}  # block heights of a chart of few rows
LEAST_BLOCK_PX = 78
VERDICT_PX = {230: SLIDE.heading_px, 150: SLIDE.body_px, 0: SLIDE.small_px}
HEAD_TO_BLOCK_PX = 60
BLOCK_GAP_PX = 5
LEAST_TICK_PX = 5


@dataclass(frozen=True)
class Hold:
    """One frame on screen, in refreshes from the left edge of the chart (may be negative)."""

    start: int
    refreshes: int


def shown_holds(cadence: Cadence, seconds: Fraction) -> tuple[tuple[Hold, ...], SlowSlip | None]:
    """Return the holds that fill `seconds`, from frame 0 on or around a slow slip, and the slip.

    Slips fall near frame 0 whatever the rates, for there the frames meet the refresh.
    """
    slip = slow_slip(cadence)
    frames = int(seconds * cadence.rate) + 2
    first = -(frames // 2) if slip else 0
    starts = list(frame_starts(cadence.rate, cadence.refresh_hz, frames + 2, first=first))
    shown = (Hold(a - starts[0], b - a) for a, b in pairwise(starts))
    return tuple(shown), slip


def _window_s(cadences: Sequence[Cadence]) -> Fraction:
    """Time across the chart: twelve frames of the slowest rate, fewer if blocks get too thin."""
    slowest = min(c.rate for c in cadences)
    busiest = max(min(c.rate, c.refresh_hz) for c in cadences)
    wanted = min(FRAMES_ACROSS / slowest, MOST_BLOCKS / busiest)
    # A round figure for the scale beneath the chart.
    for step in (Fraction(1, 2), Fraction(1, 10), Fraction(1, 100), Fraction(1, 1000)):
        if wanted >= step:
            return int(wanted / step) * step
    return wanted


@dataclass(frozen=True)
class _Row:
    """Where a row lies, and its scale; `width` has the gap after the last block with it."""

    cadence: Cadence
    top: float
    left: float
    width: float
    block_height: float
    seconds: Fraction
    colours: Scheme

    @property
    def kinds(self) -> tuple[int, ...]:
        """Holds of the cadence as seen; a slow slip's own hold is not among them."""
        slip = slow_slip(self.cadence)
        return slip.pattern if slip else (self.cadence.usual_hold, self.cadence.odd_hold)

    @property
    def refresh_px(self) -> float:
        return self.width / float(self.seconds * self.cadence.refresh_hz)

    @property
    def block_top(self) -> float:
        return self.top + HEAD_TO_BLOCK_PX

    @property
    def right(self) -> float:
        return self.left + self.width


def _heading(row: _Row, slip: SlowSlip | None, drawing: Drawing) -> None:
    """Draw the row's name at its left, its figures at its right."""
    c, style = row.cadence, SLIDE
    unit = "Hz (variable)" if c.display.is_variable else "Hz"
    name = f"{format_decimal(c.rate)} on {c.display.name} {unit}"
    base = row.top + cap_height_px(style.heading_px)
    drawing.add(Text(row.left, base, name, style.heading_px, row.colours.ink, bold=True))
    right = row.right - BLOCK_GAP_PX
    figures = _figures(c, slip)
    drawing.add(Text(right, base, figures, style.body_px, row.colours.muted, "end"))


def _figures(cadence: Cadence, slip: SlowSlip | None) -> str:
    if cadence.even:
        return "even"
    if cadence.ratio.numerator == 1:
        return f"one frame in {cadence.ratio.denominator} shown"
    if slip:
        return f"shown around a slip; one every {interval_text(slip.interval_s)}"
    return f"timing error {1000 * cadence.timing_error_rms_s:.1f} ms"


def _blocks(row: _Row, holds: Iterable[Hold], drawing: Drawing) -> None:
    """Draw one block a frame; one that the row's edge cuts is open at that end."""
    for hold in holds:
        x0 = row.left + hold.start * row.refresh_px
        x1 = x0 + hold.refreshes * row.refresh_px
        if hold.refreshes and x0 < row.right - 1:
            _block(row, hold, x0, min(x1, row.right), drawing, cut=x1 > row.right + 1)
    for hold in holds:
        x = row.left + hold.start * row.refresh_px
        if not hold.refreshes and row.left < x < row.right:
            _lost_mark(row, x, drawing)


def _block(row: _Row, hold: Hold, x0: float, x1: float, drawing: Drawing, *, cut: bool) -> None:
    fill, ink = hold_colours(hold.refreshes, row.kinds, row.colours)
    width = x1 - x0 - min(BLOCK_GAP_PX, row.refresh_px / 4)
    radius = SLIDE.radius_px
    drawing.add(Box(x0, row.block_top, width, row.block_height, fill, radius))
    if cut:
        _open_end(row, x0 + width, drawing)
        return
    number = Text(x0 + width / 2, 0, str(hold.refreshes), SLIDE.heading_px, ink, "middle", True)
    _count(row, number, width, drawing)


def _open_end(row: _Row, x: float, drawing: Drawing) -> None:
    """Cut teeth into the end of a block that goes on beyond the row."""
    teeth, depth = 6, 12
    step = row.block_height / teeth
    for number in range(teeth):
        y = row.block_top + number * step
        points = ((x + 1, y - 1), (x + 1, y + step + 1), (x - depth, y + step / 2))
        drawing.add(Polygon(points, row.colours.paper))


def _count(row: _Row, number: Text, room: float, drawing: Drawing) -> None:
    """Write the number of refreshes into a block, as large as there is room for."""
    largest = SLIDE.title_px if row.block_height > 2 * LEAST_BLOCK_PX else SLIDE.heading_px
    for size in (largest, SLIDE.heading_px, SLIDE.body_px, SLIDE.small_px):
        if text_width_px(number.text, size) * 1.35 + 4 <= room:
            base = row.block_top + row.block_height / 2 + cap_height_px(size) / 2
            drawing.add(replace(number, y=base, size_px=size))
            return


def _lost_mark(row: _Row, x: float, drawing: Drawing) -> None:
    """Draw a wedge over the gap where a frame is lost."""
    top, half, x = row.block_top - 4, 13, x - BLOCK_GAP_PX / 2
    wrong = row.colours.wrong
    drawing.add(
        Polygon(((x - half, top - 16), (x + half, top - 16), (x, top + 10)), wrong),
        Stroke(x, top, x, row.block_top + row.block_height + 4, wrong, BLOCK_GAP_PX),
    )


def _ticks(row: _Row, drawing: Drawing) -> None:
    """Draw the ticks of the refresh under the blocks; a band where they would run together."""
    top = row.block_top + row.block_height + 8
    if row.refresh_px < LEAST_TICK_PX:
        drawing.add(Box(row.left, top, row.width, 6, row.colours.rule))
        return
    for k in range(int(row.seconds * row.cadence.refresh_hz) + 1):
        middle = row.left + k * row.refresh_px - BLOCK_GAP_PX / 2
        drawing.add(Stroke(middle, top, middle, top + 14, row.colours.muted, SLIDE.hairline_px))


def _draw_row(row: _Row, drawing: Drawing) -> None:
    holds, slip = shown_holds(row.cadence, row.seconds)
    _heading(row, slip, drawing)
    _blocks(row, holds, drawing)
    _ticks(row, drawing)
    size = next(size for block, size in VERDICT_PX.items() if row.block_height >= block)
    base = row.block_top + row.block_height + 36 + 0.3 * size + cap_height_px(size)
    words = Text(row.left, base, verdict(row.cadence), size, row.colours.muted)
    drawing.paragraph(words, row.width - BLOCK_GAP_PX, round(1.3 * size))


def _key(drawing: Drawing, base: float, colours: Scheme, *, lost: bool) -> None:
    """Draw what colours and marks mean, along the foot."""
    x, size = float(SLIDE.margin_px), SLIDE.small_px
    side = cap_height_px(size)
    for fill, words in ((colours.calm, "long hold"), (colours.short, "short hold")):
        drawing.add(Box(x, base - side - 3, side + 6, side + 6, fill, 4))
        drawing.add(Text(x + side + 20, base, words, size, colours.ink))
        x += side + 20 + text_width_px(words, size) + 48
    if lost:
        points = ((x, base - side), (x + 26, base - side), (x + 13, base + 2))
        drawing.add(Polygon(points, colours.wrong))
        drawing.add(Text(x + 42, base, "frame lost", size, colours.ink))
        x += 42 + text_width_px("frame lost", size) + 48
    drawing.add(Stroke(x, base - side, x, base + 2, colours.muted, SLIDE.hairline_px))
    drawing.add(Text(x + 16, base, "one refresh of the screen", size, colours.ink))


def hold_chart(cadences: Sequence[Cadence], colours: Scheme = LIGHT) -> Drawing:
    """Draw the cadences as rows of blocks, 1920 px wide; 1080 high for up to three rows.

    Raises `RequestError`: no cadence, or more than twelve.
    """
    if not 1 <= len(cadences) <= MOST_ROWS:
        raise RequestError(
            f"a hold chart takes 1 to {MOST_ROWS} pairs of rate and display, not "
            f"{len(cadences)}: ask for fewer at a time"
        )
    style, rows = SLIDE, len(cadences)
    height = max(style.height_px, HEAD_PX + rows * ROW_PX + FOOT_PX)
    seconds = _window_s(cadences)
    drawing = titled_slide("How long each frame stays on screen", colours, height, 12)
    left, width = float(style.margin_px), float(style.width_px - 2 * style.margin_px)
    block_px = BLOCK_PX.get(rows, LEAST_BLOCK_PX)
    pitch = (height - HEAD_PX - FOOT_PX) / rows
    # A row's own height is ROW_PX less what its blocks lack; the rest goes around it.
    spare = pitch - (ROW_PX + block_px - LEAST_BLOCK_PX)
    for number, cadence in enumerate(cadences):
        top = HEAD_PX + number * pitch + spare / 2
        row = _Row(cadence, top, left, width + BLOCK_GAP_PX, block_px, seconds, colours)
        _draw_row(row, drawing)
    foot = height - style.margin_px / 2 - 8
    _key(drawing, foot, colours, lost=any(c.ratio < 1 for c in cadences))
    across = f"{format_decimal(seconds)} s across"
    drawing.add(Text(left + width, foot, across, style.small_px, colours.muted, "end"))
    return drawing
