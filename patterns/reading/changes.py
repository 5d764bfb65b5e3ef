"""From runs of a number to the moments at which the screen changed, and what was missed.

A recording sees a frame come on some time between the last picture that shows another
and the first that shows it; the middle of the two is right to half of that gap. A picture
that shows both in about equal parts tells it better: then it is under way. Where
pictures between were unread for so long that a whole frame could hide in the gap, what
is missing is `unseen`, not dropped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from patterns.picture.arrays import FloatArray, IntArray
from patterns.reading.watched import Run

__all__ = ["Change", "Passage", "Stretches", "passages", "stretches_of"]

SEEK_S = 1  # a jump on in the numbers that the clock does not follow by this much is a seek
MOST_LATE = 4  # frames in a row that may come after a later one, as in the order of decoding


@dataclass(frozen=True)
class Change:
    """A frame coming on.

    Attributes
    ----------
    number
        The frame.
    time_s
        When, seconds on the recording's clock; None if it came on unseen.
    half_width_s
        `time_s` is right to this.
    gap_s
        From the last picture before to the first of this frame.
    gap_pictures
        Unread pictures in that gap.
    direct
        Whether it was seen to take over from the frame before, so that none was between.
    glimpsed
        Whether a frame between was seen all the same, if only faintly.
    """

    number: int
    time_s: float | None
    half_width_s: float
    gap_s: float
    gap_pictures: int
    direct: bool = False
    glimpsed: bool = False


@dataclass(frozen=True)
class Passage:
    """A stretch in which the clip was played on without a seek.

    Attributes
    ----------
    changes
        In order; the first one's time is None, it was on already.
    """

    changes: tuple[Change, ...]


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


def _change(before: Run | None, run: Run) -> Change:
    if before is None:
        return Change(run.number, None, 0.0, 0.0, 0)
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
    groups: list[list[Change]] = [[_change(None, runs[0])]]
    for at in range(1, len(runs)):
        if _is_seek(runs, at, rate):
            groups.append([_change(None, runs[at])])
        else:
            groups[-1].append(_change(runs[at - 1], runs[at]))
    return tuple(Passage(tuple(group)) for group in groups)


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
        for c in passage.changes
        if c.time_s is not None
    ]
    table = np.array(rows, np.float64).reshape(-1, 4)
    return Stretches(
        table[:, 0], table[:, 1].astype(np.int64), table[:, 2], table[:, 3], interval_s
    )
