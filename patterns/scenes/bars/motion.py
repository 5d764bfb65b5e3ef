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
CROSS_S = Fraction(7)
BAR_COUNT = Fraction(4)


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
        seconds = crossing_px(self, width, height) / speed if speed else inf
        return (Quantity("crossing time", "s", seconds, inverse=True),)

    @property
    def words(self) -> str:
        """Direction and speed."""
        return f"{self.direction} bars at {round(abs(float(self.speed_px_s)), 1):g} px/s"

    @property
    def brief(self) -> str:
        """As the pan that they stand for."""
        return f"pan, {abs(float(self.speed_px_s)):.0f} px/s"


def axis(motion: BarsMotion) -> tuple[float, float]:
    """Unit vector (x, y) along which the bars move; y is down."""
    if motion.direction == "upright":
        return 1.0, 0.0
    if motion.direction == "level":
        return 0.0, 1.0
    angle = radians(float(motion.slant_deg))
    return cos(angle), sin(angle)


def crossing_px(motion: BarsMotion, width: int, height: int) -> float:
    """Extent of a `width` x `height` picture along the motion, pixels: what a bar crosses."""
    x, y = axis(motion)
    return abs(x) * width + abs(y) * height


def bars_for_picture(
    width: int,
    height: int,
    *,
    direction: Direction = BarsMotion.direction,
    slant_deg: Fraction = BarsMotion.slant_deg,
    cross_s: Fraction | None = None,
    speed_px_s: Fraction | None = None,
    count: Fraction = BAR_COUNT,
    width_px: Fraction | None = None,
    light: float = BarsMotion.light,
    dark: float = BarsMotion.dark,
    softness_px: Fraction = BarsMotion.softness_px,
) -> BarsMotion:
    """Bars sized and timed for a picture, as a person states them.

    Parameters
    ----------
    width, height
        Picture in pixels.
    cross_s
        Seconds in which a bar crosses the picture along its motion (negative: backwards);
        `CROSS_S` where neither this nor `speed_px_s` (pixels a second) is given.
    count
        Bars that the picture holds along the motion.
    width_px
        Width of a bar; a third of the distance from bar to bar where it is not given.
    """
    turned = slant_deg if direction == "slanted" else Fraction(0)
    unit = BarsMotion(Fraction(0), Fraction(4), Fraction(1), direction=direction, slant_deg=turned)
    across = Fraction(crossing_px(unit, width, height)).limit_denominator(1000)
    period = across / count
    return BarsMotion(
        speed_px_s=across / (cross_s or CROSS_S) if speed_px_s is None else speed_px_s,
        period_px=period,
        width_px=period / 3 if width_px is None else width_px,
        direction=direction,
        slant_deg=turned,
        light=light,
        dark=dark,
        softness_px=softness_px,
    )
