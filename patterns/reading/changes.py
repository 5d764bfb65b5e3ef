"""From runs of a number to the moments at which the screen changed, and how evenly they came.

A change lies between the last picture of one frame and the first of the next; frames come evenly
if some clock, n/F + start, lies within the stretch of each (READING.md, "Evenness").
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from patterns.picture.arrays import FloatArray, IntArray
from patterns.reading.sightings import Run

SEEK_S = 1  # a jump on in the numbers that the clock does not follow by this much is a seek
MOST_LATE = 4  # frames in a row that may come after a later one, as in the order of decoding
LONGEST_PERIOD = 8  # frames, of an unevenness that repeats
LEAST_OF_EACH = 5  # frames in each place of a period
DRIFTING = 0.3  # of an interval, between phases of the camera: with wider gaps it is in step
CLOCK = 0.0012  # relative, that rates may be off: 239.76 pictures a second are called 240
WIDE = 3.3  # capture intervals that a change is known to: of a wider one little is known
LEAST_CHANGES = 5
ROUNDS = 60


@dataclass(frozen=True)
class Change:
    """A frame coming on."""

    number: int  # the frame
    time_s: float | None = None  # when, seconds on the recording's clock; None if it came on unseen
    half_width_s: float = 0.0  # `time_s` is right to this
    gap_s: float = 0.0  # from the last picture before to the first of this frame
    gap_pictures: int = 0  # unread pictures in that gap
    direct: bool = False  # whether it was seen to take over from the frame before: none between
    glimpsed: bool = False  # whether a frame between was seen all the same, if only faintly


# A stretch in which the clip was played on without a seek; the first frame was on already.
Passage = tuple[Change, ...]


def _is_seek(runs: Sequence[Run], at: int, rate: Fraction) -> bool:
    """Whether the clip was moved, on or back, when the number at `at` came.

    Back by one is a flicker. Else the numbers go on from there and show again the one that was
    left, unless they are moved once more; frames that come late are passed over later.
    """
    before, after = runs[at - 1], runs[at]
    step = after.number - before.number
    if step >= -1:
        return step / rate - (after.first_s - before.first_s) > SEEK_S
    later = after.number
    for count, run in enumerate(runs[at + 1 :], start=1):
        if run.number >= before.number:
            return run.number == before.number or count > MOST_LATE
        if run.number < later:
            return count > MOST_LATE
        later = run.number
    return any(run.number == after.number for run in runs[:at])


def _change(before: Run, run: Run) -> Change:
    gap_s = float(run.first_s - before.last_s)
    time_s, half_s = float(run.first_s + before.last_s) / 2, gap_s / 2
    if run.halfway_s is not None:
        time_s, half_s = float(run.halfway_s), float(run.halfway_within_s)
    unread = run.first_picture - before.last_picture - 1
    return Change(run.number, time_s, half_s, gap_s, unread, run.direct, run.glimpsed)


def passages(runs: Sequence[Run], rate: Fraction) -> tuple[Passage, ...]:
    """Passages of a file's runs; `rate` is the clip's, frames a second."""
    if not runs:
        return ()
    groups = [[Change(runs[0].number)]]
    for at in range(1, len(runs)):
        if _is_seek(runs, at, rate):
            groups.append([Change(runs[at].number)])
        else:
            groups[-1].append(_change(runs[at - 1], runs[at]))
    return tuple(map(tuple, groups))


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


def stretches_of(passages: Sequence[Passage], interval_s: float) -> Stretches:
    """When each frame came on at the earliest and the latest; first frames of passages left out."""
    rows = [
        (c.number, index, c.time_s - c.half_width_s, c.time_s + c.half_width_s)
        for index, passage in enumerate(passages)
        for c in passage
        if c.time_s is not None
    ]
    numbers, passage, lows_s, highs_s = np.array(rows, np.float64).reshape(-1, 4).T
    return Stretches(numbers, passage.astype(np.int64), lows_s, highs_s, interval_s)


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
        low, high = (1 - CLOCK) / rate_hz, (1 + CLOCK) / rate_hz
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
