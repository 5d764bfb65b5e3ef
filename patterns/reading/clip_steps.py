"""Where a file's frame numbers go on, jump back or are cut, and how fast they count.

An editor joins pieces, a loop begins again, a cut leaves frames out: each is a step of the
number that the time between does not explain. Speed is what the numbers do *between* such
steps; from the first to the last number of a file it would be no speed of anything.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from statistics import median

from patterns.reading.watched import Run

REORDERED_RUNS = 6  # after a step back, within which pictures in the wrong order catch up
WINDOW = 12  # steps over which a slope is taken: the rhythm of a conversion evens out
CUT = 1.5  # frames or pictures that a step must be ahead of its time to be a cut
LEAST_SPEED = 0.002  # change of speed that can be seen where frames repeat
SINGLE_STEPS = 0.8  # share of steps by one frame in one picture, from which a file counts evenly


@dataclass(frozen=True)
class ClipSteps:
    """Numbers of a file in order."""

    # runs that go on from one another, parted where the number steps back or was cut
    passages: tuple[tuple[Run, ...], ...]
    # back, cuts: how many of the partings are steps back and cuts
    back: int
    cuts: int
    reversed: bool  # whether the numbers run backwards
    # frames a second over those claimed, from the steps within passages; None if unknown
    speed: float | None


def clip_steps(
    runs: Sequence[Run], rate: Fraction | None, file_rate: Fraction | None, interval_s: float
) -> ClipSteps:
    """Part the runs and find the speed.

    `runs`: of one clip, in the order of the file.
    `rate`: frames a second that the strip claims; None if unknown.
    `file_rate`: exact pictures a second; None if they are not evenly timed.
    `interval_s`: mean time from picture to picture.
    """
    turns = [after.number < before.number for before, after in pairwise(runs)]
    if len(turns) > REORDERED_RUNS and sum(turns) > SINGLE_STEPS * len(turns):
        return ClipSteps((tuple(runs),), 0, 0, True, None)
    forward = _parted_back(runs)
    usual, back = _usual_rate(forward), max(0, len(forward) - 1)
    if usual is None:
        return ClipSteps(tuple(forward), back, 0, False, None)
    allowed_s = CUT * max(1 / usual, interval_s)
    passages = [part for passage in forward for part in _parted_at_cuts(passage, usual, allowed_s)]
    speed = None if rate is None else _speed(passages, rate, file_rate, interval_s)
    return ClipSteps(tuple(passages), back, len(passages) - len(forward), False, speed)


def _parted_back(runs: Sequence[Run]) -> list[tuple[Run, ...]]:
    """Parts that begin where the number steps back and does not soon catch up."""
    parts: list[list[Run]] = []
    latest = -1
    for place, run in enumerate(runs):
        soon = runs[place + 1 : place + 1 + REORDERED_RUNS]
        if not parts or (run.number < latest and all(r.number <= latest for r in soon)):
            parts.append([])
            latest = run.number
        parts[-1].append(run)
        latest = max(latest, run.number)
    return [tuple(part) for part in parts]


def _usual_rate(passages: Sequence[Sequence[Run]]) -> float | None:
    """Frames a second, the median over stretches of a few steps; None if there is none."""
    slopes = []
    for passage in passages:
        reach = min(WINDOW, len(passage) - 1)
        for a, b in zip(passage, passage[reach:], strict=False):
            if b.first_s > a.first_s and b.number > a.number:
                slopes.append((b.number - a.number) / float(b.first_s - a.first_s))
    return median(slopes) if slopes else None


def _parted_at_cuts(
    passage: tuple[Run, ...], usual: float, allowed_s: float
) -> list[tuple[Run, ...]]:
    """Parts between steps that are ahead of their time by more than is allowed."""
    starts = [0]
    for place, (a, b) in enumerate(pairwise(passage), start=1):
        if (b.number - a.number) / usual - float(b.first_s - a.first_s) > allowed_s:
            starts.append(place)
    return [passage[start:end] for start, end in pairwise([*starts, len(passage)])]


def _speed(
    passages: Sequence[Sequence[Run]], rate: Fraction, file_rate: Fraction | None, interval_s: float
) -> float | None:
    """Return 1 where it is less than a picture away; the file's rate where it counts evenly."""
    steps = [pair for passage in passages for pair in pairwise(passage)]
    frames = sum(after.number - before.number for before, after in steps)
    passed_s = float(sum(after.first_s - before.first_s for before, after in steps))
    if passed_s <= 0 or frames <= 0:
        return None
    even = file_rate is not None and float(file_rate / rate)
    single = sum(
        after.number - before.number == after.first_picture - before.first_picture == 1
        for before, after in steps
    )
    if even and single == len(steps):
        return even
    speed = frames / passed_s / float(rate)
    # either end may lie a hold's unevenness off: a screen's, or at least a picture's
    held_s = sorted(float(b.first_s - a.first_s) for a, b in steps if b.number - a.number == 1)
    uneven_s = held_s[len(held_s) * 9 // 10] - held_s[len(held_s) // 10] if held_s else 0.0
    if abs(speed - 1) <= max(LEAST_SPEED, 1.5 * max(interval_s, uneven_s) / passed_s):
        return 1.0
    return even if even and single >= SINGLE_STEPS * len(steps) else speed
