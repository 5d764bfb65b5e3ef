"""The refresh of a display, from the moments at which frames came on.

All changes of a fixed display lie on a grid of its refresh. So the grid is looked for:
the coarsest one on which the changes fall as well as the camera can tell. It is found
among the peaks of the changes' spectrum |sum exp(2 pi i f t)|, and fitted by least
squares. A change that is known to a capture interval d lies off its grid by d/sqrt(12)
RMS. Frames at a rate F on a refresh R are near the grids R - F, R - 2 F ... too, but lie
off them by more, as their own unevenness comes on top; so a coarser grid is taken only
if it fits as well as the best. A display that holds every frame equally long shows a grid
of the frame rate: any whole multiple of it would look the same, and is left open.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import sqrt

import numpy as np
import numpy.typing as npt

__all__ = [
    "FITS_LIKELY",
    "USUAL_HZ",
    "Grid",
    "find_grid",
    "fit_grid",
    "multiples_of",
    "usual_refresh",
]

FloatArray = npt.NDArray[np.float64]

# Refreshes of displays in use: BT.2100's rates from 50 Hz on and those of computer displays.
USUAL_HZ = (
    *(Fraction(48), Fraction(50), Fraction(60000, 1001), Fraction(60), Fraction(72)),
    *(Fraction(75), Fraction(90), Fraction(96), Fraction(100), Fraction(120000, 1001)),
    *(Fraction(120), Fraction(144), Fraction(165), Fraction(180), Fraction(240), Fraction(360)),
)
LOWEST_HZ = 4.0
WINDOW_S = 40.0  # the spectrum is taken over this much; the fit then runs over all
OVERSAMPLING = 12  # of the time grid of the spectrum, per cycle of the highest frequency
LEAST_PEAK = 0.45  # of the spectrum; changes known to half a cycle only give 2/pi
WORST_PART = 0.02  # of the changes is left out of the RMS
FITS = 1.3  # times the RMS that the camera's interval explains: more is no grid
# The same for likely refreshes. A camera in step with the display, on the edge between two
# pictures, is off by half an interval each time: sqrt(3) times what it would be elsewhere.
FITS_LIKELY = 1.85
AS_GOOD = 1.15  # times the best grid's RMS, to be taken for the coarser grid
AS_GOOD_USUAL = 1.05  # the same for a refresh that is usual, which is looked for first
AS_EXPLAINED = 1.05  # times what the interval explains; nothing better need be looked for
LOCKED = 0.1  # of an interval: RMS that means nothing, as camera and display may run in step
NAME_WITHIN = 0.004  # a measured refresh is taken for a usual one this near, relative
LEAST_CHANGES = 6
TOLD_APART_S = 5.0
NEAR_HALF = 0.495  # refreshes in a capture interval
MIRRORED = 0.48  # refreshes in a capture interval, from which on a grid has a near mirror


@dataclass(frozen=True)
class Grid:
    """Grid of moments k/hz + phase_s on which changes fall.

    Attributes
    ----------
    hz
        Grid steps a second, on the recording's clock.
    phase_s
        Moment of step 0.
    off_s
        RMS distance of the changes from it, the worst 2 % left out.
    explained_s
        RMS distance that the camera's interval explains.
    """

    hz: float
    phase_s: float
    off_s: float
    explained_s: float

    def fits(self, times: float = FITS) -> bool:
        """Whether the changes lie on it, within `times` what the interval explains."""
        return self.off_s <= times * self.explained_s

    def steps(self, times_s: FloatArray) -> npt.NDArray[np.int64]:
        """Nearest step of each time."""
        return np.rint((times_s - self.phase_s) * self.hz).astype(np.int64)


def _fit(times: FloatArray, hz: float, phase_s: float) -> tuple[float, float]:
    """Least squares of time against step, over a growing stretch so that no step is lost."""
    period = 1 / hz
    span = times[-1] - times[0]
    reach = min(span, WINDOW_S)
    while True:
        near = times[times <= times[0] + reach]
        steps = np.rint((near - phase_s) / period)
        if np.ptp(steps) > 0:
            period, phase_s = np.polyfit(steps, near, 1)
        if reach >= span:
            return 1 / float(period), float(phase_s)
        reach = min(span, 2 * reach)


def fit_grid(times_s: FloatArray, half_widths_s: FloatArray, hz: float, interval_s: float) -> Grid:
    """Grid near `hz` that fits the times best.

    Parameters
    ----------
    times_s, half_widths_s
        (changes,) rising, and how well each is known.
    hz
        Where to start from; right to about a tenth of 1/(length of the recording).
    interval_s
        Capture interval.
    """
    length_s = min(WINDOW_S, float(times_s[-1] - times_s[0]))
    starts = [hz + part / (2 * length_s) for part in (-2, -1, 0, 1, 2)]
    named = usual_refresh(hz)
    if named is not None:
        starts.append(float(named))
    grids = [_grid_from(times_s, half_widths_s, start, interval_s) for start in starts]
    best_s = min(grid.off_s for grid in grids)
    # At twice the refresh a grid R and its mirror (capture rate - R) fit alike: the usual one
    # is meant, and the camera's clock is trusted.
    if named is not None and interval_s * hz > MIRRORED:
        grids.append(_placed(times_s, half_widths_s, float(named), interval_s))
    good = [grid for grid in grids if grid.off_s <= AS_GOOD * best_s]
    wanted_hz = hz if named is None else float(named)
    return min(good, key=lambda grid: (abs(grid.hz - wanted_hz), grid.off_s))


def _grid_from(
    times_s: FloatArray, half_widths_s: FloatArray, hz: float, interval_s: float
) -> Grid:
    placed = _placed(times_s, half_widths_s, hz, interval_s)
    hz, phase_s = _fit(times_s, hz, placed.phase_s)
    return _measured(times_s, half_widths_s, hz, phase_s, interval_s)


def _placed(times_s: FloatArray, half_widths_s: FloatArray, hz: float, interval_s: float) -> Grid:
    """Grid of just this frequency, where it lies best."""
    turns = np.exp(2j * np.pi * hz * (times_s - times_s[0]))
    phase_s = times_s[0] + float(np.angle(turns.mean())) / (2 * np.pi * hz)
    return _measured(times_s, half_widths_s, hz, phase_s, interval_s)


def _measured(
    times_s: FloatArray, half_widths_s: FloatArray, hz: float, phase_s: float, interval_s: float
) -> Grid:
    off = (times_s - phase_s) * hz
    off_s = np.sort(np.abs(off - np.rint(off)) / hz)
    kept = off_s[: max(1, int(len(off_s) * (1 - WORST_PART)))]
    rms_s = float(np.sqrt((kept**2).mean()))
    explained_s = float(np.sqrt((half_widths_s**2).mean() / 3))
    return Grid(hz, phase_s, rms_s, max(explained_s, LOCKED * interval_s))


def _peaks(times: FloatArray, highest_hz: float) -> FloatArray:
    """Frequencies at which the changes line up, rising, in hertz."""
    near = times[times <= times[0] + WINDOW_S] - times[0]
    rate = OVERSAMPLING * highest_hz
    slots = int(near[-1] * rate) + 1
    train = np.bincount(np.rint(near * rate).astype(int), minlength=slots).astype(float)
    size = 8 * (1 << (len(train) - 1).bit_length())
    size = max(size, 1 << 12)
    spectrum = np.abs(np.fft.rfft(train, size)) / len(near)
    hertz = np.fft.rfftfreq(size, 1 / rate)
    inner = spectrum[1:-1]
    top = (inner >= spectrum[:-2]) & (inner > spectrum[2:]) & (inner > LEAST_PEAK)
    found = hertz[1:-1][top]
    return np.asarray(found[(found >= LOWEST_HZ) & (found <= highest_hz)])


def find_grid(
    times_s: FloatArray,
    half_widths_s: FloatArray,
    interval_s: float,
    rate_hz: float | None = None,
) -> Grid | None:
    """Coarsest grid on which the changes lie; None if there is none up to half the capture rate.

    Parameters
    ----------
    times_s, half_widths_s
        (changes,) rising, and how well each is known.
    interval_s
        Capture interval.
    rate_hz
        The clip's frames a second, which with its whole parts is a likely grid.
    """
    if len(times_s) < LEAST_CHANGES:
        return None
    highest_hz = 0.5 / interval_s * 1.01
    grids: list[Grid] = []
    likely: list[Grid] = []
    for hz in _peaks(times_s, highest_hz):
        grid = fit_grid(times_s, half_widths_s, float(hz), interval_s)
        usual = usual_refresh(grid.hz) is not None or _part_of(rate_hz, grid.hz)
        if grid.fits(FITS_LIKELY if usual else FITS):
            (likely if usual else grids).append(grid)
    if not likely and not grids:
        return None
    return _coarsest(likely, grids, interval_s)


def _coarsest(likely: list[Grid], others: list[Grid], interval_s: float) -> Grid:
    """Coarsest likely grid that fits as well as the best, or as well as a camera lets it."""
    # a grid of half the capture rate fits whatever was filmed: it counts if nothing else does
    below = [grid for grid in likely if grid.hz * interval_s < NEAR_HALF and grid.fits()]
    if below:
        likely = [grid for grid in likely if grid.hz * interval_s < NEAR_HALF]
        others = [grid for grid in others if grid.hz * interval_s < NEAR_HALF]
    best_s, locked_s = min(grid.off_s for grid in likely + others), LOCKED * interval_s
    even_s = AS_EXPLAINED * interval_s / sqrt(12)
    for grid in likely:
        if grid.off_s <= max(AS_GOOD_USUAL * best_s, even_s):
            return grid
    fitting = [grid for grid in likely if grid.fits()]
    if fitting:
        return min(fitting, key=lambda grid: grid.off_s)
    good = [grid for grid in others if grid.off_s <= max(AS_GOOD * best_s, locked_s)]
    return good[0] if good else min(likely, key=lambda grid: grid.off_s)


def _part_of(rate_hz: float | None, hz: float) -> bool:
    """Whether a grid is the clip's rate, a half of it, a third or a quarter."""
    if rate_hz is None:
        return False
    return any(abs(rate_hz / (part * hz) - 1) <= NAME_WITHIN for part in (1, 2, 3, 4))


def usual_refresh(hz: float, seconds: float = 0.0) -> Fraction | None:
    """Usual refresh that a measured one stands for, within 0.4 %; None if none does.

    In a recording of less than five seconds 59.94 cannot be told from 60, which is meant
    more often.
    """
    told = [hz_ for hz_ in USUAL_HZ if seconds >= TOLD_APART_S or hz_.denominator == 1]
    nearest = min(told, key=lambda usual: abs(float(usual) - hz))
    return nearest if abs(float(nearest) / hz - 1) <= NAME_WITHIN else None


def multiples_of(hz: float) -> tuple[Fraction, ...]:
    """Usual refreshes that are a whole multiple of `hz`, within 0.4 %, whole hertz preferred."""
    found: list[Fraction] = []
    for usual in USUAL_HZ:
        times = round(float(usual) / hz)
        off = abs(float(usual) / (times * hz) - 1) if times else 1.0
        if off > NAME_WITHIN:
            continue
        if found and abs(float(usual / found[-1]) - 1) < 0.002:  # 59.94 beside 60
            last = float(found[-1])
            if abs(last / (round(last / hz) * hz) - 1) <= off:
                continue
            found.pop()
        found.append(usual)
    return tuple(found)
