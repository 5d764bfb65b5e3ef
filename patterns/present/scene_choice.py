"""What moves in the panels of a presentation, sized for whatever picture it gets."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor
from typing import Literal

from patterns.errors import RequestError
from patterns.scenes.bars.light import bars_for_picture
from patterns.scenes.motion import Motion, OrbitMotion, TerrainMotion
from patterns.scenes.speed import image_motion
from patterns.timing.rates import format_decimal

__all__ = ["PATTERNS", "PatternName", "SceneChoice"]

PatternName = Literal["bars", "terrain", "orbit"]
PATTERNS: tuple[PatternName, ...] = ("bars", "terrain", "orbit")

_LOOK_AT = {
    "bars": "Follow one bar with your eyes, in each picture in turn.",
    "terrain": "Watch the ground in the lower corners, where it is fastest.",
    "orbit": "Watch the hills behind the subject, not the subject.",
}

# Bars in each picture by how many pictures lie side by side: together they stay below the
# limits for regular stripes (more than five pairs), slowed ones too.
BARS_ACROSS = {1: 3, 2: 2, 3: 1, 4: 1}

LINE_OF_ORBIT = 0.36  # share of the width: left of the subject, which stands in the middle

# Fastest that `at_least` goes: seconds a crossing, metres and degrees a second. At two bars
# the picture, 1.2 s is 1.7 changes from dark to light a second, below the three allowed.
QUICKEST_CROSS_S, FASTEST_M_S, FASTEST_DEG_S = Fraction(6, 5), Fraction(45), Fraction(36)


@dataclass(frozen=True)
class SceneChoice:
    """A pattern and its speed.

    Attributes
    ----------
    pattern
        'bars', 'terrain' or 'orbit'.
    cross_s
        Seconds in which a bar crosses the picture it is in (not 0; negative: backwards).
    speed_m_s
        Ground speed of the flight.
    turn_deg_s
        Turn rate of the orbit.
    count
        Bars that the picture holds; see `bars_across`.
    seed
        Chooses the country.
    """

    pattern: PatternName = "bars"
    cross_s: Fraction = Fraction(3)
    speed_m_s: Fraction = Fraction(10)
    turn_deg_s: Fraction = Fraction(12)
    count: Fraction = Fraction(2)
    seed: int = 1

    def __post_init__(self) -> None:
        """Check the pattern and that something moves."""
        if self.pattern not in PATTERNS:
            raise RequestError(
                f"pattern {self.pattern!r} is unknown: allowed are {', '.join(PATTERNS)}"
            )
        if not self.cross_s:
            raise RequestError("cross 0 would be infinitely fast: give seconds, such as 4")

    def motion(self, width: int, height: int) -> Motion:
        """Motion for a picture of `width` x `height` pixels."""
        if self.pattern == "bars":
            return bars_for_picture(width, height, cross_s=self.cross_s, count=self.count)
        if self.pattern == "terrain":
            return TerrainMotion(ground_speed_m_s=self.speed_m_s)
        return OrbitMotion(turn_deg_s=self.turn_deg_s)

    def fastest_px_s(self, width: int, height: int) -> float:
        """Image speed where it is fastest in a picture of `width` x `height` pixels."""
        return image_motion(self.motion(width, height), width, height).fastest_px_s

    def at_least(self, px_s: float, width: int, height: int) -> SceneChoice:
        """Same scene, so fast that its fastest place reaches `px_s`, as far as is safe."""
        faster = px_s / self.fastest_px_s(width, height)
        if faster <= 1:
            return self
        if self.pattern == "bars":
            cross = Fraction(floor(20 * float(self.cross_s) / faster), 20)
            return replace(self, cross_s=max(cross, QUICKEST_CROSS_S))
        if self.pattern == "terrain":
            speed = Fraction(ceil(float(self.speed_m_s) * faster))
            return replace(self, speed_m_s=min(speed, FASTEST_M_S))
        turn = Fraction(ceil(float(self.turn_deg_s) * faster))
        return replace(self, turn_deg_s=min(turn, FASTEST_DEG_S))

    def closed(self, seconds: Fraction) -> SceneChoice:
        """Same bars, at most a bar faster in `seconds`, so that they close; others as they are."""
        bars = ceil(seconds * self.count / abs(self.cross_s))
        cross = seconds * self.count / bars
        if self.pattern != "bars" or cross < QUICKEST_CROSS_S:
            return self
        return replace(self, cross_s=cross if self.cross_s > 0 else -cross)

    @property
    def moves_across(self) -> bool:
        """Whether all moves level, so that a level line divides it without hiding the motion."""
        return self.pattern == "bars"

    @property
    def clear_of_subject(self) -> float:
        """Share of the width at which an upright line keeps clear of what one looks at."""
        return LINE_OF_ORBIT if self.pattern == "orbit" else 0.5

    @property
    def look_at(self) -> str:
        """Where to look, for the foot of the picture."""
        return _LOOK_AT[self.pattern]

    @property
    def words(self) -> str:
        """Describe the move in a few words."""
        if self.pattern == "bars":
            return f"bars that cross their picture in {format_decimal(abs(self.cross_s))} s"
        if self.pattern == "terrain":
            return f"flight over country at {format_decimal(self.speed_m_s)} m/s"
        return f"orbit of a tower at {format_decimal(abs(self.turn_deg_s))} degrees a second"
