"""A frame's planes as an RGB picture, for stills and notebooks; pictures as files."""

from __future__ import annotations

from typing import Any

import numpy as np

from patterns.picture.arrays import Float32Array, UInt8Array
from patterns.picture.light import BT709, CB_SPAN, CR_SPAN
from patterns.picture.planes import Planes


def _full_size(plane: UInt8Array) -> Float32Array:
    """Chroma at luma's places: linear between its samples, which sit on the even columns."""
    c = plane.astype(np.float32) - 128
    wide = np.repeat(c, 2, axis=1)
    wide[:, 1:-1:2] = (c[:, :-1] + c[:, 1:]) / 2
    padded = np.pad(wide, ((1, 1), (0, 0)), mode="edge")
    tall = np.repeat(wide, 2, axis=0)
    tall[0::2] = 0.75 * wide + 0.25 * padded[:-2]
    tall[1::2] = 0.75 * wide + 0.25 * padded[2:]
    return tall


def planes_to_rgb(frame: Planes) -> UInt8Array:
    """R'G'B' (height, width, 3) uint8, full range, of a BT.709 narrow-range frame."""
    y = (frame.y.astype(np.float32) - 16) * (255 / 219)
    cb = _full_size(frame.cb) * (255 / 224)
    cr = _full_size(frame.cr) * (255 / 224)
    r, b = y + CR_SPAN * cr, y + CB_SPAN * cb
    red, green, blue = BT709
    g = (y - red * r - blue * b) / green
    rgb = np.stack([r, g, b], axis=-1)
    return np.asarray(np.clip(np.rint(rgb), 0, 255), np.uint8)


def picture_bytes(rgb: UInt8Array, suffix: str, **settings: Any) -> bytes:
    """Picture file of `rgb`, (height, width, 3) uint8, in the format that `suffix` names.

    `rgb`: R'G'B', full range.
    `suffix`: such as '.png'.
    `settings`: of the format, such as `quality`. What is not named is fixed too: the same picture
    gives the same bytes.
    """
    # here, because most commands write no picture and need not wait for it
    from imageio import v3 as iio

    return bytes(iio.imwrite("<bytes>", rgb, plugin="pillow", extension=suffix, **settings))
