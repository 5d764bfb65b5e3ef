"""One criterion for flashes, applied while frames go by (SAFETY.md, "Area").

Flashes count place by place, places that each flash more than three times within the same
second in sum; and taken together: places that turned light less places that turned dark.
"""

from __future__ import annotations

from collections import deque
from fractions import Fraction
from math import floor
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import BoolArray
from patterns.safety.flashes import MOST_CHANGES, ChangeCounter, Swings
from patterns.safety.report import EXTENDED, EXTENDED_S, EXTENDED_WINDOW_S, FlashFinding
from patterns.safety.viewing import Grid, Viewing

EXTENDED_CHANGES = 4  # two flashes
MAX_INTERVALS = 100
SCREEN_SHARE = 0.25  # ITU-R BT.1702-3, guideline 1 (second-hand quotation)


class AreaRule(NamedTuple):
    """How large an area may be."""

    limit_cells: float  # largest area that is not counted, in cells; more than this counts
    # rows and columns of the field within which areas are summed: the whole grid for a rule about
    # the screen
    field: tuple[int, int]
    cells: int  # number of cells of the grid

    @property
    def limit_share(self) -> float:
        """The limit as a share of the picture."""
        return self.limit_cells / self.cells

    def sums(self, values: npt.NDArray[np.bool_ | np.int8]) -> npt.NDArray[np.int32]:
        """Sum over the field in each of its places, shape (rows - field rows + 1, ...)."""
        rows, columns = self.field
        if rows * columns == self.cells:
            return np.full((1, 1), values.sum(dtype=np.int32))
        along = np.zeros((values.shape[0], values.shape[1] + 1), np.int32)
        np.cumsum(values, axis=1, out=along[:, 1:])
        across = along[:, columns:] - along[:, :-columns]
        down = np.zeros((len(across) + 1, across.shape[1]), np.int32)
        np.cumsum(across, axis=0, out=down[1:])
        return np.asarray(down[rows:] - down[:-rows], np.int32)

    def largest(self, mask: BoolArray) -> int:
        """Cells of `mask` within the field, where it holds most of them.

        Where all of them are within the limit, they are given without looking for that place.
        """
        total = int(np.count_nonzero(mask))
        return int(self.sums(mask).max()) if total > self.limit_cells else total


def screen_rule(grid: Grid) -> AreaRule:
    """ITU-R BT.1702: more than 25 % of the displayed screen."""
    return AreaRule(SCREEN_SHARE * grid.cells, (grid.rows, grid.columns), grid.cells)


def visual_field_rule(grid: Grid, viewing: Viewing) -> AreaRule:
    """WCAG 2.2: more than 25 % of any 10 degree field (0.006 sr; technique G176)."""
    width, height = (side * grid.rows for side in viewing.block_heights)
    field = (min(grid.rows, max(1, round(height))), min(grid.columns, max(1, round(width))))
    return AreaRule(width * height / 4, field, grid.cells)


class FlashRule:
    """One criterion.

    `name`, `source`: what it is called and where it is published.
    `area`: which areas count.
    `shape`: rows and columns of the grid.
    `apart_s`: spacing of leading edges from which flashes are always acceptable, if it has one.
    `extra`: whether it is told beside the criteria in force, and not counted in the verdict.
    """

    def __init__(
        self,
        name: str,
        source: str,
        area: AreaRule,
        shape: tuple[int, int],
        apart_s: Fraction | None = None,
        *,
        extra: bool = False,
    ) -> None:
        self.name, self.area, self.extra = name, area, extra
        self._source = source
        self._places = ChangeCounter(shape, apart_s)
        self._state = np.zeros(shape, np.int8)  # lighter (1) or darker (-1) than at first
        fields = area.sums(self._state)
        self._fields = ChangeCounter((fields.shape[0], fields.shape[1]), apart_s)
        self._swings = Swings(floor(area.limit_cells) + 1)
        self._no_field = self._swings.see(fields)
        self.most_changes = 0
        self.share = 0.0
        self.worst_region: BoolArray | None = None
        self._worst_time_s: Fraction | None = None
        self._intervals: list[tuple[Fraction, Fraction]] = []
        self._busy: deque[tuple[Fraction, Fraction]] = deque()
        self._busy_s = self._last_s = Fraction(0)
        self.flashing_s = self.flashing_until_s = Fraction(0)  # most in five seconds, and when

    def see(self, time_s: Fraction, up: BoolArray, down: BoolArray) -> bool:
        """Take the changes of the next frame; returns whether this is the worst moment so far."""
        together = self._no_field
        if changed := self._places.see(time_s, up, down):
            self._state += up
            self._state -= down
            together = self._swings.see(self.area.sums(self._state))
        self._fields.see(time_s, *together)
        self._watch_length(time_s)
        return changed and self._judge(time_s)

    def _judge(self, time_s: Fraction) -> bool:
        count, together = self._places.counted, int(self._fields.counted.max())
        worse = False
        while together > self.most_changes or self._too_large(count > self.most_changes):
            self.most_changes += 1
            worse = True
        flagged = self._places.all.count > 0 if together > MOST_CHANGES else count > MOST_CHANGES
        cells = self.area.largest(flagged)
        if together > MOST_CHANGES or cells > self.area.limit_cells:
            self._add_interval(self._places.all.since_s, time_s)
        if cells > self.share * self.area.cells:
            self.share = cells / self.area.cells
            worse = worse or self.exceeds
        if worse:
            self._worst_time_s = time_s
            self.worst_region = flagged if self.exceeds else count >= self.most_changes
        return worse

    def _too_large(self, mask: BoolArray) -> bool:
        return self.area.largest(mask) > self.area.limit_cells

    def _add_interval(self, start_s: Fraction, end_s: Fraction) -> None:
        if self._intervals and start_s <= self._intervals[-1][1]:
            self._intervals[-1] = (self._intervals[-1][0], end_s)
        elif len(self._intervals) < MAX_INTERVALS:
            self._intervals.append((start_s, end_s))

    def _watch_length(self, time_s: Fraction) -> None:
        while self._busy and time_s - self._busy[0][0] >= EXTENDED_WINDOW_S:
            self._busy_s -= self._busy.popleft()[1]
        if self._flashes_now():
            step = time_s - self._last_s
            self._busy.append((time_s, step))
            self._busy_s += step
            if self._busy_s > self.flashing_s:
                self.flashing_s, self.flashing_until_s = self._busy_s, time_s
        self._last_s = time_s

    def _flashes_now(self) -> bool:
        often = self._places.all.count >= EXTENDED_CHANGES
        return self._too_large(often) or self._fields.all.count.max() >= EXTENDED_CHANGES

    @property
    def flashes_lately(self) -> bool:
        """Whether there were two flashes a second at some time in the last five seconds."""
        return bool(self._busy)

    @property
    def exceeds(self) -> bool:
        """Whether its limit was exceeded up to now."""
        return bool(self._intervals)

    def finding(self) -> FlashFinding:
        """Return what was found up to now."""
        return FlashFinding(
            criterion=self.name,
            source=self._source,
            exceeds=self.exceeds,
            flashes_per_s=self.most_changes / 2,
            share=self.share,
            share_limit=self.area.limit_share,
            flashing_s=self.flashing_s,
            intervals=tuple(self._intervals),
            worst_time_s=self._worst_time_s,
            extra=self.extra,
        )


def extended_finding(rules: tuple[FlashRule, ...]) -> FlashFinding:
    """Extended flashes, by the rule that saw most of them."""
    rule = max(rules, key=lambda r: r.flashing_s)
    exceeds, until_s = rule.flashing_s >= EXTENDED_S, rule.flashing_until_s
    window = max(until_s - EXTENDED_WINDOW_S, Fraction(0)), until_s
    return rule.finding()._replace(
        criterion=EXTENDED,
        source="two or more a second in four of five seconds: IRIS, an open analyser (BSD-3)",
        exceeds=exceeds,
        intervals=(window,) if exceeds else (),
        worst_time_s=until_s if rule.flashing_s else None,
        extra=True,
    )
