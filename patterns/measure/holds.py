"""How long each frame was held, and which never came, from the changes of a recording."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor

from patterns.measure.changes import Change, Passage

__all__ = ["Held", "HeldFrame", "Stepping", "hold_frames"]

SURE_WITHIN = 0.38  # of a refresh; a change at twice the refresh is known to a quarter
UNREAD_SLACK = 0.5  # of a capture interval, for a change in whose middle pictures are unread
STEP_SLACK = 0.15  # of a refresh, by which a change may be seen early or late
JITTER = 0.15  # of a capture interval, by which a camera's pictures may be early or late


@dataclass(frozen=True)
class HeldFrame:
    """A frame whose coming and going were both seen.

    Attributes
    ----------
    number
        Frame number.
    start_s
        When it came on, seconds on the file's clock; None in a photo, which has no order.
    hold_s
        How long it was held.
    refreshes
        The same in refreshes of the display, or pictures of the file; None if unknown.
    step
        Refresh, or picture, at which it came on, counted from the first; None if unknown.
    start_exact
        `start_s` as a fraction, where the file's clock gives it exactly.
    passage
        Which stretch without a seek it belongs to, from 0.
    """

    number: int
    start_s: float | None
    hold_s: float
    refreshes: int | None = None
    step: int | None = None
    start_exact: Fraction | None = None
    passage: int = 0


@dataclass(frozen=True)
class Stepping:
    """Steps of the display's refresh on the recording's clock; `hz` as the camera counts."""

    hz: float
    phase_s: float

    def step(self, time_s: float) -> int:
        """Nearest refresh."""
        return round((time_s - self.phase_s) * self.hz)

    def steps_within(self, time_s: float, half_width_s: float) -> int:
        """How many refreshes begin within a stretch."""
        exact, reach = (time_s - self.phase_s) * self.hz, half_width_s * self.hz
        return floor(exact + reach) - ceil(exact - reach) + 1

    def sure_step(self, time_s: float, half_width_s: float, slack_s: float) -> int | None:
        """Refresh of a change that is known to `half_width_s`, if only one can be meant."""
        exact = (time_s - self.phase_s) * self.hz
        reach = (half_width_s + slack_s) * self.hz
        inside = range(ceil(exact - reach), floor(exact + reach) + 1)
        if len(inside) == 1:
            return inside[0]
        nearest = round(exact)
        near = not inside and abs(exact - nearest) <= SURE_WITHIN
        return nearest if near else None


@dataclass(frozen=True)
class Held:
    """Holds and losses of a recording.

    Attributes
    ----------
    frames
        Frames with a known hold, in the order of the recording.
    dropped
        Numbers that were never on screen.
    unseen
        Numbers of which it cannot be told: pictures were unread for as long as one takes.
    out_of_order
        Numbers that came after a later one.
    """

    frames: tuple[HeldFrame, ...]
    dropped: tuple[int, ...]
    unseen: tuple[int, ...]
    out_of_order: tuple[int, ...]


def _could_hide(
    change: Change, stepping: Stepping | None, shortest_s: float, interval_s: float
) -> bool:
    """Whether a frame held for `shortest_s` could lie in the gap before a change, unread."""
    if change.glimpsed or change.direct:
        return change.glimpsed
    if stepping is not None and change.time_s is not None:
        # a frame between would have come at one refresh and gone at a later one
        slack_s = max(UNREAD_SLACK * interval_s, STEP_SLACK / stepping.hz)
        if stepping.steps_within(change.time_s, change.half_width_s + slack_s) < 2:
            return False
    # one fewer than a frame has on average, as the camera's own jitter may cost one
    pictures = max(1, int(shortest_s / interval_s - 0.6))
    return change.gap_pictures >= pictures or change.gap_s > (pictures + 0.6) * interval_s


def _step(change: Change, stepping: Stepping, interval_s: float) -> int | None:
    """Refresh of a change, if only one can be meant."""
    if change.time_s is None:
        return None
    # pictures were unread because it went on meanwhile: then the last one before may be late
    slack_s = (UNREAD_SLACK if change.gap_pictures else JITTER) * interval_s
    return stepping.sure_step(change.time_s, change.half_width_s, slack_s)


def _frames_of(
    passage: Passage,
    index: int,
    stepping: Stepping | None,
    doubtful: set[int],
    interval_s: float,
) -> list[HeldFrame]:
    """Frames whose start and end are known; `doubtful` places have an unseen frame before."""
    frames = []
    for place, (change, after) in enumerate(pairwise(passage.changes)):
        if change.time_s is None or after.time_s is None:
            continue
        if place in doubtful or place + 1 in doubtful:
            continue
        hold_s = after.time_s - change.time_s
        step = refreshes = None
        if stepping is not None:
            step = _step(change, stepping, interval_s)
            end = _step(after, stepping, interval_s)
            refreshes = None if step is None or end is None else end - step
        frames.append(HeldFrame(change.number, change.time_s, hold_s, refreshes, step, None, index))
    return frames


def hold_frames(
    passages: Sequence[Passage],
    stepping: Stepping | None,
    *,
    gaps_on: Stepping | None = None,
    shortest_s: float,
    usual_s: float,
    interval_s: float,
) -> Held:
    """Holds of the frames of all passages.

    Parameters
    ----------
    passages
        Stretches without a seek.
    stepping
        The display's refresh, if it is known.
    gaps_on
        The same, or the finest refresh that it may have, to tell what could hide in a gap.
    shortest_s
        Shortest time for which a frame can be on screen: a refresh, the shortest that the
        camera can follow if it is not known.
    usual_s
        Shortest time for which the frames are, as far as is known.
    interval_s
        Capture interval.
    """
    frames: list[HeldFrame] = []
    dropped: list[int] = []
    unseen: list[int] = []
    backward: list[int] = []
    for index, passage in enumerate(passages):
        doubtful: set[int] = set()
        latest = passage.changes[0].number
        for place, (before, change) in enumerate(pairwise(passage.changes), start=1):
            if change.number < before.number:
                backward.append(change.number)
                continue
            missing = range(max(before.number, latest) + 1, change.number)
            latest = max(latest, change.number)
            hides = bool(missing) and _could_hide(change, gaps_on, shortest_s, interval_s)
            (unseen if hides else dropped).extend(missing)
            # a change right to more than a refresh tells neither hold beside it
            if hides or change.half_width_s > usual_s:
                doubtful.add(place)
        frames += _frames_of(passage, index, stepping, doubtful, interval_s)
    return Held(tuple(frames), tuple(dropped), tuple(unseen), tuple(backward))
