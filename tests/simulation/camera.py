"""A simulated hand-held camera: pose, optics, uneven light, sensor, tone curve.

Geometry by scikit-image's projective transforms, resampling and blur by SciPy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from skimage.transform import ProjectiveTransform, estimate_transform

from patterns.picture.arrays import Float32Array, FloatArray, UInt8Array

__all__ = [
    "FastSensor",
    "Lens",
    "Optics",
    "Pose",
    "Sensor",
    "Shake",
    "Veil",
    "develop",
    "lens",
    "veil_maps",
    "view",
    "warp_light",
]

TABLE = 1 << 14  # steps of light in the table of tones
DISTANCE = 1.3  # of the camera from the strip's middle, in strip lengths: about 42 degrees across


@dataclass(frozen=True)
class Pose:
    """How the camera looks at the strip.

    `tilt_deg` is the angle between the optical axis and the screen's normal, leaning
    towards `azimuth_deg`; `roll_deg` turns about the optical axis; `length_px` is the
    strip's length at its middle's distance.
    """

    tilt_deg: float
    azimuth_deg: float
    roll_deg: float
    length_px: float
    mirrored: bool = False


@dataclass(frozen=True)
class Shake:
    """Movement: drift and jitter in pixels per picture."""

    drift_px: float
    jitter_px: float


@dataclass(frozen=True)
class Optics:
    """Blur as a Gaussian's sigma in pixels."""

    blur_px: float

    def seen(self, light: Float32Array) -> Float32Array:
        """Light after the blur."""
        return np.asarray(ndimage.gaussian_filter(light, self.blur_px, mode="nearest"), np.float32)


@dataclass(frozen=True)
class Veil:
    """Uneven light: gain falls to `darkest`; room light and a spot are added (1 = white).

    `ripple` is the depth of a moire-like pattern of `ripple_px` period.
    """

    darkest: float
    flat: float
    spot: float
    ripple: float
    ripple_px: float


@dataclass(frozen=True)
class Sensor:
    """Gain (1: white just fits), shot and read noise, an S-shaped tone curve's strength."""

    gain: float
    shot: float
    read: float
    contrast: float = 0.0


def view(pose: Pose, size: tuple[int, int], strip_rows: tuple[int, int]) -> FloatArray:
    """Homography (3, 3) from frame pixels (x, y) to camera pixels, the strip's middle at 0, 0."""
    width = size[0]
    middle = np.array([width / 2, sum(strip_rows) / 2])
    corners = np.array(
        [(0, strip_rows[0]), (width, strip_rows[0]), (width, strip_rows[1]), (0, strip_rows[1])],
        float,
    )
    tilt, azimuth, roll = np.radians([pose.tilt_deg, pose.azimuth_deg, pose.roll_deg])
    axis = np.array([np.cos(azimuth), np.sin(azimuth), 0])
    cross = np.array([[0, 0, axis[1]], [0, 0, -axis[0]], [-axis[1], axis[0], 0]])
    turn = np.eye(3) + np.sin(tilt) * cross + (1 - np.cos(tilt)) * cross @ cross
    plane = np.concatenate([(corners - middle) / width, np.zeros((4, 1))], axis=1)
    if pose.mirrored:
        plane[:, 0] *= -1
    space = plane @ turn.T
    seen = space[:, :2] * DISTANCE / (DISTANCE + space[:, 2:]) * pose.length_px
    c, s = np.cos(roll), np.sin(roll)
    seen = seen @ np.array([[c, s], [-s, c]])
    return np.asarray(estimate_transform("projective", corners, seen).params, np.float64)


@dataclass(frozen=True)
class Lens:
    """Where each camera pixel looks on the frame, (2, pixels) as row and column, and how wide."""

    at: Float32Array
    shape: tuple[int, int]
    aperture_px: int


def lens(matrix: FloatArray, shape: tuple[int, int]) -> Lens:
    """Rays of a camera of `shape` through the homography from frame to camera pixels."""
    inverse = ProjectiveTransform(matrix).inverse
    rows, columns = np.mgrid[: shape[0], : shape[1]]
    at = inverse(np.stack([columns.ravel() + 0.5, rows.ravel() + 0.5], 1)) - 0.5
    middle = np.array([shape[1] / 2, shape[0] / 2])
    corner = inverse(middle + np.array([[0, 0], [1, 0], [0, 1]]))
    area = abs(float(np.linalg.det(corner[1:] - corner[0])))
    aperture = max(1, round(area**0.5))
    return Lens(np.ascontiguousarray(at.T[::-1], np.float32), shape, aperture)


def warp_light(light: Float32Array, through: Lens, room: float) -> Float32Array:
    """See a frame of linear light; what lies beside it has the light `room`.

    The frame is blurred first by the part of a pixel's aperture that one sample misses.
    """
    soft = ndimage.uniform_filter(light, size=through.aperture_px, mode="nearest")
    seen = ndimage.map_coordinates(soft, through.at, order=1, mode="constant", cval=room)
    return np.asarray(seen.reshape(through.shape), np.float32)


def _tone(light: Float32Array, contrast: float) -> Float32Array:
    """IEC 61966-2-1 encoding, then an S-curve as phones add: a smoothstep's share."""
    curve = np.where(
        light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055
    )
    return np.asarray(curve + contrast * (curve * curve * (3 - 2 * curve) - curve), np.float32)


def veil_maps(
    veil: Veil, shape: tuple[int, int], rng: np.random.Generator
) -> tuple[Float32Array, Float32Array]:
    """Gain and added light of every pixel."""
    rows, columns = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    x, y = columns / shape[1] - 0.5, rows / shape[0] - 0.5
    angle, wave, phase = rng.random(3) * 2 * np.pi
    slope = x * np.cos(angle) + y * np.sin(angle)
    gain = veil.darkest + (1 - veil.darkest) * np.clip(0.5 + slope, 0, 1)
    ripple = np.sin(
        2 * np.pi * (columns * np.cos(wave) + rows * np.sin(wave)) / veil.ripple_px + phase
    )
    gain = gain * (1 + veil.ripple * ripple)
    centre = rng.uniform(-0.5, 0.5, 2)
    spread = rng.uniform(0.1, 0.3)
    spot = np.exp(-((x - centre[0]) ** 2 + (y - centre[1]) ** 2) / (2 * spread**2))
    return gain.astype(np.float32), (veil.flat + veil.spot * spot).astype(np.float32)


def develop(
    light: Float32Array,
    optics: Optics,
    sensor: Sensor,
    veil: tuple[Float32Array, Float32Array],
    rng: np.random.Generator,
) -> Float32Array:
    """Signal 0 to 1 of one picture from the light of the screen."""
    seen = (optics.seen(light) * veil[0] + veil[1]) * np.float32(sensor.gain)
    sigma = np.sqrt(sensor.shot * seen + sensor.read**2)
    seen = seen + sigma * rng.standard_normal(seen.shape, np.float32)
    return _tone(np.clip(seen, 0, 1), sensor.contrast)


class FastSensor:
    """The same for many pictures: noise cut at random from one field, the tone from a table."""

    def __init__(self, sensor: Sensor, shape: tuple[int, int], rng: np.random.Generator) -> None:
        self._sensor = sensor
        self._spare = 256
        field = (shape[0] + self._spare, shape[1] + self._spare)
        self._noise = rng.standard_normal(field, np.float32)
        levels = np.linspace(0, 1, TABLE, dtype=np.float32)
        self._codes = np.rint(16 + 219 * _tone(levels, sensor.contrast)).astype(np.uint8)

    def luma(
        self,
        seen: Float32Array,
        veil: tuple[Float32Array, Float32Array],
        rng: np.random.Generator,
    ) -> UInt8Array:
        """Narrow-range luma of one picture."""
        light = (seen * veil[0] + veil[1]) * np.float32(self._sensor.gain)
        top, left = rng.integers(0, self._spare, 2)
        height, width = light.shape
        noise = self._noise[top : top + height, left : left + width]
        read, shot = np.float32(self._sensor.read**2), np.float32(self._sensor.shot)
        light += np.sqrt(shot * light + read) * noise
        index = np.clip(light * np.float32(TABLE - 1), 0, TABLE - 1).astype(np.uint16)
        return np.asarray(self._codes[index], np.uint8)
