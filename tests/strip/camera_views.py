"""Pictures of single frames through a simulated camera, as the camera tests want them."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy import ndimage

from patterns.picture.arrays import Float32Array, FloatArray, UInt8Array
from patterns.strip.layout import strip_layout
from tests.simulation.camera import Pose, lens, view, warp_light
from tests.strip.frames import clip_of, strip_frame

__all__ = ["CLIP", "seen_light", "strip_corners", "to_luma"]

CLIP = clip_of(1280, 720)
BAND = strip_layout(CLIP.width, CLIP.height, CLIP.rate).band_height
ROWS = (CLIP.height - BAND, CLIP.height)


@lru_cache(maxsize=8)
def _framed(pose: Pose) -> tuple[FloatArray, tuple[int, int]]:
    """Homography to a picture that holds the strip and a margin, and the picture's shape."""
    matrix = view(pose, (CLIP.width, CLIP.height), ROWS)
    corners = _through(matrix)
    low, high = corners.min(axis=0) - 40, corners.max(axis=0) + 40
    shift = np.eye(3)
    shift[:2, 2] = -low
    width, height = (int(v) // 2 * 2 for v in high - low)
    return shift @ matrix, (height, width)


def _through(matrix: FloatArray) -> FloatArray:
    """Picture coordinates of the strip's corners and of points along it."""
    x, y = np.meshgrid(np.linspace(0, CLIP.width, 9), ROWS)
    seen = np.stack([x.ravel(), y.ravel(), np.ones(x.size)], 1) @ matrix.T
    return np.asarray(seen[:, :2] / seen[:, 2:], np.float64)


def strip_corners(pose: Pose) -> FloatArray:
    """True picture coordinates of 9 places along the strip's top, then along its bottom."""
    return _through(_framed(pose)[0])


@lru_cache(maxsize=16)
def seen_light(pose: Pose, number: int) -> Float32Array:
    """Light of frame `number` as the camera sees it."""
    luma = strip_frame(CLIP, number).y
    signal = np.clip((luma.astype(np.float32) - 16) / 219, 0, 1)
    light = np.asarray(signal ** np.float32(2.4), np.float32)
    matrix, shape = _framed(pose)
    return warp_light(light, lens(matrix, shape), 0.02)


def to_luma(
    light: Float32Array, *, gain: float = 0.9, blur_px: float = 0.6, noise: float = 0.004
) -> UInt8Array:
    """Narrow-range luma of a camera with BT.709's transfer (a power near 0.45) and some noise."""
    rng = np.random.default_rng(5)
    soft = ndimage.gaussian_filter(light, blur_px) * gain
    soft = np.clip(soft + noise * rng.standard_normal(soft.shape), 0, 1)
    signal = np.where(soft < 0.018, 4.5 * soft, 1.099 * np.maximum(soft, 1e-9) ** 0.45 - 0.099)
    return np.asarray(np.rint(16 + 219 * signal), np.uint8)
