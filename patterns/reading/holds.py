"""When each frame of a recording came on, how long it was held, and which never came.

A change lies between the last picture of one frame and the first of the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import numpy as np

from patterns.reading.clocks import RefreshGrid, Stretches
from patterns.reading.hold_cadence import HeldFrame
from patterns.reading.sightings import Run

SEEK_S = 1  # a jump on in the numbers that the clock does not follow by this much is a seek
MOST_LATE = 4  # frames in a row that may come after a later one, as in the order of decoding
SURE_WITHIN = 0.38  # of a refresh; a change at twice the refresh is known to a quarter
UNREAD_SLACK = 0.5  # of a capture interval, for a change in whose middle pictures are unread
STEP_SLACK = 0.15  # of a refresh, by which a change may be seen early or late
AT_ENDS = 4  # frames; of those nothing is known where frames came out of order
JITTER = 0.15  # of a capture interval, by which a camera's pictures may be early or late


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
class Held:
    """Holds and losses of a recording."""

    frames: tuple[HeldFrame, ...]  # frames with a known hold, in the order of the recording
    dropped: tuple[int, ...]  # numbers that were never on screen
    unseen: tuple[int, ...]  # of which it cannot be known: unread for as long as one takes
    out_of_order: tuple[int, ...]  # numbers that came after a later one


def _could_hide(
    change: Change, grid: RefreshGrid | None, shortest_s: float, interval_s: float
) -> bool:
    """Whether a frame held for `shortest_s` could lie in the gap before a change, unread."""
    if change.glimpsed or change.direct:
        return change.glimpsed
    if grid is not None and change.time_s is not None:
        # a frame between would have come at one refresh and gone at a later one
        reach_s = change.half_width_s + max(UNREAD_SLACK * interval_s, STEP_SLACK / grid.hz)
        low_s, high_s = change.time_s - reach_s, change.time_s + reach_s
        if all(len(grid.steps(low_s, high_s, place)) < 2 for place in grid.places):
            return False
    # one fewer than a frame has on average, as the camera's own jitter may cost one
    pictures = max(1, int(shortest_s / interval_s - 0.6))
    return change.gap_pictures >= pictures or change.gap_s > (pictures + 0.6) * interval_s


def _step(change: Change, grid: RefreshGrid, place: float, interval_s: float) -> int | None:
    """Refresh of a change, if only one can be meant where the grid lies at `place`."""
    if change.time_s is None:
        return None
    # pictures were unread because it went on meanwhile: then the last one before may be late
    slack_s = (UNREAD_SLACK if change.gap_pictures else JITTER) * interval_s
    reach_s = change.half_width_s + slack_s
    inside = grid.steps(change.time_s - reach_s, change.time_s + reach_s, place)
    if len(inside) == 1:
        return inside[0]
    exact = change.time_s * grid.hz - place
    nearest = round(exact)
    return nearest if not inside and abs(exact - nearest) <= SURE_WITHIN else None


def _refreshes(
    change: Change, after: Change, grid: RefreshGrid, interval_s: float
) -> tuple[int | None, int | None]:
    """First refresh of a frame, and how many it was held, if wherever the grid lies they agree."""
    ends = [
        (_step(change, grid, place, interval_s), _step(after, grid, place, interval_s))
        for place in grid.places
    ]
    counts = {None if a is None or b is None else b - a for a, b in ends}
    return (ends[0][0], counts.pop()) if len(counts) == 1 else (None, None)


def _frames_of(
    passage: Passage, index: int, grid: RefreshGrid | None, doubtful: set[int], interval_s: float
) -> list[HeldFrame]:
    """Frames whose start and end are known; `doubtful` places have an unseen frame before."""
    frames = []
    for place, (change, after) in enumerate(pairwise(passage)):
        if change.time_s is None or after.time_s is None:
            continue
        if place in doubtful or place + 1 in doubtful:
            continue
        hold_s = after.time_s - change.time_s
        step = refreshes = None
        if grid is not None:
            step, refreshes = _refreshes(change, after, grid, interval_s)
        within_s = change.half_width_s + after.half_width_s
        frames.append(
            HeldFrame(change.number, change.time_s, hold_s, refreshes, step, None, index, within_s)
        )
    return frames


def hold_frames(
    passages: Sequence[Passage],
    grid: RefreshGrid | None,
    gaps_on: RefreshGrid | None,
    shortest_s: float,
    usual_s: float,
    interval_s: float,
) -> Held:
    """Holds of the frames of all passages.

    `passages`: stretches without a seek.
    `grid`, `gaps_on`: the display's refresh, if it is known; the finest that it may have, to know
    what could hide in a gap.
    `shortest_s`: for which a frame can be on screen: a refresh, the shortest that the camera can
    follow if it is not known; `usual_s`: for which frames are, as far as is known.
    `interval_s`: capture interval.
    """
    frames: list[HeldFrame] = []
    dropped, unseen, backward = list[int](), list[int](), list[int]()
    for index, passage in enumerate(passages):
        doubtful: set[int] = set()
        latest = passage[0].number
        lost, late = len(dropped), len(backward)
        shown = {change.number for change in passage}
        for place, (before, change) in enumerate(pairwise(passage), start=1):
            if change.number < before.number:
                backward.append(change.number)
                continue
            missing = [n for n in range(latest + 1, change.number) if n not in shown]
            latest = max(latest, change.number)
            hides = bool(missing) and _could_hide(change, gaps_on, shortest_s, interval_s)
            (unseen if hides else dropped).extend(missing)
            # a change right to more than a refresh gives neither hold beside it
            if hides or change.half_width_s > usual_s:
                doubtful.add(place)
        if len(backward) > late:
            # frames out of order may have come before the film began, or come after its end
            first, last = passage[0].number, latest
            ends = {n for n in dropped[lost:] if n <= first + AT_ENDS or n >= last - AT_ENDS}
            unseen += sorted(ends)
            dropped = [n for n in dropped if n not in ends]
        frames += _frames_of(passage, index, grid, doubtful, interval_s)
    return Held(tuple(frames), tuple(dropped), tuple(unseen), tuple(backward))
