"""How fast what is seen moves in the picture, in closed form.

A pinhole camera with square pixels and its axis at the picture's centre sees, at offset
(a, b) pixels right and down from the centre, the point P = Z (a, b, f)/f in camera axes
(right, down, forward). If P moves at V relative to the camera, its image moves at
((f Vx - a Vz)/Z, (f Vy - b Vz)/Z): the derivative of the projection (a, b) = f (X, Y)/Z.

With the camera tilted down by p, q = b cos p + f sin p is how far a ray drops for every
f it goes forward, so that ground h below lies at Z = f h/q where q > 0. What V is, each
pattern knows (`Motion.speed_at`).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, inf, radians, sin

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import Float32Array, FloatArray
from patterns.scenes.motion import ImageMotion, Motion, focal_px

_BORDER_POINTS = 2049  # on each side of the picture, corners included


def crossing_time_s(px_per_s: float, width: int) -> float:
    """Seconds that something at `px_per_s` takes to cross `width` pixels (inf if it rests)."""
    return width / px_per_s if px_per_s else inf


@dataclass(frozen=True)
class Camera:
    """Pinhole camera: focal length in pixels, sine and cosine of its tilt below the horizon."""

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
    moving = places[np.nan_to_num(places) > 0]
    x, y = _candidates(width, height)
    speeds = np.nan_to_num(speed_at(motion, width, height, x, y))
    best = int(np.argmax(speeds.round(9)))
    return ImageMotion(
        fastest_px_s=float(speeds[best]),
        typical_px_s=float(np.median(moving)) if moving.size else 0.0,
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
