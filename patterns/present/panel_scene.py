"""What moves in the panels of a presentation, and which frame is on screen at each refresh.

A timeline at T frames a second on a display at refresh R shows its frame j at the
refreshes k with j = floor(k T/R), for frame j comes on at refresh ceil(j R/T). Footage
at F placed on that timeline gives its frame floor(j F/T) (repeated), a mixture of the
two frames about j F/T (blended), or its frame j (sped up).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from itertools import groupby
from math import ceil, floor, lcm
from typing import Any, Literal

from patterns.errors import RequestError
from patterns.scenes.motion import Motion, image_motion
from patterns.scenes.pattern import Pattern
from patterns.scenes.table import pattern_named


@dataclass(frozen=True)
class SceneChoice:
    """A pattern and its speed."""

    pattern: str = "bars"  # name of what moves
    pace: Fraction | None = None  # of the option that sets its speed, not 0; None: as `Pace` begins
    seed: int = 1  # chooses the land and what stands on it
    across: int = 2  # how many pictures lie side by side, itself included
    further: Mapping[str, Any] = field(default_factory=dict)  # values of other options

    def __post_init__(self) -> None:
        if not self.value:
            pace = self.entry.pace
            what = "would be infinitely fast" if pace.inverse else "shows no motion to compare"
            raise RequestError(f"--{pace.option} 0 {what}: give such as {float(pace.shown):g}")

    @property
    def entry(self) -> Pattern:
        """What the table says of the pattern."""
        return pattern_named(self.pattern)

    @property
    def value(self) -> Fraction:
        """Value of the option that sets the speed."""
        return self.entry.pace.shown if self.pace is None else self.pace

    def motion(self, width: int, height: int) -> Motion:
        """Motion for a picture of `width` x `height` pixels."""
        entry, pace = self.entry, {self.entry.pace.option: self.value}
        return entry.motion(width, height, {**entry.among(self.across), **self.further, **pace})

    def fastest_px_s(self, width: int, height: int) -> float:
        """Image speed where it is fastest in a picture of `width` x `height` pixels."""
        return image_motion(self.motion(width, height), width, height).fastest_px_s

    def at_least(self, px_s: float, width: int, height: int) -> SceneChoice:
        """Same scene, so fast that its fastest place reaches `px_s`, as far as is safe."""
        times = px_s / self.fastest_px_s(width, height)
        return replace(self, pace=self.entry.pace.faster(self.value, times)) if times > 1 else self

    @property
    def period_s(self) -> Fraction:
        """Seconds after which the scene is the same again, in a picture of any size."""
        motion = self.motion(1920, 1080)
        return abs(motion.period / motion.speed)

    def in_periods(self, seconds: Fraction, periods: int) -> SceneChoice:
        """Same scene, so fast that `seconds` hold so many periods."""
        times = periods * self.period_s / seconds
        inverse = self.entry.pace.inverse
        return replace(self, pace=self.value / times if inverse else self.value * times)

    def closed(self, seconds: Fraction) -> SceneChoice:
        """Same scene, at most a period faster in `seconds`, so that it closes, if that is safe."""
        if seconds < self.period_s:
            return self
        closed = self.in_periods(seconds, ceil(seconds / self.period_s))
        return self if self.entry.pace.beyond(closed.value) else closed

    @property
    def words(self) -> str:
        """Describe the move in a few words."""
        return self.entry.pace.described(self.value)


LOOKED_AT = 240  # refreshes; ten times as many where a period is longer
RARE = 0.99  # share of equal holds above which the rest are slips, not a pattern

Method = Literal["repeated", "blended", "sped"]


@dataclass(frozen=True)
class Shown:
    """Picture on screen: frame `frame`, with a share of the next one mixed in (0: none)."""

    frame: int
    next_share: Fraction = Fraction(0)

    @property
    def place(self) -> Fraction:
        """Where it is in the footage, frames."""
        return self.frame + self.next_share


@dataclass(frozen=True)
class Run:
    """A picture that stays: from refresh `start`, for `refreshes` refreshes."""

    start: int
    refreshes: int
    shown: Shown


@dataclass(frozen=True)
class Feed:
    """Footage at `footage` frames a second on a timeline at `timeline`."""

    footage: Fraction
    timeline: Fraction
    method: Method = "repeated"

    def shown(self, refresh: int, refresh_hz: Fraction) -> Shown:
        """What is on screen at a refresh, counted from 0 when the clip starts."""
        at = floor(refresh * self.timeline / refresh_hz)
        if self.method == "sped":
            return Shown(at)
        place = at * self.footage / self.timeline
        frame = floor(place)
        return Shown(frame, place - frame if self.method == "blended" else Fraction(0))

    def period(self, refresh_hz: Fraction) -> int:
        """Refreshes after which the pattern of what is shown repeats."""
        return lcm(
            (refresh_hz / self.timeline).numerator,
            1 if self.method == "sped" else (refresh_hz / self.footage).numerator,
        )


def runs(feed: Feed, refresh_hz: Fraction, first: int, count: int) -> Iterator[Run]:
    """Group refreshes `first` to `first + count - 1` into pictures that stay."""
    start = first
    shown = (feed.shown(k, refresh_hz) for k in range(first, first + count))
    for picture, group in groupby(shown):
        length = len(list(group))
        yield Run(start, length, picture)
        start += length


@lru_cache(maxsize=256)  # a talk asks of the same few feeds for each of its items
def is_even(feed: Feed, refresh_hz: Fraction) -> bool:
    """Whether all pictures stay equally long and none is lost (a rare slip is not noticed).

    Looked at are whole periods where these are short: how long each picture stays, and how many
    frames on the next one is, more than usual where some are lost.
    """
    period = feed.period(refresh_hz)
    count = min(period * max(1, -(-LOOKED_AT // period)), 10 * LOOKED_AT)
    kinds: Counter[tuple[int, Fraction]] = Counter()
    for run in runs(feed, refresh_hz, 0, count):
        after = feed.shown(run.start + run.refreshes, refresh_hz)
        kinds[run.refreshes, after.place - run.shown.place] += 1
    return max(kinds.values()) >= RARE * sum(kinds.values())


def common_period(feeds: tuple[Feed, ...], refresh_hz: Fraction) -> int:
    """Refreshes after which all feeds repeat together."""
    return lcm(*(feed.period(refresh_hz) for feed in feeds))
