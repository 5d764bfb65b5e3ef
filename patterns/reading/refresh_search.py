"""Which refresh changes show, and whether they came evenly (READING.md, "Naming")."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import log

import numpy as np

from patterns.reading.clocks import (
    SLOW_SLIP,
    USUAL_HZ,
    Evenness,
    RefreshGrid,
    Stretches,
    evenness,
    fit_grid,
    follows_cadence,
    slips,
)
from patterns.timing.cadence import Display

JITTERS = (0.03, 0.06, 0.09, 0.12, 0.15)  # of a capture interval, by which picture times may be off
SURELY_OFF = 0.3  # of a capture interval: more jitter than a camera has
# Refreshes in a capture interval; more is slower than twice. A camera of 119.88 follows 60 Hz.
MOST_PER_CAPTURE = 0.506
RIVALS_HZ = 165  # faster displays are not thought of unless they are given
EXPLAINED = 0.2  # of the frames may come otherwise than the cadence says
AS_WELL = 0.01  # of the frames, four, and twice the least: more is a worse explanation
SAME_TO_THE_EYE_S = 0.0035  # unevenness of a rival that does not forbid to say 'evenly'
EVEN_WITHIN_S = 0.007  # unevenness that may stay hidden where 'evenly' is said
SURE_SLIPS = 6  # each falls upon the refreshes of half the rate by chance once in two
SURE = 12.0  # log odds against a grid that meets all changes by chance
MOST_BLIND = 0.85
LEAST_CHANGES = 6


@dataclass(frozen=True)
class FoundRefresh:
    """Finding."""

    refresh_hz: Fraction | None = None  # refresh that decides the holds; None if it is not known
    source: str = ""  # 'given', 'holds' or ''
    # usual refreshes that would look the same: of even holds, or where changes do not decide; 59.94
    # beside 60 too, where the recording is too short to know
    candidates: tuple[Fraction, ...] = ()
    grid: RefreshGrid | None = None  # the refresh on the recording's clock, if it is known
    finest: RefreshGrid | None = None  # finest that there may be, as far as the camera follows
    even: Evenness | None = None  # frames on an even clock, if the changes allow it
    rivals: tuple[Fraction, ...] = ()  # that would look as even and show this rate unevenly
    uneven: bool = False  # whether no even clock meets the changes
    too_fast_hz: Fraction | None = None  # refresh that the camera is too slow for, or None

    @property
    def surely_even(self) -> bool:
        """Whether what may stay hidden is too little to matter."""
        return self.even is not None and not self.rivals and self.even.within_s <= EVEN_WITHIN_S


@dataclass(frozen=True)
class _Trial:
    """One refresh tried: its grid, and how many changes do not come as the cadence says.

    `slips` counts steps away from an even cadence; None where the cadence is not even.
    """

    hz: Fraction
    grid: RefreshGrid
    off: int
    slips: int | None = None

    @property
    def explains(self) -> bool:
        # one frame that stalls moves all after it off an even cadence, but is one step away
        off = self.off if self.slips is None else min(self.off, self.slips)
        return self.grid.fits and off <= EXPLAINED * self.grid.changes


def find_refresh(seen: Stretches, rate_hz: float | None, display: Display | None) -> FoundRefresh:
    """Find the refresh, from the changes and from what is known of the display.

    `rate_hz`: frame numbers a second as they were played, None if the strip's rate is not known.
    """
    interval_s = seen.interval_s
    given = None if display is None or display.is_variable else display.highest_hz
    if given is not None and float(given) * interval_s > MOST_PER_CAPTURE:
        return FoundRefresh(too_fast_hz=given)
    if len(seen.numbers) < LEAST_CHANGES:
        return FoundRefresh()
    smooth = evenness(seen, rate_hz)
    beyond = smooth is not None and smooth.needed_s > SURELY_OFF * interval_s
    allowed = smooth is not None and smooth.needed_s <= JITTERS[-1] * interval_s
    even = smooth if allowed else None
    if display is not None and display.is_variable:
        return FoundRefresh(even=even, uneven=beyond)
    if given is not None:
        own = _tried(seen.widened(JITTERS[-1]), given, rate_hz)
        if own.explains:
            return FoundRefresh(given, "given", (), own.grid, own.grid, even, (), even is None)
    trials, even = _least_jitter(seen, rate_hz, smooth)
    explained = [trial for trial in trials if trial.explains]
    uneven = beyond or (even is None and bool(explained))
    slower = [t for t in explained if given and t.hz < given and given % t.hz == 0]
    if given is not None and own.grid.fits and not slower:
        return FoundRefresh(given, "given", (), own.grid, own.grid, even, (), uneven)
    return replace(_from_changes(trials, even, interval_s), uneven=uneven)


def _least_jitter(
    seen: Stretches, rate_hz: float | None, smooth: Evenness | None
) -> tuple[list[_Trial], Evenness | None]:
    """Trials, and evenness, at a little more jitter than explains the changes at the least."""
    families = [hz for hz in USUAL_HZ if hz.denominator == 1]
    families = [t.hz for t in _trials(seen.widened(JITTERS[-1]), families, rate_hz)]
    for at, share in enumerate(JITTERS):
        more = JITTERS[min(at + 1, len(JITTERS) - 1)]
        even = smooth is not None and smooth.needed_s <= share * seen.interval_s
        if even or any(t.explains for t in _trials(seen.widened(share), families, rate_hz)):
            break
    if smooth is not None and smooth.needed_s > more * seen.interval_s:
        smooth = None
    return _trials(seen.widened(more), families, rate_hz), smooth


def _tried(seen: Stretches, hz: Fraction, rate_hz: float | None) -> _Trial:
    grid = fit_grid(seen, float(hz))
    if not grid.fits:
        return _Trial(hz, grid, grid.changes)
    if rate_hz is None:
        return _Trial(hz, grid, 0)
    return _Trial(hz, grid, follows_cadence(seen, grid, rate_hz), slips(seen, grid, rate_hz))


def _trials(seen: Stretches, families: Sequence[Fraction], rate_hz: float | None) -> list[_Trial]:
    tried = (_tried(seen, hz, rate_hz) for hz in families)
    return [trial for trial in tried if trial.grid.fits]


def _from_changes(trials: list[_Trial], even: Evenness | None, interval_s: float) -> FoundRefresh:
    """What the changes show of the refresh where none was given, or not the true one."""
    explaining = [trial for trial in trials if trial.explains]
    if even is not None:
        return _open_as_even(explaining, even, interval_s)
    trials = [trial for trial in trials if trial.hz <= RIVALS_HZ]
    explaining = [trial for trial in explaining if trial.hz <= RIVALS_HZ]
    if explaining:
        least = min(trial.off for trial in explaining)
        allowed = 2 * least + 4 + AS_WELL * explaining[0].grid.changes
        likely = [trial for trial in trials if trial.off <= allowed]
        return _named([*likely, *_multiples(likely, trials)], interval_s)
    followed = [t for t in trials if float(t.hz) <= MOST_PER_CAPTURE / interval_s]
    sure = [trial for trial in followed if _beyond_chance(trial.grid)]
    # what the camera can hardly follow meets any changes: then it is not ruled out either
    if sure and any((trial.hz / sure[0].hz).denominator != 1 for trial in followed):
        return FoundRefresh(candidates=tuple(trial.hz for trial in followed))
    return _named(sure[:1], interval_s) if sure else FoundRefresh()


def _multiples(likely: list[_Trial], trials: list[_Trial]) -> list[_Trial]:
    """Multiples of the one refresh that is likely, of which the changes say as much.

    Only frames that come late or stall can fall between the refreshes of the slower one.
    """
    if len(likely) != 1 or likely[0].slips is None or likely[0].slips >= SURE_SLIPS:
        return []
    hz = likely[0].hz
    return [t for t in trials if t.hz > hz and (t.hz / hz).denominator == 1]


def _beyond_chance(grid: RefreshGrid) -> bool:
    """Whether changes at random would hardly meet it, wherever it lies."""
    return grid.blind <= MOST_BLIND and -grid.changes * log(max(grid.blind, 0.01)) > SURE


def _named(likely: list[_Trial], interval_s: float) -> FoundRefresh:
    """One refresh, if one is left."""
    names = tuple(name for trial in likely for name in trial.grid.names)
    if len(likely) != 1 or not _beyond_chance(likely[0].grid):
        return FoundRefresh(candidates=names, finest=_finest(likely, interval_s))
    grid = likely[0].grid
    named = min(names, key=lambda hz: abs(float(hz) - grid.hz)) if names else likely[0].hz
    if float(likely[0].hz) * interval_s > MOST_PER_CAPTURE:
        return FoundRefresh(too_fast_hz=named)
    return FoundRefresh(named, "holds", names if len(names) > 1 else (), grid, grid)


def _finest(trials: list[_Trial], interval_s: float) -> RefreshGrid | None:
    followed = [t for t in trials if float(t.hz) * interval_s <= MOST_PER_CAPTURE]
    return followed[-1].grid if followed else None


def _open_as_even(explaining: list[_Trial], even: Evenness, interval_s: float) -> FoundRefresh:
    """Even holds: refreshes that show this rate evenly look the same, and some others nearly."""
    rivals: list[Fraction] = []
    candidates: list[Fraction] = []
    for trial in explaining:
        names = trial.grid.names
        span_s = _span_s(trial.grid.hz, even.rate_hz)
        if span_s <= SAME_TO_THE_EYE_S:
            candidates += names
        elif trial.hz <= RIVALS_HZ and span_s <= even.within_s:
            rivals += names
    finest = _finest(explaining, interval_s)
    return FoundRefresh(None, "", tuple(candidates), None, finest, even, tuple(rivals))


def _span_s(refresh_hz: float, rate_hz: float) -> float:
    """Unevenness of a rate on a refresh, seconds, slips of many seconds left out."""
    ratio = refresh_hz / rate_hz
    if abs(ratio - round(ratio)) < SLOW_SLIP:
        return 0.0
    exact = np.arange(48) * ratio
    return float(np.ptp(np.ceil(exact - 0.5) - exact)) / refresh_hz
