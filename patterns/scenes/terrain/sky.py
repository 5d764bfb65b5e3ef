"""What does not move in a level flight: the sky, its clouds, and the hills on the horizon."""

from __future__ import annotations

import numpy as np

from patterns.picture.arrays import Float32Array, FloatArray
from patterns.scenes.ground import palette
from patterns.scenes.ground.noise import between, fractal
from patterns.scenes.motion import focal_px
from patterns.scenes.terrain.motion import TerrainMotion
from patterns.scenes.terrain.rays import Plane, tilt

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
