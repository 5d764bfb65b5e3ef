"""How fast what is seen moves in the picture, in closed form.

A pinhole camera with square pixels and its axis at the picture's centre sees, at offset
(a, b) pixels right and down from the centre, the point P = Z (a, b, f)/f in camera axes
(right, down, forward). If P moves at V relative to the camera, its image moves at
((f Vx - a Vz)/Z, (f Vy - b Vz)/Z): the derivative of the projection (a, b) = f (X, Y)/Z.

With the camera tilted down by p, q = b cos p + f sin p is how far a ray drops for every
f it goes forward, so that ground h below lies at Z = f h/q where q > 0.

Flight at v: V is minus the camera's velocity. Orbit at w rad/s, seen from the camera:
the world turns about a vertical axis that its own axis meets at distance D, so
V = w u x (P - (0, 0, D)) with u = (0, -cos p, -sin p), up.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, inf, nan, pi, radians, sin

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import Float32Array, FloatArray
from patterns.scenes.motion import (
    BarsMotion,
    ImageMotion,
    Motion,
    OrbitMotion,
    TerrainMotion,
    focal_px,
)

__all__ = [
    "RING_RADIUS_M",
    "RING_TOP_M",
    "crossing_time_s",
    "image_motion",
    "speed_at",
    "speed_map",
]


RING_RADIUS_M = 3000.0  # the hills about an orbit stand on this circle, on its subject's axis
RING_TOP_M = 190.0  # height on it, metres above the ground, up to which their tops are seen

_BORDER_POINTS = 2049  # on each side of the picture, corners included


def crossing_time_s(px_per_s: float, width: int) -> float:
    """Seconds that something at `px_per_s` takes to cross `width` pixels (inf if it rests)."""
    return width / px_per_s if px_per_s else inf


@dataclass(frozen=True)
class _Camera:
    """Pinhole camera: focal length in pixels, sine and cosine of its tilt below the horizon."""

    f: float
    sin_p: float
    cos_p: float

    @classmethod
    def of(cls, hfov_deg: float, pitch_deg: float, width: int) -> _Camera:
        p = radians(pitch_deg)
        return cls(focal_px(hfov_deg, width), sin(p), cos(p))

    def drop(self, b: FloatArray) -> FloatArray:
        return b * self.cos_p + self.f * self.sin_p


def speed_at(
    motion: Motion, width: int, height: int, x_px: npt.ArrayLike, y_px: npt.ArrayLike
) -> FloatArray:
    """Image speed at places of a `width` x `height` picture, pixels a second.

    Parameters
    ----------
    x_px, y_px
        Places from the picture's top left corner (0 to `width`, 0 to `height`; pixel
        (i, j) has its centre at i + 1/2, j + 1/2), broadcast against each other.

    Returns
    -------
    float64, nan where there is sky: what moves there is soft, and a flight's rests.
    """
    x, y = np.broadcast_arrays(np.asarray(x_px, np.float64), np.asarray(y_px, np.float64))
    a, b = x - width / 2, y - height / 2
    if isinstance(motion, BarsMotion):
        return np.full(a.shape, abs(float(motion.speed_px_s)))
    if isinstance(motion, TerrainMotion):
        return _flight_speed(motion, width, a, b)
    return _orbit_speed(motion, width, a, b)


def _flight_pitch(motion: TerrainMotion) -> float:
    return 90.0 if motion.flight == "down" else float(motion.pitch_deg)


def _flight_speed(motion: TerrainMotion, width: int, a: FloatArray, b: FloatArray) -> FloatArray:
    camera = _Camera.of(motion.hfov_deg, _flight_pitch(motion), width)
    v, h = float(motion.ground_speed_m_s), float(motion.height_m)
    q = camera.drop(b)
    if motion.flight == "forward":  # V = v (0, sin p, -cos p)
        speed = v * q / (h * camera.f) * np.hypot(a * camera.cos_p, q)
    else:  # V = (v, 0, 0); straight down, either direction gives the same speed
        speed = v * q / h
    return np.asarray(np.where(q > 0, speed, nan), np.float64)


def _orbit_speed(motion: OrbitMotion, width: int, a: FloatArray, b: FloatArray) -> FloatArray:
    camera = _Camera.of(motion.hfov_deg, motion.pitch_deg, width)
    f, s, c = camera.f, camera.sin_p, camera.cos_p
    aim_distance = float(np.hypot(float(motion.radius_m), _aim_drop_m(motion)))
    nearness = _orbit_nearness(motion, camera, a, b)  # 1/Z
    across = f * c * (aim_distance * nearness - 1) + s * b - c * a * a / f
    down = a * camera.drop(b) / f
    return abs(radians(float(motion.turn_deg_s))) * np.hypot(across, down)


def _aim_drop_m(motion: OrbitMotion) -> float:
    return float(motion.height_m) - motion.aim_height_m


def _orbit_nearness(
    motion: OrbitMotion, camera: _Camera, a: FloatArray, b: FloatArray
) -> FloatArray:
    """1/Z of the ground or, beyond it, of the ring of hills; nan where there is sky."""
    radius, h = float(motion.radius_m), float(motion.height_m)
    q = camera.drop(b)
    ahead = camera.f * camera.cos_p - b * camera.sin_p  # horizontal part of the ray, along the look
    level2 = ahead * ahead + a * a
    # From the axis at distance `radius` inside the ring, a ray meets the ring at
    # (ahead, a, q) times the positive root of |(t ahead - radius, t a)| = ring.
    inner = radius * radius * ahead * ahead + level2 * (RING_RADIUS_M**2 - radius * radius)
    with np.errstate(divide="ignore"):
        ring = 1 / ((radius * ahead + np.sqrt(inner)) / np.maximum(level2, 1e-12))
    ground = q / h
    on_hills = np.where(h - q / ring <= RING_TOP_M, ring, nan)
    return np.asarray(np.where(ground > ring, ground, on_hills) / camera.f, np.float64)


def speed_map(motion: Motion, width: int, height: int, grid: int = 96) -> Float32Array:
    """Image speed over a picture, pixels a second.

    Parameters
    ----------
    width, height
        Size of the picture in pixels (of the part of the frame that the strip leaves).
    grid
        Columns of the map; its rows follow from the picture's shape (at least 2).

    Returns
    -------
    float32 (rows, grid): the speed of what is visible at the centre of each cell; nan
    where there is sky. An orbit's subject, slower than all that is behind it, is left out.
    """
    rows = max(2, round(grid * height / width))
    x = (np.arange(grid) + 0.5) * width / grid
    y = (np.arange(rows) + 0.5) * height / rows
    return speed_at(motion, width, height, x[None, :], y[:, None]).astype(np.float32)


def image_motion(motion: Motion, width: int, height: int) -> ImageMotion:
    """Fastest and typical image speed of a motion in a `width` x `height` picture.

    The fastest place is sought on the picture's exact border, along the top of an orbit's
    hills, and on a grid inside; the typical speed is the median over the grid's places
    that move.
    """
    places = speed_map(motion, width, height).astype(np.float64)
    moving = places[np.nan_to_num(places) > 0]
    x, y = _candidates(motion, width, height)
    speeds = np.nan_to_num(speed_at(motion, width, height, x, y))
    best = int(np.argmax(speeds.round(9)))
    return ImageMotion(
        fastest_px_s=float(speeds[best]),
        typical_px_s=float(np.median(moving)) if moving.size else 0.0,
        fastest_xy=(float(x[best]) / width, float(y[best]) / height),
    )


def _candidates(motion: Motion, width: int, height: int) -> tuple[FloatArray, FloatArray]:
    """Places at which the fastest point of the picture can lie."""
    centre = np.array([0.5])  # first, so that it stands for a picture that moves as one
    s = np.linspace(0, 1, _BORDER_POINTS)
    middle_first = s[np.argsort(np.abs(s - 0.5), kind="stable")]  # of equal places, the middle one
    nought, one = np.zeros_like(s), np.ones_like(s)
    inner = (np.arange(48) + 0.5) / 48
    inner_x, inner_y = np.meshgrid(inner, inner)
    x = np.concatenate([centre, middle_first, middle_first, nought, one, inner_x.ravel()]) * width
    y = np.concatenate([centre, one, nought, s, s, inner_y.ravel()]) * height
    if isinstance(motion, OrbitMotion):
        sky_x, sky_y = _hilltops(motion, width, height)
        x, y = np.concatenate([x, sky_x]), np.concatenate([y, sky_y])
    return x, y


def _hilltops(motion: OrbitMotion, width: int, height: int) -> tuple[FloatArray, FloatArray]:
    """Top of the hills where it lies in the picture, both ends exactly at its sides."""
    camera = _Camera.of(motion.hfov_deg, motion.pitch_deg, width)
    half = width / 2
    a, b = _hilltop_offsets(motion, camera, np.linspace(-pi / 2, pi / 2, 8193))
    _a, b_side = _hilltop_offsets(motion, camera, np.array([_side_angle(motion, camera, half)]))
    a = np.concatenate([[-half, half], a])
    b = np.concatenate([b_side, b_side, b]) + 1e-6  # just below the top, where it still is hill
    seen = (np.abs(a) <= half) & (np.abs(b) <= height / 2)
    return a[seen] + half, b[seen] + height / 2


def _hilltop_offsets(
    motion: OrbitMotion, camera: _Camera, angle: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Picture offsets (a, b) of the hills' top at level angles from the look, radians."""
    radius = float(motion.radius_m)
    level = radius * np.cos(angle) + np.sqrt(RING_RADIUS_M**2 - (radius * np.sin(angle)) ** 2)
    drop = float(motion.height_m) - RING_TOP_M
    ahead = level * np.cos(angle)
    depth = ahead * camera.cos_p + drop * camera.sin_p
    with np.errstate(divide="ignore", invalid="ignore"):
        a = camera.f * level * np.sin(angle) / depth
        b = camera.f * (drop * camera.cos_p - ahead * camera.sin_p) / depth
    outside = depth <= 0
    return np.where(outside, np.inf, a), np.where(outside, np.inf, b)


def _side_angle(motion: OrbitMotion, camera: _Camera, half: float) -> float:
    """Level angle at which the hills' top leaves the picture's side, by bisection."""
    low, high = 0.0, pi / 2
    for _ in range(60):
        middle = (low + high) / 2
        a, _b = _hilltop_offsets(motion, camera, np.array([middle]))
        low, high = (middle, high) if a[0] < half else (low, middle)
    return low
