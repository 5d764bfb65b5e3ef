"""Frames with a strip, as the tests of this folder want them."""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache

import numpy as np

from patterns.clip import Clip, StripEdge
from patterns.picture.arrays import UInt8Array
from patterns.picture.planes import Planes
from patterns.scenes.bars.motion import BarsMotion
from patterns.strip.draw import StripDrawer

__all__ = ["NTSC_24", "clip_of", "strip_frame"]

NTSC_24 = Fraction(24000, 1001)
MOTION = BarsMotion(speed_px_s=Fraction(120), period_px=Fraction(120), width_px=Fraction(60))


def clip_of(
    width: int = 1280,
    height: int = 720,
    rate: Fraction = NTSC_24,
    edge: StripEdge = "bottom",
    frames: int = 65536,
) -> Clip:
    """Clip of bars at a shutter angle of 180 degrees."""
    return Clip(MOTION, rate, 1 / (2 * rate), width, height, frames, edge)


@lru_cache(maxsize=4)
def _drawer(clip: Clip) -> StripDrawer:
    return StripDrawer(clip)


def strip_frame(clip: Clip, number: int, picture: UInt8Array | int = 110) -> Planes:
    """Frame with the strip of `number` and a plain or given luma under it."""
    frame = Planes.blank(clip.width, clip.height)
    frame.y[:] = np.asarray(picture, np.uint8)
    _drawer(clip).draw(frame, number)
    return frame
