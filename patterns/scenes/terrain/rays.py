"""What a level camera sees: where on flat ground each row looks, and the sky, which rests.

Pinhole camera, square pixels, optical axis through the centre of the picture, no roll:
so a row sees a straight line on the ground that lies square to the camera's heading.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np

from patterns.picture.arrays import Float32Array, FloatArray
from patterns.scenes.ground import palette
from patterns.scenes.ground.noise import between, fractal
from patterns.scenes.motion import focal_px
from patterns.scenes.terrain.motion import TerrainMotion


@dataclass(frozen=True)
class Plane:
    """Sampling of a picture plane: positions in luma pixels from the picture's top left."""

    # columns, rows: samples across and down
    columns: int
    rows: int
    pitch: int  # luma pixels from sample to sample: 1 for luma, 2 for chroma

    @property
    def x(self) -> FloatArray:
        """Centre of each column: chroma sits on even luma columns (see `Planes`)."""
        return np.asarray(np.arange(self.columns) * self.pitch + 0.5, np.float64)

    @property
    def y(self) -> FloatArray:
        """Centre of each row: chroma sits between two luma rows."""
        return np.asarray(np.arange(self.rows) * self.pitch + self.pitch / 2, np.float64)


@dataclass(frozen=True)
class Rays:
    """Ground seen by the rows of a plane; rows above the horizon have infinite depth."""

    across: FloatArray  # (columns,) tangent of the angle right of the optical axis
    # (rows,) distance of the row's ground line along the optical axis; a column with tangent a sees
    # the place a * depth_m to the right
    depth_m: FloatArray
    ahead_m: FloatArray  # (rows,) distance over the ground along the heading
    range_m: FloatArray  # (rows,) distance through the air, in the middle column
    # sample_across_m, sample_ahead_m: (rows,) ground covered by one sample, across and along the
    # heading
    sample_across_m: FloatArray
    sample_ahead_m: FloatArray


def tilt(motion: TerrainMotion) -> float:
    """Radians by which the camera looks below the horizon."""
    return radians(float(motion.tilt_deg))


def cast(motion: TerrainMotion, plane: Plane, width: int, height: int) -> Rays:
    """Rays of a plane of a picture that is `width` x `height` luma pixels."""
    focal = focal_px(motion.hfov_deg, width)
    pitch, above = tilt(motion), float(motion.height_m)
    fall = (plane.y - height / 2) / focal
    down = sin(pitch) + fall * cos(pitch)
    depth = np.full(plane.rows, np.inf)
    np.divide(above, down, depth, where=down > 1e-9)
    with np.errstate(invalid="ignore"):
        ahead = depth * (cos(pitch) - fall * sin(pitch))
    return Rays(
        across=(plane.x - width / 2) / focal,
        depth_m=depth,
        ahead_m=ahead,
        range_m=depth * np.sqrt(1 + fall * fall),
        sample_across_m=depth * plane.pitch / focal,
        sample_ahead_m=depth * depth * plane.pitch / (above * focal),
    )


CLOUD_TILE, CLOUD_TEXEL_M = 512, 22.0
# Far hills from the nearest to the farthest: height and its spread in degrees, haze (0 to 1).
RIDGES = ((0.35, 0.22, 0.62), (0.62, 0.34, 0.78), (0.95, 0.42, 0.88))


class Sky:
    """Sky of one seed."""

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng([seed, 0x5C7])
        self._clouds = fractal(rng, CLOUD_TILE, 200, 4, 1.55)
        self._ridges = [_ridge(rng) for _ in RIDGES]

    def light(
        self, motion: TerrainMotion, plane: Plane, width: int, height: int, rows: int
    ) -> Float32Array:
        """Linear light (3, rows, columns) of the topmost rows of a plane."""
        focal = focal_px(motion.hfov_deg, width)
        right = ((plane.x - width / 2) / focal)[None, :]
        fall = ((plane.y[:rows] - height / 2) / focal)[:, None]
        pitch = tilt(motion)
        up = -(np.sin(pitch) + fall * np.cos(pitch))
        ahead = np.cos(pitch) - fall * np.sin(pitch)
        flat = np.hypot(ahead, right)
        lift = np.degrees(np.arctan2(up, flat))
        light = self._air(lift, up, ahead, right)
        self._hills(light, lift, np.degrees(np.arctan2(right, ahead)), plane.pitch / focal)
        return light

    def _air(
        self, lift: FloatArray, up: FloatArray, ahead: FloatArray, right: FloatArray
    ) -> Float32Array:
        high = np.clip(lift, 0, 90)
        blue = 1 - np.exp(-high / 16)
        low = np.exp(-high / 2.2)  # the band of haze that joins sky and ground
        # Clouds lie on a layer 1400 m up; towards the horizon they flatten and pale.
        reach = 1400 / CLOUD_TEXEL_M / np.maximum(up, 0.04)
        cover = between(self._clouds, reach * ahead, reach * right)
        soft = np.clip((cover - 0.15) / 1.9, 0, 1)
        cloud = soft * soft * (3 - 2 * soft) * 0.75 * (1 - np.exp(-((high / 5.5) ** 2)))
        light = np.empty((3, *lift.shape), np.float32)
        for channel in range(3):
            clear = palette.SKY_HORIZON[channel] + blue * (
                palette.SKY_ZENITH[channel] - palette.SKY_HORIZON[channel]
            )
            clear = clear + cloud * (palette.CLOUD[channel] - clear)
            light[channel] = clear + low * (palette.HAZE[channel] - clear)
        return light

    def _hills(
        self, light: Float32Array, lift: FloatArray, bearing: FloatArray, pixel: float
    ) -> None:
        pixel_deg = np.degrees(pixel)
        for (height, spread, haze), ridge in reversed(list(zip(RIDGES, self._ridges, strict=True))):
            place = np.mod(bearing, 360) * (len(ridge) / 360)
            whole = np.floor(place).astype(np.intp)
            part = place - whole
            left, right = ridge[whole % len(ridge)], ridge[(whole + 1) % len(ridge)]
            crest = height + spread * (left + (right - left) * part)
            share = np.clip((crest - lift) / pixel_deg + 0.5, 0, 1)
            # Haze lies deepest at the foot of a hill.
            foot = np.clip(1 - np.maximum(lift, 0) / 1.1, 0, 1)
            veil = haze + (1 - haze) * foot**1.5
            for channel in range(3):
                hill = palette.HILL[channel] + veil * (
                    palette.HAZE[channel] - palette.HILL[channel]
                )
                light[channel] += (hill - light[channel]) * share


def _ridge(rng: np.random.Generator) -> FloatArray:
    """Outline of a line of hills all round, mean 0, about -2 to 2, 4096 samples."""
    wave = np.fft.rfftfreq(4096, 1 / 4096)
    gain = np.where(wave > 0, 1 / np.maximum(wave, 12) ** 1.35, 0) * np.exp(-((wave / 900) ** 2))
    outline = np.fft.irfft(np.fft.rfft(rng.standard_normal(4096)) * gain)
    return np.asarray(outline / outline.std())
