"""From a browser's frame callbacks to frames with holds, and what they leave open.

A frame's hold is the difference of two expected display times, divided by the refresh.
That holds only where the second callback belongs to the very next frame presented: a
missed callback is not a missed frame, so that a gap in the count of presented frames
leaves the hold unobserved. Where the clip starts again, a new passage begins, whose first
callbacks are left out: they belong to the player's own starting.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise

from patterns.errors import RequestError
from patterns.reading.holds import HeldFrame
from patterns.web.observation import Callback

NEAR_FRAME = 0.3  # of a frame: a media time further from n/rate is no frame of this clip
ON_GRID = 0.25  # of a refresh: times further from a whole number of refreshes are off the grid
SKIPPED = 4  # callbacks after each start that belong to the player's own starting
MOST_MISSING = 50_000  # numbers listed as dropped or unseen
START_SHARE = 0.5  # a jump back over more than this share of the clip is the loop, not disorder


@dataclass
class Presented:
    """What the callbacks tell.

    Attributes
    ----------
    frames
        Frames whose hold was observed, in order.
    dropped
        Numbers that were passed over between two frames presented one after the other.
    dropped_unnamed
        Further frames passed over, where callbacks were missed and it is open which.
    unseen
        Numbers without a callback that may or may not have been presented.
    out_of_order
        Numbers that came after a later one within a passage.
    off_grid
        Holds that were not near a whole number of refreshes.
    off_clip
        Callbacks whose media time is no frame's.
    passages
        Times that the clip was played from its start, the first included.
    """

    frames: list[HeldFrame] = field(default_factory=list)
    dropped: list[int] = field(default_factory=list)
    dropped_unnamed: int = 0
    unseen: list[int] = field(default_factory=list)
    out_of_order: list[int] = field(default_factory=list)
    off_grid: int = 0
    off_clip: int = 0
    passages: int = 1


def _numbered(
    callbacks: Sequence[Callback], rate: Fraction, length: int
) -> list[tuple[int, Callback]]:
    numbered = []
    for callback in callbacks:
        place = callback.media_s * float(rate)
        if abs(place - round(place)) <= NEAR_FRAME and round(place) < length:
            numbered.append((round(place), callback))
    return numbered


def presented_frames(
    callbacks: Sequence[Callback], rate: Fraction, length: int, interval_ms: float
) -> Presented:
    """Frames and holds of callbacks in the order in which they came.

    Parameters
    ----------
    rate, length
        Of the clip: frames a second, and frames in all.
    interval_ms
        Of the display's refresh.

    Raises
    ------
    RequestError
        More frames are left open than any device could have skipped.
    """
    numbered = _numbered(callbacks, rate, length)
    found = Presented(off_clip=len(callbacks) - len(numbered))
    step = since_start = 0
    for (number, before), (following, after) in pairwise(numbered):
        refreshes = (after.shown_ms - before.shown_ms) / interval_ms
        gap = after.presented - before.presented
        if number - following > START_SHARE * length:
            found.passages += 1
            step, since_start = 0, SKIPPED
            continue
        if since_start:
            since_start -= 1
            continue
        if len(found.dropped) + len(found.unseen) + following - number > MOST_MISSING:
            raise RequestError("the callbacks leave too many frames open to be those of a device")
        if following < number:
            found.out_of_order.append(following)
        elif gap == 1 and refreshes >= 0:
            _observe(found, number, step, before.shown_ms, refreshes, interval_ms)
            found.dropped += range(number + 1, following)
        else:
            found.dropped_unnamed += max(0, following - number - gap)
            found.unseen += range(number + 1, following)
        step += round(refreshes)
    found.frames = _joined(found.frames)
    return found


def _observe(
    found: Presented, number: int, step: int, shown_ms: float, refreshes: float, interval_ms: float
) -> None:
    if abs(refreshes - round(refreshes)) > ON_GRID:
        found.off_grid += 1
    found.frames.append(
        HeldFrame(
            number,
            shown_ms / 1000,
            refreshes * interval_ms / 1000,
            round(refreshes),
            step,
            None,
            found.passages - 1,
        )
    )


def _joined(frames: Sequence[HeldFrame]) -> list[HeldFrame]:
    """Frames in which one that was presented twice in a row is held for both times."""
    joined: list[HeldFrame] = []
    for frame in frames:
        last = joined[-1] if joined else None
        if last and (last.number, last.passage) == (frame.number, frame.passage):
            joined[-1] = replace(
                last,
                hold_s=last.hold_s + frame.hold_s,
                refreshes=(last.refreshes or 0) + (frame.refreshes or 0),
            )
        else:
            joined.append(frame)
    return joined
