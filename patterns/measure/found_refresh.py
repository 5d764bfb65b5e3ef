"""Which refresh the holds of a recording show, and whether the camera could tell it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import sqrt

import numpy as np
import numpy.typing as npt

from patterns.measure.changes import Change
from patterns.measure.holds import Stepping
from patterns.measure.refresh import (
    FITS_LIKELY,
    Grid,
    find_grid,
    fit_grid,
    multiples_of,
    usual_refresh,
)
from patterns.timing.cadence import Display
from patterns.timing.rates import format_decimal

__all__ = ["FoundRefresh", "find_refresh", "hertz_list"]

FloatArray = npt.NDArray[np.float64]
NEAR = 0.004  # relative, to be taken for equal
SURE_GAP = 3.3  # capture intervals; changes known worse than this do not help to find a grid
MOST_OF_USUAL = 1.2  # times the usual gap, where that is longer
BETTER = 0.8  # times the RMS of another grid
WELL = 0.5  # times the RMS that changes at random would have
NEAR_MIRROR = 0.495  # refreshes in a capture interval
FAST_HZ = (Fraction(144), Fraction(165))  # that are filmed too slowly most often
CLOCK = 0.0005  # how far clocks of camera and display may lie apart, relative
# Refreshes in a capture interval, from which on a change can be put half a refresh off: then
# a grid is torn if moving it by half a step makes its RMS less than so much worse.
NEAR_TWICE = 0.48
TORN = 1.5
TORN_CHANGES = 24  # in a row that are looked at together, as clocks drift
MOST_PER_CAPTURE = 0.5002  # refreshes in a capture interval; more is slower than twice


@dataclass(frozen=True)
class FoundRefresh:
    """Finding.

    Attributes
    ----------
    refresh_hz
        Refresh that decides the holds; None if it is not known.
    source
        'given', 'holds' or ''.
    candidates
        Usual refreshes that would look the same, where the holds do not decide.
    stepping
        The refresh on the recording's clock, if it is known.
    grid
        Coarsest grid on which frames came on, or None.
    contradicts
        Whether the holds are not those of the display that was given.
    too_fast_hz
        Refresh that the camera is too slow for, or None.
    torn
        Whether the camera runs at twice the refresh and just so that frames come on between
        two refreshes as far as it can tell: then holds cannot be counted.
    doubtful_hz
        Refresh that the changes fit though no display in use has it, or though a fast one
        looks just so. A refresh R beyond half the capture rate is seen at R less the clip's
        rate, or mirrored: filmed at 240, changes at 144 Hz lie on a grid of 96 Hz.
    """

    refresh_hz: Fraction | None
    source: str
    candidates: tuple[Fraction, ...]
    stepping: Stepping | None
    grid: Grid | None
    contradicts: bool = False
    too_fast_hz: Fraction | None = None
    torn: bool = False
    doubtful_hz: float | None = None

    def fastest_followed(self, interval_s: float) -> float | None:
        """Fastest refresh, hertz, that the display may have and the camera can follow."""
        followed = (float(hz) for hz in self.candidates)
        return max((hz for hz in followed if hz * interval_s <= MOST_PER_CAPTURE), default=None)

    def finest(self, interval_s: float) -> Stepping | None:
        """Refreshes at which frames may come on: the finest there may be, if not known."""
        fastest = self.fastest_followed(interval_s)
        if self.stepping is not None or self.torn or self.grid is None or fastest is None:
            return self.stepping
        multiple = round(fastest / self.grid.hz)
        return _stepping(self.grid, multiple) if multiple else None


def hertz_list(values: Sequence[Fraction]) -> str:
    """'60, 90 or 120 Hz'."""
    words = [format_decimal(value, 2) for value in values]
    return f"{' or '.join([', '.join(words[:-1]), words[-1]] if len(words) > 1 else words)} Hz"


def _whole(ratio: float) -> int:
    """Whole number that a ratio stands for, 0 if none."""
    nearest = round(ratio)
    return nearest if nearest and abs(ratio / nearest - 1) <= NEAR else 0


def _stepping(grid: Grid, multiple: int = 1) -> Stepping:
    return Stepping(grid.hz * multiple, grid.phase_s)


def _on_given(
    times: FloatArray,
    half_widths: FloatArray,
    refresh_hz: float,
    interval_s: float,
) -> Grid:
    """Best grid within the error of clocks around a refresh that was given."""
    step = 0.1 / max(1.0, min(40.0, float(times[-1] - times[0])))
    tries = np.arange(refresh_hz * (1 - NEAR), refresh_hz * (1 + NEAR) + step, step)
    near = times[times <= times[0] + 40.0]
    lined = [abs(np.exp(2j * np.pi * hz * near).sum()) for hz in tries]
    return fit_grid(times, half_widths, float(tries[int(np.argmax(lined))]), interval_s)


def find_refresh(
    changes: Sequence[Change],
    rate: Fraction | None,
    display: Display | None,
    interval_s: float,
) -> FoundRefresh:
    """Find the refresh, from the holds and from what is known of the display.

    Parameters
    ----------
    changes
        All of the recording.
    rate
        The clip's frames a second.
    display
        The display, if it was given; a variable one has no fixed grid.
    interval_s
        Capture interval.
    """
    sure = _sure(changes, interval_s)
    times = np.array([c.time_s for c in sure], np.float64)
    half = np.array([c.half_width_s for c in sure], np.float64)
    given = None if display is None or display.is_variable else display.highest_hz
    fastest_hz = MOST_PER_CAPTURE / interval_s
    if given is not None and float(given) > fastest_hz:
        return FoundRefresh(None, "", (), None, None, too_fast_hz=given)
    if display is not None and display.is_variable:
        return FoundRefresh(None, "", (), None, find_grid(times, half, interval_s))
    grid = find_grid(times, half, interval_s, None if rate is None else float(rate))
    if grid is None:
        found = _without_grid(times, half, given, interval_s)
    else:
        found = _with_grid(grid, rate, given, times, half, interval_s)
    on = found.stepping or (None if found.grid is None else _stepping(found.grid))
    if on is not None and _torn(times, on, interval_s):
        return replace(found, stepping=None, torn=True)
    return found


def _sure(changes: Sequence[Change], interval_s: float) -> list[Change]:
    """Changes that help to find a grid: known well, or as well as most are.

    With black frames in between most changes fall into the dark, which is as long each time.
    """
    timed = [c for c in changes if c.time_s is not None]
    sure = [c for c in timed if c.gap_s <= SURE_GAP * interval_s]
    if 2 * len(sure) >= len(timed):
        return sure
    usual_s = float(np.median([c.gap_s for c in timed]))
    return [c for c in timed if c.gap_s <= MOST_OF_USUAL * usual_s]


def _torn(times: FloatArray, on: Stepping, interval_s: float) -> bool:
    """Whether changes lie as near to the middles between refreshes as to refreshes."""
    if on.hz * interval_s < NEAR_TWICE:
        return False
    exact = (times - on.phase_s) * on.hz
    off = np.abs(exact - np.rint(exact))
    parts = np.array_split(off, max(1, len(off) // TORN_CHANGES))
    return any(
        bool(((0.5 - part) ** 2).mean() < TORN**2 * (part**2).mean()) for part in parts if len(part)
    )


def _without_grid(
    times: FloatArray, half: FloatArray, given: Fraction | None, interval_s: float
) -> FoundRefresh:
    """Where no grid stands out: too few changes, perhaps, to find one that is not given."""
    if given is None or len(times) < 3:
        return FoundRefresh(None, "", (), None, None)
    on = _on_given(times, half, float(given), interval_s)
    if on.fits(FITS_LIKELY):
        return FoundRefresh(given, "given", (), _stepping(on), on)
    return FoundRefresh(None, "", (), None, None, contradicts=True)


def _with_grid(
    grid: Grid,
    rate: Fraction | None,
    given: Fraction | None,
    times: FloatArray,
    half: FloatArray,
    interval_s: float,
) -> FoundRefresh:
    """Where the changes lie on a grid: whether it is the display's, or only the clip's."""
    evenly_hz = None if rate is None else _even_rate(grid.hz, float(rate))
    if given is not None:
        multiple = _whole(float(given) / grid.hz)
        if multiple == 1:
            return FoundRefresh(given, "given", (), _stepping(grid), grid)
        if evenly_hz is not None and _whole(float(given) / evenly_hz):
            return _given_for_even(times, half, given, interval_s, grid)
        on = _on_given(times, half, float(given), interval_s)
        if not multiple and _rather(on, grid):
            return FoundRefresh(given, "given", (), _stepping(on), on)
    contradicts = given is not None
    if evenly_hz is not None:
        return FoundRefresh(None, "", multiples_of(evenly_hz), None, grid, contradicts)
    seconds = float(times[-1] - times[0])
    named = usual_refresh(grid.hz, seconds)
    mirror = usual_refresh(1 / interval_s - grid.hz)
    if named is None or mirror in FAST_HZ:
        return FoundRefresh(None, "", (), None, None, contradicts, doubtful_hz=grid.hz)
    return _named(named, grid, interval_s, contradicts)


def _named(named: Fraction, grid: Grid, interval_s: float, contradicts: bool) -> FoundRefresh:
    """Where the holds tell the refresh."""
    # close to half the capture rate a refresh is mixed up with its mirror beyond it
    mirrored = grid.hz * interval_s > NEAR_MIRROR and abs(grid.hz / float(named) - 1) > CLOCK
    if mirrored or float(named) > MOST_PER_CAPTURE / interval_s:
        return FoundRefresh(None, "", (), None, None, too_fast_hz=named)
    return FoundRefresh(named, "holds", (), _stepping(grid), grid, contradicts)


def _rather(given: Grid, found: Grid) -> bool:
    """Whether the given refresh explains the changes rather than the grid that was found.

    Light that pulses moves what is seen of the changes, at times to a finer grid; and changes
    that are not known well fit many a coarser one.
    """
    well = given.off_s < WELL / (given.hz * sqrt(12)) and given.fits(FITS_LIKELY)
    return well and (given.hz < found.hz or given.off_s < BETTER * found.off_s)


def _given_for_even(
    times: FloatArray, half: FloatArray, given: Fraction, interval_s: float, grid: Grid
) -> FoundRefresh:
    """Count even holds in refreshes of the display that was given."""
    multiple = _whole(float(given) / grid.hz)
    on = _on_given(times, half, float(given), interval_s)
    if on.fits(FITS_LIKELY):
        return FoundRefresh(given, "given", (), _stepping(on), on)
    if multiple:
        return FoundRefresh(given, "given", (), _stepping(grid, multiple), grid)
    return FoundRefresh(None, "", (), None, grid, contradicts=True)


def _even_rate(grid_hz: float, rate_hz: float) -> float | None:
    """Rate of an even grid: frames come on at each step, or at each so and so many.

    The holds are then even but for a few, which are too few to tell the refresh by.
    """
    if _whole(rate_hz / grid_hz):
        return grid_hz
    steps = _whole(grid_hz / rate_hz)
    return grid_hz / steps if steps else None
