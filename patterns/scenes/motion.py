"""What any motion is: exact speed and period, image speed, and how it is put into words.

A motion is a frozen dataclass whose numbers are exact (Fractions) and whose invariants are
checked when it is made, so that whatever holds a motion holds a possible one. The patterns
are in folders of their own beside this file.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass, replace
from fractions import Fraction
from math import atan, cos, degrees, inf, radians, sin, tan
from typing import ClassVar, NamedTuple

import numpy as np
import numpy.typing as npt

from patterns.errors import RequestError
from patterns.picture.arrays import Float32Array, FloatArray

FULL_FRAME_WIDTH_MM = 36  # width of the 35 mm still frame that equivalent focal lengths refer to
FOCAL_MM = 24  # 35 mm equivalent, of the lens unless another is given
RING_RADIUS_M = 3000.0  # hills stand on this circle about what is seen; the sky is on it too


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
    fitted = replace(motion, **{motion.speed_field: nudged})
    return Loop(fitted, length, periods, nudged / speed - 1)


_BORDER_POINTS = 2049  # on each side of the picture, corners included


def crossing_time_s(px_per_s: float, width: int) -> float:
    """Seconds that something at `px_per_s` takes to cross `width` pixels (inf if it rests)."""
    return width / px_per_s if px_per_s else inf


@dataclass(frozen=True)
class Camera:
    """Pinhole camera: focal length in pixels, sine and cosine of its tilt below the horizon.

    With square pixels and its axis at the picture's centre it sees, at offset (a, b) pixels right
    and down from the centre, the point P = Z (a, b, f)/f in camera axes (right, down, forward). If
    P moves at V relative to the camera, its image moves at ((f Vx - a Vz)/Z, (f Vy - b Vz)/Z): the
    derivative of the projection (a, b) = f (X, Y)/Z. Tilted down by p, q = b cos p + f sin p is how
    far a ray drops for every f it goes forward, so that ground h below lies at Z = f h/q where
    q > 0. What V is, each pattern knows (`Motion.speed_at`).
    """

    f: float
    sin_p: float
    cos_p: float

    @classmethod
    def of(cls, hfov_deg: float, pitch_deg: float, width: int) -> Camera:
        """Camera with a field of view and a tilt in degrees, over `width` pixels."""
        p = radians(pitch_deg)
        return cls(focal_px(hfov_deg, width), sin(p), cos(p))

    def drop(self, b: FloatArray) -> FloatArray:
        """How far a ray `b` pixels below the centre drops for every f that it goes forward."""
        return b * self.cos_p + self.f * self.sin_p


def speed_at(
    motion: Motion, width: int, height: int, x_px: npt.ArrayLike, y_px: npt.ArrayLike
) -> FloatArray:
    """Image speed at places of a `width` x `height` picture, pixels a second.

    `x_px`, `y_px`: places from the picture's top left corner (0 to `width`, 0 to `height`; pixel
    (i, j) has its centre at i + 1/2, j + 1/2), broadcast against each other.
    Returns float64, nan where there is sky: what moves there is soft, and a flight's rests.
    """
    x, y = np.broadcast_arrays(np.asarray(x_px, np.float64), np.asarray(y_px, np.float64))
    return motion.speed_at(width, x - width / 2, y - height / 2)


def speed_map(motion: Motion, width: int, height: int, grid: int = 96) -> Float32Array:
    """Image speed over a picture, pixels a second.

    `width`, `height`: size of the picture in pixels (of the part of the frame that the strip
    leaves).
    `grid`: columns of the map; its rows follow from the picture's shape (at least 2).
    Returns float32 (rows, grid): the speed of what is visible at the centre of each cell; nan where
    there is sky. An orbit's subject, slower than all that is behind it, is left out.
    """
    rows = max(2, round(grid * height / width))
    x = (np.arange(grid) + 0.5) * width / grid
    y = (np.arange(rows) + 0.5) * height / rows
    return speed_at(motion, width, height, x[None, :], y[:, None]).astype(np.float32)


def image_motion(motion: Motion, width: int, height: int) -> ImageMotion:
    """Fastest and typical image speed of a motion in a `width` x `height` picture.

    The fastest place is sought on the picture's exact border, two to a pixel or so, and on a grid
    inside: the end of a skyline is thus found to 0.01 % of its speed. The typical speed is the
    median over the grid's places that move.
    """
    places = speed_map(motion, width, height).astype(np.float64)
    moving = np.sort(places[np.nan_to_num(places) > 0])
    # numpy's own median loads its masked arrays: 8 ms, a twentieth of a plan
    middle = moving[(len(moving) - 1) // 2 : len(moving) // 2 + 1]
    x, y = _candidates(width, height)
    speeds = np.nan_to_num(speed_at(motion, width, height, x, y))
    best = int(np.argmax(speeds.round(9)))
    return ImageMotion(
        fastest_px_s=float(speeds[best]),
        typical_px_s=float(middle.mean()) if moving.size else 0.0,
        fastest_xy=(float(x[best]) / width, float(y[best]) / height),
    )


def _candidates(width: int, height: int) -> tuple[FloatArray, FloatArray]:
    """Places at which the fastest point of the picture can lie."""
    centre = np.array([0.5])  # first, so that it stands for a picture that moves as one
    s = np.linspace(0, 1, _BORDER_POINTS)
    middle_first = s[np.argsort(np.abs(s - 0.5), kind="stable")]  # of equal places, the middle one
    nought, one = np.zeros_like(s), np.ones_like(s)
    inner = (np.arange(48) + 0.5) / 48
    inner_x, inner_y = np.meshgrid(inner, inner)
    x = np.concatenate([centre, middle_first, middle_first, nought, one, inner_x.ravel()])
    y = np.concatenate([centre, one, nought, s, s, inner_y.ravel()])
    return x * width, y * height
