"""What moves in the panels of a presentation, sized for whatever picture it gets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import ceil
from typing import Any

from patterns.errors import RequestError
from patterns.scenes.motion import Motion
from patterns.scenes.pattern import Pattern
from patterns.scenes.speed import image_motion
from patterns.scenes.table import pattern_named


@dataclass(frozen=True)
class SceneChoice:
    """A pattern and its speed."""

    pattern: str = "bars"  # name of what moves
    # value of the option that sets its speed, not 0; None: as its `Pace` begins
    pace: Fraction | None = None
    seed: int = 1  # chooses the land and what stands on it
    across: int = 2  # how many pictures lie side by side, itself included
    # values of other options of the pattern
    further: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Check the pattern and that something moves."""
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
        given = {
            **self.entry.among(self.across),
            **self.further,
            self.entry.pace.option: self.value,
        }
        return self.entry.motion(width, height, given)

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
