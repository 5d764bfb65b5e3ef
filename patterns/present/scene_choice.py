"""What moves in the panels of a presentation, sized for whatever picture it gets."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from patterns.errors import RequestError
from patterns.scenes.bars import bars_for_picture
from patterns.scenes.motion import Motion, OrbitMotion, TerrainMotion
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

    @property
    def moves_across(self) -> bool:
        """Whether all moves level, so that a level line divides it without hiding the motion."""
        return self.pattern == "bars"

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
