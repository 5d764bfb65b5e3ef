"""Circle about a subject, and how fast what lies behind it moves in the picture."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import atan, degrees, inf, nan, radians
from typing import ClassVar, Literal

import numpy as np

from patterns.errors import RequestError
from patterns.picture.arrays import FloatArray
from patterns.scenes.motion import (
    RING_RADIUS_M,
    WIDE_HFOV_DEG,
    Camera,
    Motion,
    Quantity,
    check_within,
)

Subject = Literal["tower", "monument", "tank"]

# Heights of the subjects, metres; the camera aims at half of it, on the axis.
SUBJECT_HEIGHT_M: dict[str, float] = {"tower": 34.0, "monument": 26.0, "tank": 18.0}

RING_TOP_M = 190.0  # above the ground, up to which tops are seen on the ring of hills


@dataclass(frozen=True)
class OrbitMotion(Motion):
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
    hfov_deg: float = WIDE_HFOV_DEG

    pattern: ClassVar[str] = "orbit"
    speed_field: ClassVar[str] = "turn_deg_s"

    def __post_init__(self) -> None:
        """Check that the circle is possible."""
        if self.subject not in SUBJECT_HEIGHT_M:
            raise RequestError(
                f"subject {self.subject!r} is unknown: allowed are {', '.join(SUBJECT_HEIGHT_M)}"
            )
        check_within("turn rate", abs(self.turn_deg_s), 0, 360, "degrees a second", 6)
        check_within("radius", self.radius_m, 20, 1000, "m", 80)
        check_within("height", self.height_m, 2, 500, "m", 30)
        check_within("field of view", self.hfov_deg, 5, 120, "degrees", 74)

    @property
    def aim_height_m(self) -> float:
        """Height above the ground of the point, on the subject's axis, that stays in the centre."""
        return SUBJECT_HEIGHT_M[self.subject] / 2

    @property
    def pitch_deg(self) -> float:
        """Tilt of the camera below the horizon, degrees (negative: it looks up)."""
        return degrees(atan((float(self.height_m) - self.aim_height_m) / float(self.radius_m)))

    @property
    def period(self) -> Fraction:
        """A whole turn, degrees."""
        return Fraction(360)

    def speed_at(self, width: int, right_px: FloatArray, down_px: FloatArray) -> FloatArray:
        """Speed of ground and hills; nan in the sky.

        At w rad/s, seen from the camera, the world turns about a vertical axis that the
        camera's own axis meets at distance D, so V = w u x (P - (0, 0, D)) with
        u = (0, -cos p, -sin p), up.
        """
        camera = self._camera(width)
        f, s, c = camera.f, camera.sin_p, camera.cos_p
        aim_drop_m = float(self.height_m) - self.aim_height_m
        aim_distance = float(np.hypot(float(self.radius_m), aim_drop_m))
        nearness = self._nearness(camera, right_px, down_px)  # 1/Z
        across = f * c * (aim_distance * nearness - 1) + s * down_px - c * right_px**2 / f
        down = right_px * camera.drop(down_px) / f
        return abs(radians(float(self.turn_deg_s))) * np.hypot(across, down)

    def _camera(self, width: int) -> Camera:
        return Camera.of(self.hfov_deg, self.pitch_deg, width)

    def _nearness(self, camera: Camera, a: FloatArray, b: FloatArray) -> FloatArray:
        """1/Z of the ground or, beyond it, of the ring of hills; nan where there is sky."""
        radius, h = float(self.radius_m), float(self.height_m)
        q = camera.drop(b)
        ahead = camera.f * camera.cos_p - b * camera.sin_p  # level part of the ray, along the look
        level2 = ahead * ahead + a * a
        # From the axis at distance `radius` inside the ring, a ray meets the ring at
        # (ahead, a, q) times the positive root of |(t ahead - radius, t a)| = ring.
        inner = radius * radius * ahead * ahead + level2 * (RING_RADIUS_M**2 - radius * radius)
        with np.errstate(divide="ignore"):
            ring = 1 / ((radius * ahead + np.sqrt(inner)) / np.maximum(level2, 1e-12))
        ground = q / h
        on_hills = np.where(h - q / ring <= RING_TOP_M, ring, nan)
        return np.asarray(np.where(ground > ring, ground, on_hills) / camera.f, np.float64)

    def quantities(self, width: int, height: int) -> tuple[Quantity, ...]:
        """Turn rate, as such and as the time for a whole turn."""
        del width, height
        turn = abs(float(self.turn_deg_s))
        seconds = 360 / turn if turn else inf
        return (
            Quantity("turn rate", "deg/s", turn),
            Quantity("time for a whole turn", "s", seconds, inverse=True),
        )

    @property
    def words(self) -> str:
        """Subject, turn rate, circle and lens."""
        return (
            f"orbit of a {self.subject} at {self._turn_words(2)} deg/s, radius "
            f"{float(self.radius_m):g} m, {float(self.height_m):g} m up, "
            f"field {round(self.hfov_deg, 1):g} deg"
        )

    @property
    def brief(self) -> str:
        """Turn rate and circle."""
        return (
            f"orbit, {self._turn_words(1)} deg/s, radius {float(self.radius_m):g} m, "
            f"{float(self.height_m):g} m up"
        )

    def _turn_words(self, digits: int) -> str:
        return f"{round(abs(float(self.turn_deg_s)), digits):g}"
