"""Level flight over terrain, and how fast the ground moves in its picture."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import nan
from typing import ClassVar, Literal

import numpy as np

from patterns.errors import RequestError
from patterns.picture.arrays import FloatArray
from patterns.scenes.motion import WIDE_HFOV_DEG, Camera, Motion, Quantity, check_within

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
