"""General flashes: opposing changes of luminance at every place, counted within one second.

A *change* is a swing between two local extremes that reaches the step; smaller ripples
are ignored, so a slow ramp adds up over its frames. A flash is a pair of opposing
changes, so seven changes within a second are three and a half flashes: more than three
(WCAG 2.2 technique G19). A second is half open: changes exactly one second apart are not
within the same one, so that 3 Hz passes.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from patterns.safety.luminance import FloatGrid
from patterns.safety.regions import AreaRule, Mask
from patterns.safety.report import FlashFinding

__all__ = [
    "MOST_CHANGES",
    "FlashRule",
    "LeadingEdges",
    "Swings",
    "TransitionCounter",
    "leading_edge_s",
]

LEAST_FLASHING = 2  # flashes a second from which on a region counts as flashing at all; our choice
MOST_CHANGES = 6  # three flashes
ROUNDING = 1e-6  # of the step: float32 must not decide whether 0.1 reaches 0.1
MAX_INTERVALS = 100


class Swings:
    """Opposing changes of a quantity at every place of a grid.

    Parameters
    ----------
    step
        A change is a swing of at least this.
    dark_below
        The darker of its two states must be below this.
    """

    def __init__(self, step: float, dark_below: float) -> None:
        self._step, self._dark_below = step * (1 - ROUNDING), dark_below
        self._low: FloatGrid | None = None
        self._high: FloatGrid
        self._direction: npt.NDArray[np.int8]

    def see(self, value: FloatGrid) -> tuple[Mask, Mask]:
        """Take the next value; returns where a change up and where a change down is complete."""
        if self._low is None:
            self._low, self._high = value.copy(), value.copy()
            self._direction = np.zeros(value.shape, np.int8)
        np.minimum(self._low, value, out=self._low)
        np.maximum(self._high, value, out=self._high)
        up = (value - self._low >= self._step) & (self._low < self._dark_below)
        up &= self._direction <= 0
        down = (self._high - value >= self._step) & (value < self._dark_below)
        down &= self._direction >= 0
        down &= ~up
        self._direction[up], self._direction[down] = 1, -1
        np.copyto(self._high, value, where=up)
        np.copyto(self._low, value, where=down)
        return up, down


class TransitionCounter:
    """How many changes each place made within the second that ends now.

    Parameters
    ----------
    shape
        Rows and columns of the grid.
    """

    def __init__(self, shape: tuple[int, int]) -> None:
        self.count = np.zeros(shape, np.int16)
        self._recent: deque[tuple[Fraction, Mask]] = deque()

    def see(self, time_s: Fraction, changed: Mask) -> bool:
        """Add what changed at `time_s`; returns whether anything did."""
        while self._recent and time_s - self._recent[0][0] >= 1:
            self.count -= self._recent.popleft()[1]
        any_change = bool(changed.any())
        if any_change:
            self.count += changed
            self._recent.append((time_s, changed))
        return any_change

    @property
    def since_s(self) -> Fraction:
        """Time of the oldest change that still counts."""
        return self._recent[0][0]


def leading_edge_s(rate: Fraction) -> Fraction:
    """Spacing of leading edges, in seconds, from which flashes are always acceptable.

    ITU-R BT.1702-3 (second-hand quotation): 360 ms in a 50 Hz environment, 334 ms in a
    60 Hz one, that is 9 frames at 25 and 10 frames at 30 a second (computed).
    """
    per_25 = rate / 25
    family_50 = per_25.denominator == 1 or (1 / per_25).denominator == 1
    return Fraction(9, 25) if family_50 else Fraction(1, 3)


class LeadingEdges:
    """Places whose flashes are far enough apart to be acceptable whatever their trailing edges.

    Parameters
    ----------
    shape
        Rows and columns of the grid.
    apart_s
        The least spacing of leading edges.
    """

    def __init__(self, shape: tuple[int, int], apart_s: Fraction) -> None:
        self._apart_s = apart_s
        self._last = [np.full(shape, -1, np.int64), np.full(shape, -1, np.int64)]
        self._close = [TransitionCounter(shape), TransitionCounter(shape)]
        self._times: deque[Fraction] = deque()
        self._first = 0  # number of the frame whose time is at the front

    def see(self, time_s: Fraction, up: Mask, down: Mask) -> None:
        """Take the changes of the next frame."""
        self._times.append(time_s)
        while time_s - self._times[0] >= self._apart_s:
            self._times.popleft()
            self._first += 1
        now = self._first + len(self._times) - 1
        for changed, last, close in zip((up, down), self._last, self._close, strict=True):
            close.see(time_s, changed & (last >= self._first))
            last[changed] = now

    def acceptable(self) -> Mask:
        """Where the edges of one direction, within this second, are all far apart."""
        return np.asarray((self._close[0].count == 0) | (self._close[1].count == 0), np.bool_)


@dataclass
class FlashRule:
    """One criterion for flashes, applied while frames go by.

    Attributes
    ----------
    name, source
        What the criterion is called and where it is published.
    area
        Which regions count.
    counter
        Changes within the last second at every place.
    edges
        The exemption by leading edges, where the criterion has one.
    """

    name: str
    source: str
    area: AreaRule
    counter: TransitionCounter
    edges: LeadingEdges | None = None
    most_changes: int = 0
    worst_time_s: Fraction | None = None
    worst_region: Mask | None = None
    share: float = 0.0
    combined_share: float = 0.0
    longest_s: Fraction = Fraction(0)
    intervals: list[tuple[Fraction, Fraction]] = field(default_factory=list)
    _busy_since_s: Fraction | None = None
    _most_flagged: float = 0.0

    def see(self, time_s: Fraction, up: Mask, down: Mask) -> bool:
        """Take the changes of the next frame; returns whether this is the worst moment so far."""
        changed = self.counter.see(time_s, up | down)
        if self.edges is not None:
            self.edges.see(time_s, up, down)
        self._watch_length(time_s)
        if not changed:
            return False
        count = self.counter.count
        if self.edges is not None and count.max() > MOST_CHANGES:
            count = np.where(self.edges.acceptable(), np.minimum(count, MOST_CHANGES), count)
        worse = self._raise_most(time_s, count)
        return self._judge(time_s, count) or worse

    def _raise_most(self, time_s: Fraction, count: npt.NDArray[np.int16]) -> bool:
        worse = False
        # What is too small even when taken together need not be taken apart.
        while self.area.combined(more := count > self.most_changes) > self.area.limit_cells:
            size, region = self.area.largest(more)
            if size <= self.area.limit_cells:
                break
            self.most_changes += 1
            self.worst_time_s, self.worst_region, worse = time_s, region, True
        return worse

    def _judge(self, time_s: Fraction, count: npt.NDArray[np.int16]) -> bool:
        flagged = count > MOST_CHANGES
        share = np.count_nonzero(flagged) / self.area.cells
        combined = self.area.combined(flagged)
        grew, self._most_flagged = share > self._most_flagged, max(share, self._most_flagged)
        if not grew and combined <= self.area.limit_cells:
            return False
        self.combined_share = max(self.combined_share, combined / self.area.cells)
        size, region = self.area.largest(flagged)
        if size > self.area.limit_cells:
            self._add_interval(self.counter.since_s, time_s)
        worse = size / self.area.cells > self.share
        if worse:
            self.share = size / self.area.cells
            if self.most_changes <= MOST_CHANGES:
                self.worst_time_s, self.worst_region = time_s, region
        return worse

    def _add_interval(self, start_s: Fraction, end_s: Fraction) -> None:
        if self.intervals and start_s <= self.intervals[-1][1]:
            self.intervals[-1] = (self.intervals[-1][0], end_s)
        elif len(self.intervals) < MAX_INTERVALS:
            self.intervals.append((start_s, end_s))

    def _watch_length(self, time_s: Fraction) -> None:
        # Two flashes within the second, in one region: a place here and there that a moving
        # texture turns lighter and darker once is no flashing sequence.
        often = self.counter.count >= 2 * LEAST_FLASHING
        busy = self.area.combined(often) > self.area.limit_cells
        if not busy or self.area.largest(often)[0] <= self.area.limit_cells:
            self._busy_since_s = None
            return
        if self._busy_since_s is None:
            self._busy_since_s = self.counter.since_s
        self.longest_s = max(self.longest_s, time_s - self._busy_since_s)

    def finding(self) -> FlashFinding:
        """Return what was found up to now."""
        return FlashFinding(
            criterion=self.name,
            source=self.source,
            exceeds=bool(self.intervals),
            flashes_per_s=self.most_changes / 2,
            share=self.share,
            share_limit=self.area.limit_share,
            combined_share=self.combined_share,
            longest_s=self.longest_s,
            intervals=tuple(self.intervals),
            worst_time_s=self.worst_time_s,
        )
