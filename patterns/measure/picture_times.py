"""Times of a recording's pictures, where the file's clock is too coarse to tell them.

Phones write 240 pictures a second on a clock of 1/600 s, as steps of 5.00 and 3.33 ms in
turn; some containers count milliseconds. The camera ran evenly: pictures lie on a line, of
which the file tells each point to half a unit of its clock.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import lcm

import numpy as np
import numpy.typing as npt

from patterns.measure.sightings import Watched

__all__ = ["on_even_times", "picture_interval"]

FloatArray = npt.NDArray[np.float64]
COARSE = 0.05  # of the time from picture to picture, for one unit of the file's clock
WITHIN = 0.75  # of that unit, that a time may lie off the line
NANO = 10**9
FEWEST_RUNS = 8


def _points(watched: Watched) -> tuple[npt.NDArray[np.int64], FloatArray]:
    """Places in the file and times of the first and last picture of each run."""
    runs = watched.runs
    places = [p for run in runs for p in (run.first_picture, run.last_picture)]
    times = [float(t) for run in runs for t in (run.first_s, run.last_s)]
    return np.array(places, np.int64), np.array(times, np.float64)


def _counted(watched: Watched) -> tuple[FloatArray, FloatArray, float]:
    """Pictures that the camera took up to each point, the times, and the interval, seconds.

    Where the clock goes on by whole intervals more than the file has pictures, some were lost.
    """
    places, times = _points(watched)
    steps, passed = np.diff(places), np.diff(times)
    interval_s = float(np.median(passed[steps > 0] / steps[steps > 0]))
    for _ in range(2):
        at = np.concatenate([[0], np.cumsum(np.maximum(np.rint(passed / interval_s), steps))])
        interval_s = float(np.polyfit(at, times, 1)[0])
    return at, times, interval_s


def picture_interval(watched: Watched) -> float:
    """Time from picture to picture, seconds; pictures that the camera lost do not count."""
    return watched.interval_s if len(watched.runs) < FEWEST_RUNS else _counted(watched)[2]


def on_even_times(watched: Watched) -> Watched:
    """Put the times of runs on the camera's own line, where the file's clock is coarse."""
    if len(watched.runs) < FEWEST_RUNS:
        return watched
    at, times, interval_s = _counted(watched)
    unit = 1 / lcm(*(run.first_s.denominator for run in watched.runs[:64]))
    line = np.polyval(np.polyfit(at, times, 1), at)
    if unit < COARSE * interval_s or np.abs(line - times).max() > WITHIN * unit:
        return watched
    exact = [Fraction(round(float(t) * NANO), NANO) for t in line]
    runs = tuple(
        replace(
            run, first_s=first, last_s=last, halfway_s=_moved(run.halfway_s, run.first_s, first)
        )
        for run, first, last in zip(watched.runs, exact[::2], exact[1::2], strict=True)
    )
    return replace(watched, runs=runs)


def _moved(halfway_s: Fraction | None, was_s: Fraction, is_s: Fraction) -> Fraction | None:
    return None if halfway_s is None else halfway_s + is_s - was_s
