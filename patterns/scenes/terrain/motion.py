"""Level flight over terrain: how fast the ground moves in its picture, and which of it rows see."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import cos, nan, radians, sin
from typing import ClassVar, Literal

import numpy as np

from patterns.errors import RequestError
from patterns.picture.arrays import FloatArray
from patterns.scenes.motion import (
    WIDE_HFOV_DEG,
    Camera,
    Motion,
    Quantity,
    check_within,
    focal_px,
)

Flight = Literal["forward", "sideways", "down"]
FLIGHTS = ("forward", "sideways", "down")
_NAMES = {"forward": "forward flight", "sideways": "sideways flight", "down": "flight"}


@dataclass(frozen=True)
class TerrainMotion(Motion):
    """Level flight over terrain.

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
    hfov_deg: float = WIDE_HFOV_DEG

    pattern: ClassVar[str] = "terrain"
    speed_field: ClassVar[str] = "ground_speed_m_s"

    def __post_init__(self) -> None:
        """Check that the flight is possible."""
        if self.flight not in FLIGHTS:
            raise RequestError(
                f"flight {self.flight!r} is unknown: allowed are {', '.join(FLIGHTS)}"
            )
        check_within("ground speed", self.ground_speed_m_s, 0, 300, "m/s", 10)
        check_within("height", self.height_m, 2, 1000, "m", 40)
        check_within("pitch", self.pitch_deg, 0, 90, "degrees below the horizon", 20)
        check_within("field of view", self.hfov_deg, 5, 120, "degrees", 74)

    @property
    def period(self) -> Fraction:
        """Metres after which the ground repeats."""
        from patterns.scenes.ground.layout import PERIOD_M  # what paints it is slow to load

        return Fraction(PERIOD_M)

    @property
    def tilt_deg(self) -> Fraction:
        """Tilt of the camera below the horizon as it really is, degrees."""
        return Fraction(90) if self.flight == "down" else self.pitch_deg

    def speed_at(self, width: int, right_px: FloatArray, down_px: FloatArray) -> FloatArray:
        """Speed of the ground; nan above the horizon. V is minus the camera's velocity."""
        camera = Camera.of(self.hfov_deg, float(self.tilt_deg), width)
        v, h = float(self.ground_speed_m_s), float(self.height_m)
        q = camera.drop(down_px)
        if self.flight == "forward":  # V = v (0, sin p, -cos p)
            speed = v * q / (h * camera.f) * np.hypot(right_px * camera.cos_p, q)
        else:  # V = (v, 0, 0); straight down, either direction gives the same speed
            speed = v * q / h
        return np.asarray(np.where(q > 0, speed, nan), np.float64)

    def quantities(self, width: int, height: int) -> tuple[Quantity, ...]:
        """Ground speed, and over flat ground inversely the height, whatever lens and pitch."""
        del width, height
        return (
            Quantity("ground speed", "m/s", float(self.ground_speed_m_s)),
            Quantity("height", "m", float(self.height_m), inverse=True),
        )

    @property
    def words(self) -> str:
        """Flight, speed, height, pitch and lens."""
        down = "straight down" if self.flight == "down" else f"pitch {float(self.pitch_deg):g} deg"
        return (
            f"{_NAMES[self.flight]} at {float(self.ground_speed_m_s):g} m/s, "
            f"{float(self.height_m):g} m up, {down}, field {round(self.hfov_deg, 1):g} deg"
        )

    @property
    def brief(self) -> str:
        """Flight, speed and height."""
        down = ", camera straight down" if self.flight == "down" else ""
        return (
            f"{_NAMES[self.flight]}, {float(self.ground_speed_m_s):g} m/s, "
            f"{float(self.height_m):g} m up{down}"
        )


class Rays:
    """Flat ground as the samples of a plane see it, in a picture of `width` x `height` pixels.

    Pinhole camera, square pixels, optical axis through the centre of the picture, no roll: so a row
    sees a straight line on the ground that lies square to the camera's heading. Rows above the
    horizon have infinite depth.

    `pitch`: pixels from sample to sample: 1 for luma, 2 for chroma, which sits on even columns and
    between two rows (see `Planes`).

    Attributes
    ----------
    pixel
        Tangent of the angle from sample to sample, about the optical axis.
    across, fall
        Tangents of the angles right of the optical axis (columns,), and below it (rows,).
    depth_m
        Distance of each row's ground line along the optical axis; a column with tangent a sees the
        place a * depth_m to the right.
    ahead_m, range_m
        Distance of it over the ground along the heading, and through the air in the middle column.
    sample_across_m, sample_ahead_m
        Ground covered by one sample of each row, across and along the heading.
    """

    def __init__(self, motion: TerrainMotion, width: int, height: int, pitch: int) -> None:
        focal = focal_px(motion.hfov_deg, width)
        tilt, above = radians(float(motion.tilt_deg)), float(motion.height_m)
        self.pixel = pitch / focal
        self.across = (np.arange(0, width, pitch) + 0.5 - width / 2) / focal
        self.fall = (np.arange(0, height, pitch) + pitch / 2 - height / 2) / focal
        down = sin(tilt) + self.fall * cos(tilt)
        self.depth_m = np.full(len(down), np.inf)
        np.divide(above, down, self.depth_m, where=down > 1e-9)
        with np.errstate(invalid="ignore"):
            self.ahead_m = self.depth_m * (cos(tilt) - self.fall * sin(tilt))
        self.range_m = self.depth_m * np.sqrt(1 + self.fall * self.fall)
        self.sample_across_m = self.depth_m * pitch / focal
        self.sample_ahead_m = self.depth_m * self.depth_m * pitch / (above * focal)
