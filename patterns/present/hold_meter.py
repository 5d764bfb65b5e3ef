"""Which frame is on screen at each refresh, and the hold meter that shows it.

A timeline at T frames a second on a display at refresh R shows its frame j at the
refreshes k with j = floor(k T/R), for frame j comes on at refresh ceil(j R/T). Footage
at F placed on that timeline gives its frame floor(j F/T) (repeated), a mixture of the
two frames about j F/T (blended), or its frame j (sped up).

The meter is a row of blocks that fills by one cell each refresh. A block is one picture,
as wide as it stays; the number in it counts refreshes. What has passed is in full colour,
what is to come is dim, and a mark runs under the cell of the refresh that is on screen.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby, pairwise
from math import ceil, floor, lcm
from typing import Literal

from patterns.drawing.canvas import Box, Drawing, Text, colour_light, to_planes
from patterns.drawing.style import Scheme, hold_colours
from patterns.picture.lettering import cap_height_px, size_for_width, text_width_px
from patterns.picture.planes import Planes, light_to_ycbcr
from patterns.present.panel import Area, paste

LOOKED_AT = 240  # refreshes; ten times as many where a period is longer
RARE = 0.99  # share of equal holds above which the rest are slips, not a pattern

Method = Literal["repeated", "blended", "sped"]


@dataclass(frozen=True)
class Shown:
    """Picture on screen: frame `frame`, with a share of the next one mixed in (0: none)."""

    frame: int
    next_share: Fraction = Fraction(0)

    @property
    def place(self) -> Fraction:
        """Where it is in the footage, frames."""
        return self.frame + self.next_share


@dataclass(frozen=True)
class Run:
    """A picture that stays: from refresh `start`, for `refreshes` refreshes."""

    start: int
    refreshes: int
    shown: Shown


@dataclass(frozen=True)
class Feed:
    """Footage at `footage` frames a second on a timeline at `timeline`."""

    footage: Fraction
    timeline: Fraction
    method: Method = "repeated"

    def shown(self, refresh: int, refresh_hz: Fraction) -> Shown:
        """What is on screen at a refresh, counted from 0 when the clip starts."""
        at = floor(refresh * self.timeline / refresh_hz)
        if self.method == "sped":
            return Shown(at)
        place = at * self.footage / self.timeline
        frame = floor(place)
        return Shown(frame, place - frame if self.method == "blended" else Fraction(0))

    def period(self, refresh_hz: Fraction) -> int:
        """Refreshes after which the pattern of what is shown repeats."""
        return lcm(
            (refresh_hz / self.timeline).numerator,
            1 if self.method == "sped" else (refresh_hz / self.footage).numerator,
        )


def runs(feed: Feed, refresh_hz: Fraction, first: int, count: int) -> Iterator[Run]:
    """Group refreshes `first` to `first + count - 1` into pictures that stay."""
    start = first
    shown = (feed.shown(k, refresh_hz) for k in range(first, first + count))
    for picture, group in groupby(shown):
        length = len(list(group))
        yield Run(start, length, picture)
        start += length


def is_even(feed: Feed, refresh_hz: Fraction) -> bool:
    """Whether all pictures stay equally long and none is lost (a rare slip is not noticed).

    Looked at are whole periods where these are short: how long each picture stays, and how many
    frames on the next one is, more than usual where some are lost.
    """
    period = feed.period(refresh_hz)
    count = min(period * max(1, -(-LOOKED_AT // period)), 10 * LOOKED_AT)
    kinds: Counter[tuple[int, Fraction]] = Counter()
    for run in runs(feed, refresh_hz, 0, count):
        after = feed.shown(run.start + run.refreshes, refresh_hz)
        kinds[run.refreshes, after.place - run.shown.place] += 1
    return max(kinds.values()) >= RARE * sum(kinds.values())


LEAST_WINDOW, LONGEST_WINDOW = 24, 60  # refreshes
# In 1080ths of the frame's height (or 1920ths of its width): a cell holds a digit of that type.
LEAST_CELL, LEAST_TYPE = 17, 18
MARK_SHARE = 0.14  # of the meter's height


def meter_window(
    feeds: tuple[Feed, ...], refresh_hz: Fraction, width_px: int, unit: float = 1
) -> int:
    """Refreshes across a meter: whole periods of all feeds where they fit, else half a second.

    Cells are at least `LEAST_CELL` units wide, so that a block of one has room for its digit.
    """
    most = max(2, int(width_px / (LEAST_CELL * unit)))
    period = lcm(*(feed.period(refresh_hz) for feed in feeds))  # in which all repeat together
    if period <= min(most, LONGEST_WINDOW):
        return period * min(-(-LEAST_WINDOW // period), min(most, LONGEST_WINDOW) // period)
    return min(most, max(LEAST_WINDOW, round(refresh_hz / 2)))


class HoldMeter:
    """Draws one panel's meter of `window` refreshes into its `area` of frames.

    `unit`: a 1080th of the frame's height, or a 1920th of its width, if that is smaller, pixels.
    """

    def __init__(
        self, feed: Feed, refresh_hz: Fraction, area: Area, window: int, colours: Scheme,
        unit: float = 1,
    ) -> None:  # fmt: skip
        self._least_type_px = LEAST_TYPE * unit
        self._feed, self._refresh_hz, self._area = feed, refresh_hz, area
        self._window, self._colours = window, colours
        # of the first pictures, the very first with a slip and the last cut short left out
        enough = max(4 * window, 4 * ceil(refresh_hz / min(feed.footage, feed.timeline)))
        self._kinds = {run.refreshes for run in list(runs(feed, refresh_hz, 0, enough))[1:-1]}
        self._mark_codes = light_to_ycbcr(colour_light(colours.ink))
        self._edges = [2 * round(k * area.width / window / 2) for k in range(window + 1)]
        # number of the round that is shown; the meter once through, all to come and all passed
        self._shown: tuple[int, Planes, Planes] | None = None

    def draw(self, refresh: int, frame: Planes) -> None:
        """Draw the meter as it stands while `refresh` is on screen."""
        number, at = divmod(refresh, self._window)
        if self._shown is None or self._shown[0] != number:
            self._shown = (number, *self._round(number))
        (_, pending, passed), area = self._shown, self._area
        split = self._edges[at + 1]
        paste(pending, frame, area.left, area.top)
        paste(passed.part(0, 0, split, area.height), frame, area.left, area.top)
        self._mark(frame, area.left + self._edges[at], area.left + split)

    def _mark(self, frame: Planes, left: int, right: int) -> None:
        high = max(2, round(self._area.height * MARK_SHARE / 2) * 2)
        bottom = self._area.bottom
        frame.part(left, bottom - high, right, bottom).fill(*self._mark_codes)

    def _round(self, number: int) -> tuple[Planes, Planes]:
        first = number * self._window
        # A picture that began before the round, or goes on after it, keeps its whole count.
        longest = max(self._kinds) + 2
        begin = max(0, first - longest)
        end = first + self._window
        found = [
            run
            for run in runs(self._feed, self._refresh_hz, begin, end + longest - begin)
            if run.start < end and run.start + run.refreshes > first
        ]
        return self._picture(found, first, lit=False), self._picture(found, first, lit=True)

    def _picture(self, found: list[Run], first: int, *, lit: bool) -> Planes:
        width, height = self._area.width, self._area.height
        drawing = Drawing(width, height, self._colours.paper, "hold meter")
        mark = max(2, round(height * MARK_SHARE / 2) * 2)
        block_height = height - mark - round(height * 0.1)
        gap = max(2, width // self._window // 8)
        # One type size for all blocks: the largest at which the shortest holds its number.
        least = min(self._kinds)
        room = (least * width / self._window - gap) / 1.25
        size = size_for_width(str(least), room, int(block_height * 0.66))
        for run in found:
            self._block(drawing, run, first, (block_height, gap, size), lit=lit)
        for left, right in pairwise(self._edges):
            drawing.add(Box(left, height - mark, right - left - 2, mark, self._colours.panel))
        return to_planes(drawing)

    def _place(self, refresh: int) -> float:
        """Column of a refresh counted from the round's start; it may lie outside."""
        if 0 <= refresh <= self._window:
            return float(self._edges[refresh])
        return refresh * self._area.width / self._window

    def _block(
        self, drawing: Drawing, run: Run, first: int, sizes: tuple[int, int, int], *, lit: bool
    ) -> None:
        height, gap, type_px = sizes
        left = self._place(run.start - first)
        width = self._place(run.start + run.refreshes - first) - left - gap
        c = self._colours
        fill, ink = hold_colours(run.refreshes, self._kinds, c) if lit else (c.panel, c.muted)
        drawing.add(Box(left, 0, width, height, fill, min(height // 14, width / 4)))
        text = str(run.refreshes)
        begin, end = max(left, 0), min(left + width, drawing.width)
        if type_px >= self._least_type_px and text_width_px(text, type_px) * 1.1 <= end - begin:
            base = height / 2 + cap_height_px(type_px) / 2
            drawing.add(Text((begin + end) / 2, base, text, type_px, ink, "middle", True))
