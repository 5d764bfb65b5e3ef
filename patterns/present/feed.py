"""Which frame of a clip a display shows at each refresh: played as it is, or conformed.

A timeline at T frames a second on a display at refresh R shows its frame j at the
refreshes k with j = floor(k T/R), for frame j comes on at refresh ceil(j R/T). Footage
at F placed on that timeline gives its frame floor(j F/T) (repeated), a mixture of the
two frames about j F/T (blended), or its frame j (sped up).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from math import floor, lcm
from typing import Literal

from patterns.errors import RequestError

LOOKED_AT = 240  # refreshes; ten times as many where a period is longer
RARE = 0.99  # share of equal holds above which the rest are slips, not a pattern

Method = Literal["native", "repeated", "blended", "sped"]


@dataclass(frozen=True)
class Shown:
    """Picture on screen: frame `frame`, with a share of the next one mixed in (0: none)."""

    frame: int
    next_share: Fraction = Fraction(0)


@dataclass(frozen=True)
class Run:
    """A picture that stays: from refresh `start`, for `refreshes` refreshes."""

    start: int
    refreshes: int
    shown: Shown


@dataclass(frozen=True)
class Feed:
    """Footage at `footage` frames a second on a timeline at `timeline`.

    Raises
    ------
    RequestError
        A native feed whose two rates differ.
    """

    footage: Fraction
    timeline: Fraction
    method: Method = "native"

    def __post_init__(self) -> None:
        """Check that native means native."""
        if self.method == "native" and self.footage != self.timeline:
            raise RequestError("a native clip has one rate: give the same for both")

    @classmethod
    def native(cls, rate: Fraction) -> Feed:
        """Clip that plays at its own rate."""
        return cls(rate, rate)

    def shown(self, refresh: int, refresh_hz: Fraction) -> Shown:
        """What is on screen at a refresh, counted from 0 when the clip starts."""
        at = floor(refresh * self.timeline / refresh_hz)
        if self.method in ("native", "sped"):
            return Shown(at)
        place = at * self.footage / self.timeline
        frame = floor(place)
        return Shown(frame, place - frame if self.method == "blended" else Fraction(0))

    def period(self, refresh_hz: Fraction) -> int:
        """Refreshes after which the pattern of what is shown repeats."""
        return lcm(
            (refresh_hz / self.timeline).numerator,
            1 if self.method in ("native", "sped") else (refresh_hz / self.footage).numerator,
        )


def runs(feed: Feed, refresh_hz: Fraction, first: int, count: int) -> Iterator[Run]:
    """Group refreshes `first` to `first + count - 1` into pictures that stay."""
    start = first
    shown = (feed.shown(k, refresh_hz) for k in range(first, first + count))
    for picture, group in groupby(shown):
        length = len(list(group))
        yield Run(start, length, picture)
        start += length


def _advance(run: Run, feed: Feed, refresh_hz: Fraction) -> Fraction:
    """Frames from a picture to the one after it; more than usual where some are lost."""
    after = feed.shown(run.start + run.refreshes, refresh_hz)
    return after.frame + after.next_share - run.shown.frame - run.shown.next_share


def _kinds(feed: Feed, refresh_hz: Fraction) -> Counter[tuple[int, Fraction]]:
    """How many pictures do what, over whole periods where these are short."""
    period = feed.period(refresh_hz)
    count = min(period * max(1, -(-LOOKED_AT // period)), 10 * LOOKED_AT)
    found = runs(feed, refresh_hz, 0, count)
    return Counter((run.refreshes, _advance(run, feed, refresh_hz)) for run in found)


def is_even(feed: Feed, refresh_hz: Fraction) -> bool:
    """Whether all pictures stay equally long and none is lost (a rare slip is not noticed)."""
    kinds = _kinds(feed, refresh_hz)
    return max(kinds.values()) >= RARE * sum(kinds.values())


def common_period(feeds: tuple[Feed, ...], refresh_hz: Fraction) -> int:
    """Refreshes after which all feeds repeat together."""
    return lcm(*(feed.period(refresh_hz) for feed in feeds))
