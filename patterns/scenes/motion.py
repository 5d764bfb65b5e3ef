"""What moves and how fast, in the units that its user thinks in. No pictures here.

Each motion is exact (Fractions); a scene reads it and draws. Invariants are checked
when the object is made, so that whatever holds a motion holds a possible one.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import atan, degrees, radians, tan
from typing import Literal

from patterns.errors import RequestError

__all__ = [
    "SUBJECT_HEIGHT_M",
    "BarsMotion",
    "Direction",
    "Flight",
    "ImageMotion",
    "Motion",
    "OrbitMotion",
    "Subject",
    "TerrainMotion",
    "focal_px",
    "hfov_of_focal_length",
    "turn_rate",
]

Direction = Literal["upright", "level", "slanted"]
Flight = Literal["forward", "sideways", "down"]
Subject = Literal["tower", "monument", "tank"]

# Heights of the orbit's subjects, metres; the camera aims at half of it, on the axis.
SUBJECT_HEIGHT_M: dict[str, float] = {"tower": 34.0, "monument": 26.0, "tank": 18.0}

FULL_FRAME_WIDTH_MM = 36  # width of the 35 mm still frame that equivalent focal lengths refer to


def hfov_of_focal_length(focal_mm: float) -> float:
    """Horizontal field of view in degrees of a 35 mm-equivalent focal length in mm.

    2 atan(36 / (2 f)): 24 mm is 73.74 degrees, 35 mm is 54.43.
    """
    return degrees(2 * atan(FULL_FRAME_WIDTH_MM / (2 * focal_mm)))


def turn_rate(turn_s: Fraction) -> Fraction:
    """Degrees a second of a whole turn in `turn_s` seconds (negative: the other way)."""
    return 360 / turn_s


def _within(
    name: str, value: Fraction | float, low: float, high: float, unit: str, usual: float
) -> None:
    if not low <= value <= high:
        raise RequestError(
            f"{name} {float(value):g} is outside {low:g} to {high:g} {unit}: try {usual:g}"
        )


@dataclass(frozen=True)
class BarsMotion:
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

    def __post_init__(self) -> None:
        """Check that the bars are possible."""
        if self.direction not in ("upright", "level", "slanted"):
            raise RequestError(
                f"bars {self.direction!r} are unknown: allowed are upright, level, slanted"
            )
        _within("bar period", self.period_px, 4, 100_000, "pixels", 480)
        if not 1 <= self.width_px <= self.period_px - 1:
            raise RequestError(
                f"bar width {float(self.width_px):g} px must leave a gap in the "
                f"{float(self.period_px):g} px from bar to bar: give 1 to "
                f"{float(self.period_px - 1):g}"
            )
        _within("speed", abs(self.speed_px_s), 0, 1_000_000, "pixels a second", 280)
        _within("light level", self.light, 0, 1, "of peak white", 0.6)
        _within("dark level", self.dark, 0, 1, "of peak white", 0.02)
        _within(
            "edge softness",
            self.softness_px,
            0,
            float(self.width_px),
            "pixels (the bar's width)",
            0,
        )


@dataclass(frozen=True)
class TerrainMotion:
    """Level flight over country.

    Attributes
    ----------
    flight
        ``forward`` (camera looks ahead, tilted down by `pitch_deg`), ``sideways`` (it
        looks across the line of flight, tilted down) or ``down`` (straight down).
    ground_speed_m_s, height_m
        Speed over the ground; height above it.
    pitch_deg
        Tilt of the camera below the horizon, degrees, 0 to 90 (``down`` is always 90).
    hfov_deg
        Horizontal field of view of the lens, degrees.
    """

    flight: Flight = "forward"
    ground_speed_m_s: Fraction = Fraction(10)
    height_m: Fraction = Fraction(40)
    pitch_deg: Fraction = Fraction(20)
    hfov_deg: float = 73.7398

    def __post_init__(self) -> None:
        """Check that the flight is possible."""
        if self.flight not in ("forward", "sideways", "down"):
            raise RequestError(
                f"flight {self.flight!r} is unknown: allowed are forward, sideways, down"
            )
        _within("ground speed", self.ground_speed_m_s, 0, 300, "m/s", 10)
        _within("height", self.height_m, 2, 1000, "m", 40)
        _within("pitch", self.pitch_deg, 0, 90, "degrees below the horizon", 20)
        _within("field of view", self.hfov_deg, 5, 120, "degrees", 74)


@dataclass(frozen=True)
class OrbitMotion:
    """Circle about a subject that stays in the centre of the picture.

    Attributes
    ----------
    subject
        ``tower``, ``monument`` or ``tank``.
    turn_deg_s
        Turn rate in degrees a second; positive sweeps the background to the left.
    radius_m, height_m
        Distance from the subject's axis; height above the ground.
    hfov_deg
        Horizontal field of view of the lens, degrees.
    """

    subject: Subject = "tower"
    turn_deg_s: Fraction = Fraction(6)
    radius_m: Fraction = Fraction(80)
    height_m: Fraction = Fraction(30)
    hfov_deg: float = 73.7398

    def __post_init__(self) -> None:
        """Check that the circle is possible."""
        if self.subject not in ("tower", "monument", "tank"):
            raise RequestError(
                f"subject {self.subject!r} is unknown: allowed are tower, monument, tank"
            )
        _within("turn rate", abs(self.turn_deg_s), 0, 360, "degrees a second", 6)
        _within("radius", self.radius_m, 20, 1000, "m", 80)
        _within("height", self.height_m, 2, 500, "m", 30)
        _within("field of view", self.hfov_deg, 5, 120, "degrees", 74)

    @property
    def aim_height_m(self) -> float:
        """Height above the ground of the point, on the subject's axis, that stays in the centre."""
        return SUBJECT_HEIGHT_M[self.subject] / 2

    @property
    def pitch_deg(self) -> float:
        """Tilt of the camera below the horizon, degrees (negative: it looks up)."""
        return degrees(atan((float(self.height_m) - self.aim_height_m) / float(self.radius_m)))


Motion = BarsMotion | TerrainMotion | OrbitMotion


@dataclass(frozen=True)
class ImageMotion:
    """How fast a scene moves in the picture.

    Attributes
    ----------
    fastest_px_s, typical_px_s
        Speed at the fastest place of the picture and the median over all places that
        move, in pixels a second.
    fastest_xy
        Where the fastest place is, as fractions of picture width and height from the
        top left.
    """

    fastest_px_s: float
    typical_px_s: float
    fastest_xy: tuple[float, float]


def focal_px(hfov_deg: float, width: int) -> float:
    """Focal length in pixels of a lens with horizontal field `hfov_deg` over `width` pixels."""
    return width / (2 * tan(radians(hfov_deg) / 2))
