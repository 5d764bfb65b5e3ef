"""The refresh of a display, from the stretches of time within which frames came on.

A refresh is possible if its grid, at some place, meets the stretches: how many it meets at best
is a count of overlapping intervals on a circle.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

import numpy as np

from patterns.picture.arrays import FloatArray, IntArray
from patterns.reading.changes import Stretches

# Refreshes of displays in use: BT.2100's rates from 50 Hz on and those of computer displays.
USUAL_HZ = (
    *(Fraction(48), Fraction(50), Fraction(60000, 1001), Fraction(60), Fraction(72)),
    *(Fraction(75), Fraction(90), Fraction(96), Fraction(100), Fraction(120000, 1001)),
    *(Fraction(120), Fraction(144), Fraction(165), Fraction(180), Fraction(240), Fraction(360)),
)
NEAR = 0.002  # relative, that a display's refresh may lie off its name, or clocks apart
NAME_WITHIN = 0.004  # a measured refresh is taken for a usual one this near, relative
FIRST_WINDOW_S = 8.0  # a grid is first looked for over so much, then over twice as much each time
DRIFT = 0.2  # of a refresh, by which neighbouring trials drift apart over a window
FINER, MOST_TRIES = 16, 48  # trials in such a step in the end, and how many at most
MISSED = 0.015  # of the changes may be seen wrongly, and one more
MOST_PLACES = 6  # at which a grid may lie, kept to see whether all of them count alike
LATER = 24  # pictures, by which changes are moved to see whether the grid then misses them
ALL_BLIND = 0.97  # stretches as long as a refresh meet any grid
SLOW_SLIP = 0.01  # refreshes a frame off a whole number
STRETCH = 16  # frames over which a cadence is compared: between stretches it may slip or stall


@dataclass(frozen=True)
class RefreshGrid:
    """Moments (k + place)/hz at which a display may have changed."""

    hz: float  # refreshes a second, on the recording's clock; between `lowest_hz` and `highest_hz`
    lowest_hz: float
    highest_hz: float
    places: tuple[float, ...]  # where it may lie, in refreshes, 0 to 1: the best one first
    missed: int  # changes that do not meet it
    changes: int  # all
    # share of changes that would meet it too if they came any pictures later: 1 where stretches are
    # as long as a refresh, or a camera at just twice the refresh is in step
    blind: float

    @property
    def fits(self) -> bool:
        """Whether all but a few changes meet it."""
        return self.missed <= _allowed(self.changes)

    def names(self, clock: float) -> tuple[Fraction, ...]:
        """Usual refreshes that it may be, clocks being right to `clock`, relative."""
        low, high = self.lowest_hz * (1 - clock), self.highest_hz * (1 + clock)
        near = [hz for hz in USUAL_HZ if low <= float(hz) <= high]
        nearest = usual_refresh(self.hz)
        return tuple(near) or (() if nearest is None else (nearest,))

    def steps(self, low_s: float, high_s: float, place: float) -> range:
        """Refreshes that begin within a stretch."""
        first, last = ceil(low_s * self.hz - place), floor(high_s * self.hz - place)
        return range(first, last + 1)


def _met(lows: FloatArray, highs: FloatArray, at: FloatArray) -> IntArray:
    """How many of the arcs from `lows` to `highs` (turns, less than one long) hold each place."""
    starts = np.sort(lows % 1)
    ends = np.sort(lows % 1 + np.minimum(highs - lows, 1.0))
    begun = np.searchsorted(starts, at, "right") - np.searchsorted(ends, at, "left")
    return np.asarray(begun + len(ends) - np.searchsorted(ends, at + 1, "left"), np.int64)


def _most(lows_s: FloatArray, highs_s: FloatArray, tries: FloatArray, slack: float) -> FloatArray:
    """How many stretches, longer by `slack` refreshes at each end, each frequency meets at best."""
    counts = []
    for hz in tries:
        lows = lows_s * hz - slack
        counts.append(_met(lows, highs_s * hz + slack, lows % 1).max())
    return np.array(counts, np.float64)


def _allowed(changes: int) -> int:
    return 1 + int(MISSED * changes)


def fit_grid(seen: Stretches, refresh_hz: float) -> RefreshGrid:
    """Grid within 0.2 % of a refresh that most changes meet; `seen` has at least one."""
    lows, highs = seen.lows_s, seen.highs_s
    lowest, highest = refresh_hz * (1 - NEAR), refresh_hz * (1 + NEAR)
    blind = float(np.minimum((highs - lows) * refresh_hz, 1).mean())
    if blind > ALL_BLIND:
        places = tuple(np.arange(MOST_PLACES) / MOST_PLACES)
        return RefreshGrid(refresh_hz, lowest, highest, places, 0, len(lows), blind)
    span_s, reach_s = max(float(lows[-1] - lows[0]), 0.1), FIRST_WINDOW_S
    while True:
        near = lows <= lows[0] + reach_s
        step = DRIFT / min(reach_s, span_s)
        tries = np.arange(lowest, highest + step, step)
        met = _most(lows[near], highs[near], tries, DRIFT / 2)
        good = tries[met >= met.max() - _allowed(int(near.sum())) // 2]
        lowest, highest = float(good[0] - step / 2), float(good[-1] + step / 2)
        missed = int(near.sum() - met.max())
        if missed > _allowed(len(lows)):
            return RefreshGrid(refresh_hz, lowest, highest, (0.0,), missed, len(lows), 1.0)
        if reach_s >= span_s:
            break
        reach_s *= 2
    finer = ceil((highest - lowest) / step * FINER)
    tries = np.linspace(lowest, highest, min(MOST_TRIES, 1 + finer))
    met = _most(lows, highs, tries, 0.0)
    good = tries[met >= met.max() - _allowed(len(lows)) // 2]
    best = tries[met == met.max()]
    hz, lowest, highest = float(best[len(best) // 2]), float(good[0]), float(good[-1])
    places, most = _places(lows * hz, highs * hz)
    later = seen.interval_s * np.arange(1, LATER + 1)
    ahead = (places[0] - (lows[:, None] + later) * hz) % 1
    blind = float((ahead <= (highs - lows)[:, None] * hz).mean())
    return RefreshGrid(hz, lowest, highest, places, len(lows) - most, len(lows), blind)


def _places(lows: FloatArray, highs: FloatArray) -> tuple[tuple[float, ...], int]:
    """Where a grid of one step may lie, the middle of the best arc first, and how many it meets."""
    edges = np.unique(np.concatenate([lows % 1, highs % 1, [0.0, 1.0]]))
    middles, widths = (edges[1:] + edges[:-1]) / 2, np.diff(edges)
    met = _met(lows, highs, middles)
    good = np.flatnonzero(met >= met.max() - _allowed(len(lows)) // 2)
    order = good[np.lexsort((-widths[good], -met[good]))]
    spread = np.linspace(0, len(good) - 1, min(len(good), MOST_PLACES)).astype(int)
    chosen = [int(order[0]), *(int(good[i]) for i in spread)]
    return tuple(float(middles[i]) for i in dict.fromkeys(chosen)), int(met.max())


def follows_cadence(seen: Stretches, grid: RefreshGrid, rate_hz: float) -> int:
    """Changes that do not come at ceil(n R/F - psi), stretch by stretch, at the best psi.

    Frame n may have come at refresh k if n R/F - k <= psi < n R/F - k + 1.
    """
    return min(_off(seen, grid.hz, place, grid.hz / rate_hz) for place in grid.places)


def _off(seen: Stretches, hz: float, place: float, ratio: float) -> int:
    first = np.ceil(seen.lows_s * hz - place - 1e-9)
    last = np.floor(seen.highs_s * hz - place + 1e-9)
    off = 0
    for passage in np.unique(seen.passages):
        own = np.flatnonzero(seen.passages == passage)
        for part in np.array_split(own, max(1, len(own) // STRETCH)):
            on = part[first[part] <= last[part]]
            lows = seen.numbers[on] * ratio - last[on]
            highs = seen.numbers[on] * ratio - first[on] + 1
            held = (lows[None] <= lows[:, None] + 1e-6) & (lows[:, None] < highs[None] - 1e-6)
            off += len(part) - (int(held.sum(axis=1).max()) if len(on) else 0)
    return off


def slips(seen: Stretches, grid: RefreshGrid, rate_hz: float) -> int | None:
    """How often changes step away from an even cadence; None where the grid has none at the rate.

    `seen`: at least one change; `rate_hz`: frame numbers a second as they were played.
    """
    ratio = grid.hz / rate_hz
    even = round(ratio)
    if even < 1 or abs(ratio - even) > NEAR * ratio + SLOW_SLIP:
        return None
    middles = (seen.lows_s + seen.highs_s) / 2 * grid.hz - grid.places[0]
    late = np.rint(middles) - seen.numbers * even
    return int(((np.diff(late) != 0) & (np.diff(seen.passages) == 0)).sum())


def usual_refresh(hz: float) -> Fraction | None:
    """Usual refresh that a measured one stands for, within 0.4 %; None if none does."""
    nearest = min(USUAL_HZ, key=lambda usual: abs(float(usual) - hz))
    return nearest if abs(float(nearest) / hz - 1) <= NAME_WITHIN else None
