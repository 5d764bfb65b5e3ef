"""Footage put on a timeline of another rate, with grain and compression, as editors do it.

Conversion is plain index arithmetic on frames of the project's clips; grain is numpy's;
compression is the bundled encoder's.
"""

from __future__ import annotations

import subprocess
from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from math import floor
from pathlib import Path

import imageio_ffmpeg
import numpy as np

from patterns.clip import Clip
from patterns.frame_source import FrameSource
from patterns.picture.arrays import Float32Array
from patterns.scenes.bars.motion import BarsMotion
from patterns.scenes.motion import Motion
from patterns.scenes.orbit.motion import OrbitMotion
from patterns.scenes.terrain.motion import TerrainMotion

__all__ = ["PATTERNS", "blended_onto", "encode", "grainy", "repeated_onto", "shot"]

WIDTH, HEIGHT = 320, 180


def _motion(pattern: str) -> Motion:
    if pattern == "bars":
        return BarsMotion(Fraction(200), Fraction(90), Fraction(40))
    if pattern == "terrain":
        return TerrainMotion(ground_speed_m_s=Fraction(60))
    return OrbitMotion(turn_deg_s=Fraction(24))


PATTERNS = ("bars", "terrain", "orbit")


@lru_cache(maxsize=12)
def shot(pattern: str, rate: Fraction, frames: int) -> tuple[Float32Array, ...]:
    """Frames of luma, float32, of a clip without a strip at a shutter of 180 degrees."""
    clip = Clip(_motion(pattern), rate, 1 / (2 * rate), WIDTH, HEIGHT, frames, "none")
    source = FrameSource(clip)
    return tuple(source.draw(n).y.astype(np.float32) for n in range(frames))


def repeated_onto(
    frames: Sequence[Float32Array], rate: Fraction, timeline: Fraction, phase: float = 0.5
) -> tuple[list[Float32Array], list[int]]:
    """Timeline pictures and the frame that each shows, footage left at its own speed."""
    ratio = float(rate / timeline)
    count = int((len(frames) - 1) / ratio)
    indices = [floor(j * ratio + phase) for j in range(count)]
    return [frames[i] for i in indices], indices


def blended_onto(
    frames: Sequence[Float32Array], rate: Fraction, timeline: Fraction
) -> tuple[list[Float32Array], list[float]]:
    """Timeline pictures and the share of the later frame in each."""
    made: list[Float32Array] = []
    shares: list[float] = []
    for j in range(int((len(frames) - 2) * timeline / rate)):
        place = j * rate / timeline
        low, share = floor(place), float(place - floor(place))
        later = np.float32(share)
        mixed = (1 - later) * frames[low] + later * frames[low + 1]
        made.append(np.asarray(mixed, np.float32))
        shares.append(share)
    return made, shares


def grainy(pictures: Sequence[Float32Array], sigma: float, seed: int) -> list[Float32Array]:
    """The same with film grain: blurred noise, another for each picture."""
    rng = np.random.default_rng(seed)
    made = []
    for picture in pictures:
        noise = rng.standard_normal(picture.shape).astype(np.float32)
        soft = (noise + np.roll(noise, 1, 0) + np.roll(noise, 1, 1) + np.roll(noise, 1, (0, 1))) / 2
        made.append(np.asarray(picture + np.float32(sigma) * soft, np.float32))
    return made


def encode(pictures: Sequence[Float32Array], rate: Fraction, path: Path, crf: int = 23) -> Path:
    """H.264 as a platform would make it."""
    height, width = pictures[0].shape
    data = b"".join(np.clip(np.rint(p), 16, 235).astype(np.uint8).tobytes() for p in pictures)
    subprocess.run(
        [
            *(imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-y", "-f", "rawvideo"),
            *("-pix_fmt", "gray", "-s", f"{width}x{height}", "-r", str(rate), "-i", "-"),
            *("-c:v", "libx264", "-preset", "veryfast", "-crf", str(crf)),
            *("-pix_fmt", "yuv420p", str(path)),
        ],
        input=data,
        check=True,
    )
    return path
