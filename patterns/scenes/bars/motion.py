"""Bars that slide along a line."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import cos, inf, radians, sin
from typing import ClassVar, Literal

import numpy as np

from patterns.errors import RequestError
from patterns.picture.arrays import FloatArray
from patterns.scenes.motion import Motion, Quantity, check_within

Direction = Literal["upright", "level", "slanted"]
DIRECTIONS = ("upright", "level", "slanted")


@dataclass(frozen=True)
class BarsMotion(Motion):
    """Bars that slide along a line.

    Attributes
    ----------
    direction
        ``upright`` bars move along x, ``level`` bars along y, ``slanted`` bars along
        the normal that is turned `slant_deg` from x.
    speed_px_s
        Pixels a second along the motion; negative goes left or up.
    period_px, width_px
        Distance from bar to bar and width of a bar, along the motion.
    light, dark
        Linear light of bar and ground, 0 to 1 of peak white.
    softness_px
        Width of the ramp at a bar's edge (0: sharp).
    """

    speed_px_s: Fraction
    period_px: Fraction
    width_px: Fraction
    direction: Direction = "upright"
    slant_deg: Fraction = Fraction(0)
    light: float = 0.6
    dark: float = 0.02
    softness_px: Fraction = Fraction(0)

    pattern: ClassVar[str] = "bars"
    speed_field: ClassVar[str] = "speed_px_s"
    in_pixels: ClassVar[bool] = True

    def __post_init__(self) -> None:
        """Check that the bars are possible."""
        if self.direction not in DIRECTIONS:
            raise RequestError(
                f"bars {self.direction!r} are unknown: allowed are {', '.join(DIRECTIONS)}"
            )
        check_within("bar period", self.period_px, 4, 100_000, "pixels", 480)
        if not 1 <= self.width_px <= self.period_px - 1:
            raise RequestError(
                f"bar width {float(self.width_px):g} px must leave a gap in the "
                f"{float(self.period_px):g} px from bar to bar: give 1 to "
                f"{float(self.period_px - 1):g}"
            )
        check_within("speed", abs(self.speed_px_s), 0, 1_000_000, "pixels a second", 280)
        check_within("light level", self.light, 0, 1, "of peak white", 0.6)
        check_within("dark level", self.dark, 0, 1, "of peak white", 0.02)
        widest = float(self.width_px)
        check_within("edge softness", self.softness_px, 0, widest, "pixels (the bar's width)", 0)

    @property
    def axis(self) -> tuple[float, float]:
        """Unit vector (x, y) along which they move; y is down."""
        return axis(self.direction, self.slant_deg)

    @property
    def period(self) -> Fraction:
        """Pixels from bar to bar."""
        return self.period_px

    def speed_at(self, width: int, right_px: FloatArray, down_px: FloatArray) -> FloatArray:
        """All bars move alike."""
        del width
        shape = np.broadcast_shapes(right_px.shape, down_px.shape)
        return np.full(shape, abs(float(self.speed_px_s)))

    def quantities(self, width: int, height: int) -> tuple[Quantity, ...]:
        """The time in which a bar crosses the picture."""
        speed = abs(float(self.speed_px_s))
        seconds = crossing_px(self.axis, width, height) / speed if speed else inf
        return (Quantity("crossing time", "s", seconds, inverse=True),)

    @property
    def words(self) -> str:
        """Direction and speed."""
        return f"{self.direction} bars at {round(abs(float(self.speed_px_s)), 1):g} px/s"

    @property
    def brief(self) -> str:
        """As the pan that they stand for."""
        return f"pan, {abs(float(self.speed_px_s)):.0f} px/s"


def axis(direction: Direction, slant_deg: Fraction) -> tuple[float, float]:
    """Unit vector (x, y) along which bars move; y is down."""
    if direction == "upright":
        return 1.0, 0.0
    if direction == "level":
        return 0.0, 1.0
    angle = radians(float(slant_deg))
    return cos(angle), sin(angle)


def crossing_px(along: tuple[float, float], width: int, height: int) -> float:
    """Extent of a `width` x `height` picture along an axis, pixels: what a bar crosses."""
    return abs(along[0]) * width + abs(along[1]) * height
