"""What any motion is: exact speed and period, image speed, and how it is put into words.

A motion is a frozen dataclass whose numbers are exact (Fractions) and whose invariants are
checked when it is made, so that whatever holds a motion holds a possible one. The patterns
are in folders of their own beside this file.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass, replace
from fractions import Fraction
from math import atan, degrees, radians, tan
from typing import ClassVar, NamedTuple, TypeVar

from patterns.errors import RequestError
from patterns.picture.arrays import FloatArray

FULL_FRAME_WIDTH_MM = 36  # width of the 35 mm still frame that equivalent focal lengths refer to
FOCAL_MM = 24  # 35 mm equivalent, of the lens unless another is given
M = TypeVar("M", bound="Motion")


def hfov_of_focal_length(focal_mm: float) -> float:
    """Horizontal field of view in degrees of a 35 mm-equivalent focal length in mm.

    2 atan(36 / (2 f)): 24 mm is 73.74 degrees, 35 mm is 54.43.
    """
    return degrees(2 * atan(FULL_FRAME_WIDTH_MM / (2 * focal_mm)))


WIDE_HFOV_DEG = hfov_of_focal_length(FOCAL_MM)


def focal_px(hfov_deg: float, width: int) -> float:
    """Focal length in pixels of a lens with horizontal field `hfov_deg` over `width` pixels."""
    return width / (2 * tan(radians(hfov_deg) / 2))


def check_within(
    name: str, value: Fraction | float, low: float, high: float, unit: str, usual: float
) -> None:
    """Refuse a value outside `low` to `high`, naming one that is usual.

    Raises `RequestError`: it is outside.
    """
    if not low <= value <= high:
        raise RequestError(
            f"{name} {float(value):g} is outside {low:g} to {high:g} {unit}: try {usual:g}"
        )


class Quantity(NamedTuple):
    """One number of a motion to which its image speed is in proportion, or inversely so."""

    name: str
    unit: str
    value: float
    inverse: bool = False


@dataclass(frozen=True)
class Motion(ABC):
    """What moves and how fast, in the units that its user thinks in. No pictures here."""

    pattern: ClassVar[str]  # name of its entry in `patterns.scenes.table`
    # name of the field that holds its speed along the coordinate in which all moves alike
    speed_field: ClassVar[str]
    # whether its sizes are pixels of the picture, so that a smaller one shows less of it
    in_pixels: ClassVar[bool] = False

    @property
    def speed(self) -> Fraction:
        """Speed in the pattern's own unit; negative: the other direction."""
        value: Fraction = getattr(self, self.speed_field)
        return value

    def at_speed(self: M, speed: Fraction) -> M:
        """The same motion at another speed."""
        return replace(self, **{self.speed_field: speed})

    @property
    @abstractmethod
    def period(self) -> Fraction:
        """Distance, in the unit of the speed, after which the picture is the same again."""

    @abstractmethod
    def speed_at(self, width: int, right_px: FloatArray, down_px: FloatArray) -> FloatArray:
        """Image speed at offsets from the centre of a picture `width` pixels wide.

        Pixels a second; nan where there is sky.
        """

    @abstractmethod
    def quantities(self, width: int, height: int) -> tuple[Quantity, ...]:
        """Numbers by which one would slow it down, the first the most usual."""

    @property
    @abstractmethod
    def words(self) -> str:
        """Describe it in one line."""

    @property
    @abstractmethod
    def brief(self) -> str:
        """Name it in few words: 'forward flight, 10 m/s, 40 m up'."""


@dataclass(frozen=True)
class ImageMotion:
    """How fast a scene moves in the picture."""

    # fastest_px_s, typical_px_s: speed at the fastest place of the picture and the median over all
    # places that move, in pixels a second
    fastest_px_s: float
    typical_px_s: float
    # where the fastest place is, as fractions of picture width and height from the top left
    fastest_xy: tuple[float, float]


@dataclass(frozen=True)
class Loop:
    """A motion that closes after whole frames, so that it repeats without a seam."""

    motion: Motion  # the motion, its speed nudged so that `periods` periods take exactly `frames`
    # frames, periods: length in frames and in periods
    frames: int
    periods: int
    # New speed over the speed asked for, less 1. At most half a frame in the length.
    speed_change: Fraction


def loop(motion: Motion, rate: Fraction, frames: int) -> Loop:
    """Nearest length to `frames` that holds whole periods, at least one.

    A period rarely takes a whole number of frames, and a seam that is a part of a frame
    out would judder once a round. So the length is rounded to whole frames and the speed
    is nudged to fit, exactly.
    Raises `RequestError`: the motion stands still.
    """
    speed, period = motion.speed, motion.period
    if speed == 0:
        raise RequestError(
            "a motion at speed 0 has no period to loop: give a speed, or no --seamless"
        )
    period_frames = period / abs(speed) * rate
    periods = max(1, round(frames / period_frames))
    length = max(1, round(periods * period_frames))
    nudged = periods * period * rate / length * (1 if speed > 0 else -1)
    return Loop(motion.at_speed(nudged), length, periods, nudged / speed - 1)
