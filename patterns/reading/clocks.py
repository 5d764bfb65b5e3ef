"""Clocks that the changes of a recording fit: a display's refresh, and an even one of frames.

Each frame came on within a stretch of time. A refresh is possible if its grid, at some place,
meets the stretches: how many it meets at best is a count of overlapping intervals on a circle.
Frames came evenly if some clock, n/F + start, lies in all of them (READING.md, "Evenness").
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor

import numpy as np

from patterns.picture.arrays import FloatArray, IntArray

# Refreshes of displays in use: BT.2100's rates from 50 Hz on and those of computer displays.
USUAL_HZ = (
    *(Fraction(48), Fraction(50), Fraction(60000, 1001), Fraction(60), Fraction(72)),
    *(Fraction(75), Fraction(90), Fraction(96), Fraction(100), Fraction(120000, 1001)),
    *(Fraction(120), Fraction(144), Fraction(165), Fraction(180), Fraction(240), Fraction(360)),
)
APART = 1.5e-4  # how far clocks of camera and display lie apart, relative
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
# Of an even clock of frames:
LONGEST_PERIOD = 8  # frames, of an unevenness that repeats
LEAST_OF_EACH = 5  # frames in each place of a period
DRIFTING = 0.3  # of an interval, between phases of the camera: with wider gaps it is in step
RATE_WITHIN = 0.0012  # relative, that rates may be off: 239.76 pictures a second are called 240
WIDE = 3.3  # capture intervals that a change is known to: of a wider one little is known
LEAST_CHANGES = 5  # in a passage that is judged
ROUNDS = 60  # of a search, each of which leaves two thirds of a range


@dataclass(frozen=True)
class Stretches:
    """Changes of a recording: numbers, passages, and when each came on, at the earliest and latest.

    Arrays (changes,); seconds on the recording's clock; `interval_s` from picture to picture.
    """

    numbers: FloatArray
    passages: IntArray
    lows_s: FloatArray
    highs_s: FloatArray
    interval_s: float

    def widened(self, share: float) -> Stretches:
        """The same if a picture's time is only known to a share of the capture interval."""
        by_s = share * self.interval_s
        return replace(self, lows_s=self.lows_s - by_s, highs_s=self.highs_s + by_s)


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

    @property
    def names(self) -> tuple[Fraction, ...]:
        """Usual refreshes that it may be, as far as the clocks are right."""
        low, high = self.lowest_hz * (1 - APART), self.highest_hz * (1 + APART)
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


@dataclass(frozen=True)
class Evenness:
    """Frames on an even clock."""

    rate_hz: float  # frame numbers a second
    needed_s: float  # how far picture times must be off for that to be so
    within_s: float  # how far apart the earliest and the latest frame may truly be, less the clock


def _left_open(numbers: FloatArray, lows: FloatArray, highs: FloatArray, step: float) -> float:
    """Latest beginning less earliest end of the stretches: 0 or less if one clock meets all."""
    return float((lows - numbers * step).max() - (highs - numbers * step).min())


def _best_step(
    numbers: FloatArray, lows: FloatArray, highs: FloatArray, rate_hz: float | None
) -> float:
    """Seconds a frame number for which a clock meets the stretches best: a convex function."""
    if rate_hz is not None:
        low, high = (1 - RATE_WITHIN) / rate_hz, (1 + RATE_WITHIN) / rate_hz
    else:
        middle = float(np.polyfit(numbers, (lows + highs) / 2, 1)[0])
        reach = float((highs - lows).max()) / max(float(np.ptp(numbers)), 1.0)
        low, high = middle - 2 * reach, middle + 2 * reach
    for _ in range(ROUNDS):
        third = (high - low) / 3
        one = _left_open(numbers, lows, highs, low + third)
        two = _left_open(numbers, lows, highs, high - third)
        low, high = (low, high - third) if one <= two else (low + third, high)
    return (low + high) / 2


def _within(places: IntArray, lows: FloatArray, highs: FloatArray, interval_s: float) -> float:
    """Unevenness that the stretches (less the clock) leave open; `places` count the changes."""
    phases = np.sort(lows / interval_s % 1)
    gap = float(np.diff(phases, append=phases[0] + 1).max())
    open_s = 2 * gap * interval_s if gap <= DRIFTING else float(highs.max() - lows.min())
    for period in range(1, LONGEST_PERIOD + 1):
        if len(lows) < LEAST_OF_EACH * period:
            break
        own = [places % period == r for r in range(period)]
        latest = max(float(highs[o].min()) for o in own if o.any())
        earliest = min(float(lows[o].max()) for o in own if o.any())
        open_s = max(open_s, latest - earliest)
    return open_s


def evenness(seen: Stretches, rate_hz: float | None) -> Evenness | None:
    """How evenly frames came on at a rate, from all passages; None if too few changes were seen.

    `rate_hz`: frame numbers a second as they were played, to 0.12 %; None if that is not known.
    """
    rates, needed, within = [], 0.0, 0.0
    # changes of which nothing was hidden; where black frames hide most, those like most
    widths = seen.highs_s - seen.lows_s
    known = widths <= max(WIDE * seen.interval_s, 1.2 * float(np.median(widths)))
    for passage in np.unique(seen.passages):
        own = (seen.passages == passage) & known
        numbers, lows, highs = seen.numbers[own], seen.lows_s[own], seen.highs_s[own]
        if len(numbers) < LEAST_CHANGES or np.ptp(numbers) == 0:
            continue
        step = _best_step(numbers, lows, highs, rate_hz)
        if step <= 0:
            return None
        short_s = max(0.0, _left_open(numbers, lows, highs, step) / 2)
        clock = numbers * step
        start = ((lows - clock).max() + (highs - clock).min()) / 2
        places = np.rint(numbers - numbers[0]).astype(np.int64)
        early, late = lows - short_s - clock - start, highs + short_s - clock - start
        open_s = _within(places, early, late, seen.interval_s)
        rates.append((len(numbers), 1 / step))
        needed, within = max(needed, short_s), max(within, open_s + 2 * short_s)
    if not rates:
        return None
    return Evenness(max(rates)[1], needed, within)
