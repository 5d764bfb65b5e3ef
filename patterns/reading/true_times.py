"""Times of a recording's pictures in true seconds, where its file says something else.

Phones store slow motion on a timeline of 30 pictures a second, with the true rate in a tag or in
none, and write times on a coarse clock, though the camera ran evenly: pictures lie on a line.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import lcm

import numpy as np

from patterns.picture.arrays import FloatArray, IndexArray
from patterns.reading.clip_file import clip_steps
from patterns.reading.sightings import Watched
from patterns.timing.rates import format_decimal

SAME_RATE = Fraction(1, 50)  # a capture rate this near the file's own adds nothing to its times
SLOWER = 1.8  # times too slow, from which on slow motion is thought of
AGREES = 0.1
USUAL_HZ = (100, 120, 200, 240, 400, 480, 500, 960, 1000)  # that cameras take slow motion at
USUAL_WITHIN = 0.03
FASTEST_TIMELINE_HZ = 61
COARSE = 0.05  # of the time from picture to picture, for one unit of the file's clock
MOST_COARSE = 0.45  # of it: beyond, times do not show whether the camera lost pictures
WITHIN = 0.75  # of that unit, that a time may lie off the line
NANO = 10**9
FEWEST_RUNS = 8
SURELY_WHOLE = 0.48  # of an interval, that times may lie off the line where no picture was lost
MOST_LOST = 0.15  # of the pictures
BEAT = 0.2  # of a beat over the whole recording, between the paces that are tried
LINE = 0.6  # of the highest line, that another may be the pace
# Pictures lost in a run on average, that need no look; and how much their number must vary: lost
# by chance it varies by as much as its mean.
FEW_LOST, BY_CHANCE = 0.25, 0.4


@dataclass(frozen=True)
class TrueTime:
    """True seconds in a second of the file, and what to say of it."""

    scale: Fraction = Fraction(1)
    warnings: tuple[str, ...] = ()


def true_time(
    watched: Watched,
    timeline_hz: Fraction | None,
    given_hz: Fraction | None,
    tag_hz: Fraction | None,
) -> TrueTime:
    """Find the scale of time: as given, from the maker's tag, or from the strip's own rate.

    `watched`: what the strips said, in the file's seconds.
    Pictures a second: `timeline_hz` of the file; `given_hz`, `tag_hz` as it was taken, by the user
    and by the file's tag.
    """
    if timeline_hz is None:
        return TrueTime()
    if given_hz is not None:
        near = abs(given_hz / timeline_hz - 1) <= SAME_RATE
        return TrueTime() if near else TrueTime(timeline_hz / given_hz)
    slower = _times_too_slow(watched)
    tagged = tag_hz is not None and tag_hz > SLOWER * timeline_hz
    if tag_hz is not None and tagged and not (slower and abs(slower - 1) < AGREES):
        said = f"Times are true: the file's tag says it was taken at {format_decimal(tag_hz)}"
        return TrueTime(
            timeline_hz / tag_hz, (f"{said} pictures a second (--capture-rate overrides it).",)
        )
    return TrueTime() if slower is None or slower < SLOWER else _inferred(slower, timeline_hz)


def _inferred(slower: float, timeline_hz: Fraction) -> TrueTime:
    taken_hz = slower * float(timeline_hz)
    usual = min(USUAL_HZ, key=lambda hz: abs(hz / taken_hz - 1))
    counts = f"The strip counts {slower:.1f} times too slowly"
    if timeline_hz <= FASTEST_TIMELINE_HZ and abs(usual / taken_hz - 1) <= USUAL_WITHIN:
        taken = f"taken for slow motion at {usual} pictures a second, and times are given so."
        return TrueTime(
            timeline_hz / usual, (f"{counts}: {taken} If that is not so, give --capture-rate.",)
        )
    either = "either the screen played it so, or the file stores slow motion and all times are"
    return TrueTime(warnings=(f"{counts}: {either} as much too long. Give --capture-rate.",))


def _times_too_slow(watched: Watched) -> float | None:
    begun = watched.runs[1:]  # when the first frame came was not filmed
    if watched.identity is None or len(begun) < FEWEST_RUNS:
        return None
    found = clip_steps(begun, watched.identity.rate, None, watched.interval_s)
    return 1 / found.speed if found.speed else None


def _counted(watched: Watched) -> tuple[FloatArray, FloatArray, float]:
    """Pictures taken up to each run's first and last, their times, and the interval, seconds.

    The pace is one at which all times beat, a high line of their spectrum. Not all pictures may
    be in the file, so that it lies at the mean pace or above. On a coarse clock lines beside the
    true one can be higher; at their pace the camera would have lost as many pictures in each
    frame as in the next. On a clock too coarse for that the mean pace stands.
    """
    runs = watched.runs
    places = np.array([p for run in runs for p in (run.first_picture, run.last_picture)], np.int64)
    times = np.array([t for run in runs for t in (run.first_s, run.last_s)], np.float64)
    line = np.polyfit(places, times, 1)
    near = np.abs(np.polyval(line, places) - times).max() < SURELY_WHOLE * line[0]
    if near or _unit_s(watched) > MOST_COARSE * line[0]:
        return (places - places[0]).astype(np.float64), times, float(line[0])
    since, mean_hz = times - times[0], 1 / float(line[0])
    tried_hz = np.arange(0.998, 1 + MOST_LOST, BEAT / (mean_hz * since[-1])) * mean_hz
    beats = np.array([np.exp(2j * np.pi * hz * since).sum() for hz in tried_hz])
    strength = np.abs(beats)
    high = np.flatnonzero(strength >= LINE * strength.max())
    high = high[np.argsort(-strength[high], kind="stable")]
    taken = [np.rint(since * tried_hz[line] - np.angle(beats[line]) / (2 * np.pi)) for line in high]
    at = next((counts for counts in taken if _lost_by_chance(counts, places)), taken[0])
    return at - at[0], times, float(np.polyfit(at, times, 1)[0])


def _lost_by_chance(at: FloatArray, places: IndexArray) -> bool:
    """Whether pictures that are not in the file are spread over the runs as chance spreads them."""
    lost = np.diff(at - places)[::2]  # within each run
    return bool(lost.mean() < FEW_LOST or lost.var() > BY_CHANCE * lost.mean())


def _unit_s(watched: Watched) -> Fraction:
    """Unit of the file's clock, seconds."""
    return Fraction(1, lcm(*(run.first_s.denominator for run in watched.runs[:64])))


def on_even_times(watched: Watched) -> tuple[Watched, float]:
    """Put the times of runs on the camera's own line, where the file's clock is coarse.

    Returned with the time from picture to picture, seconds: those the camera lost do not count.
    """
    if len(watched.runs) < FEWEST_RUNS:
        return watched, watched.interval_s
    at, times, interval_s = _counted(watched)
    unit = _unit_s(watched)
    line = np.polyval(np.polyfit(at, times, 1), at)
    if unit < COARSE * interval_s or np.abs(line - times).max() > WITHIN * unit:
        return watched, interval_s
    exact = [Fraction(round(float(t) * NANO), NANO) for t in line]
    runs = []
    for run, first_s, last_s in zip(watched.runs, exact[::2], exact[1::2], strict=True):
        halfway_s = None if run.halfway_s is None else run.halfway_s + first_s - run.first_s
        runs.append(run._replace(first_s=first_s, last_s=last_s, halfway_s=halfway_s))
    return watched._replace(runs=tuple(runs)), interval_s
