"""A screen and a camera as arithmetic: what a strip would say, with the truth known.

Independent of the project's cadence: a frame is on screen if it is the newest one due at
that refresh and the player has not lost it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

import numpy as np

from patterns.reading.sightings import Sightings, Watched
from patterns.strip.code import Identity
from patterns.strip.read import Seen, Unread

__all__ = ["Screen", "Shown", "film", "play"]


@dataclass(frozen=True)
class Shown:
    """A frame on screen from refresh `start` to before refresh `end`."""

    number: int
    start: int
    end: int


@dataclass(frozen=True)
class Screen:
    rate: Fraction
    refresh_hz: Fraction
    seconds: float
    phase: float = 0.5  # frame 0 is due this part of a refresh before refresh 0
    lost: frozenset[int] = frozenset()
    late: frozenset[int] = frozenset()  # frames that come on a refresh late


def play(screen: Screen) -> list[Shown]:
    """What the screen shows: at each refresh the newest frame that is due and not lost."""
    numbers = []
    step = float(screen.rate / screen.refresh_hz)
    for k in range(int(screen.seconds * float(screen.refresh_hz))):
        due = int(np.floor((k + screen.phase) * step + 1e-9))
        arrived = int(np.floor((k - 1 + screen.phase) * step + 1e-9))
        while due in screen.lost or (due in screen.late and due > arrived):
            due -= 1
        numbers.append(due)
    shown, k = [], 0
    for number, run in groupby(numbers):
        length = len(list(run))
        shown.append(Shown(number, k, k + length))
        k += length
    return shown


def film(
    shown: Iterable[Shown],
    screen: Screen,
    capture_hz: float,
    *,
    seed: int,
    jitter: float = 0.0,
    unread: float = 0.0,
    response: float = 0.0,
    start_s: float = 0.1,
    clock: float = 1.0,
) -> Watched:
    """What a camera's pictures say.

    `jitter` of the times of capture in capture intervals (uniform, to each side); `unread`
    share of pictures lost at random; `response` of the screen in refreshes: for so long
    after a change the picture is a mixture; `clock` is how fast the camera's clock runs.
    """
    rng = np.random.default_rng(seed)
    frames = list(shown)
    period = 1 / float(screen.refresh_hz)
    starts = np.array([frame.start * period for frame in frames])
    end_s = frames[-1].end * period
    identity = Identity.of(screen.rate, 0x7A21)
    log = Sightings()
    count = int((end_s - start_s - 2 / capture_hz) * capture_hz)
    told_s = (np.arange(count) + rng.uniform(0, 1)) / capture_hz
    moved, chance = rng.uniform(size=(count, 2)).T
    at_s = start_s + told_s + (2 * jitter * moved - jitter) / capture_hz
    indices = (np.searchsorted(starts, at_s, side="right") - 1).tolist()
    for i, index in enumerate(indices):
        stamp = Fraction(round(float(told_s[i]) * clock * 90000), 90000)
        if chance[i] < unread:
            log.take(stamp, Unread("lost"))
            continue
        since = float(at_s[i] - starts[index]) / period
        number = frames[index].number
        before = frames[index - 1].number if index else number
        if since < response and index:
            log.take(stamp, Seen(before, number, since / response, identity))
            continue
        log.take(stamp, Seen(number, None, 0.0, identity))
    return log.watched()
