"""Drawn pictures as planes of a video frame, and pasting one frame into another."""

from __future__ import annotations

import numpy as np
from PIL import Image

from patterns.picture.arrays import UInt8Array
from patterns.picture.light import light_to_ycbcr, signal_to_light
from patterns.picture.planes import Planes

__all__ = ["colour_codes", "image_to_planes", "paste"]


def _quartered(plane: UInt8Array) -> UInt8Array:
    """Mean of each 2 x 2 block."""
    rows, columns = plane.shape
    blocks = plane.reshape(rows // 2, 2, columns // 2, 2).astype(np.float32)
    return np.asarray(np.rint(blocks.mean(axis=(1, 3))), np.uint8)


def image_to_planes(image: Image.Image) -> Planes:
    """Planes of an RGB picture with even sides."""
    signal = np.asarray(image.convert("RGB"), np.float32) / 255
    y, cb, cr = light_to_ycbcr(signal_to_light(signal))
    planes = Planes.blank(image.width, image.height)
    planes.y[:], planes.cb[:], planes.cr[:] = y, _quartered(cb), _quartered(cr)
    return planes


def colour_codes(colour: str) -> tuple[int, int, int]:
    """Y', Cb and Cr codes of a colour '#rrggbb'."""
    signal = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)], np.float32) / 255
    y, cb, cr = light_to_ycbcr(signal_to_light(signal))
    return int(y), int(cb), int(cr)


def paste(source: Planes, frame: Planes, left: int, top: int) -> None:
    """Copy `source` into `frame` with its top left at even coordinates."""
    height, width = source.y.shape
    frame.y[top : top + height, left : left + width] = source.y
    rows = slice(top // 2, (top + height) // 2)
    columns = slice(left // 2, (left + width) // 2)
    frame.cb[rows, columns] = source.cb
    frame.cr[rows, columns] = source.cr
