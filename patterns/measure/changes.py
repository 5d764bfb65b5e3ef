"""From runs of a number to the moments at which the screen changed, and what was missed.

A recording sees a frame come on some time between the last picture that shows another
and the first that shows it; the middle of the two is right to half of that gap. A picture
that shows both in about equal parts tells it better: then it is under way. Where
pictures between were unread for so long that a whole frame could hide in the gap, what
is missing is `unseen`, not dropped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from patterns.measure.sightings import Run

__all__ = ["Change", "Passage", "passages"]

SEEK_S = 1  # a jump in the numbers that the clock does not follow by this much is a seek


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


def _is_seek(before: Run, after: Run, rate: Fraction) -> bool:
    """Whether the number jumps by more than the time that passed explains."""
    step_s = (after.number - before.number) / rate
    passed_s = after.first_s - before.first_s
    if step_s < 0:
        return -step_s > SEEK_S
    return step_s - passed_s > SEEK_S


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
    for before, run in pairwise(runs):
        if _is_seek(before, run, rate):
            groups.append([_change(None, run)])
        else:
            groups[-1].append(_change(before, run))
    return tuple(Passage(tuple(group)) for group in groups)
