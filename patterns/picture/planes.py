"""Frames as an encoder takes them: three planes of bytes, 4:2:0; as light, RGB and picture files.

Light is what the reference display emits, 0 (black) to 1 (peak white): ITU-R BT.1886
with Lb = 0, Lw = 1, that is L = V^2.4 and V = L^(1/2.4). Colour is ITU-R BT.709:
Y' = 0.2126 R' + 0.7152 G' + 0.0722 B', Cb = (B' - Y')/1.8556, Cr = (R' - Y')/1.5748,
8-bit narrow range 16 + 219 Y' and 128 + 224 C.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import Float32Array, FloatArray, UInt8Array

GAMMA = 2.4
BT709 = 0.2126, 0.7152, 0.0722  # of R, G, B in luminance, and of R'G'B' in Y'
CB_SPAN, CR_SPAN = 1.8556, 1.5748  # from Cb, Cr = -1/2 to 1/2
_Y = np.array(BT709)
_CODES = np.stack(  # of R'G'B' in the codes of Y', Cb and Cr
    [219 * _Y, 224 / CB_SPAN * ([0, 0, 1] - _Y), 224 / CR_SPAN * ([1, 0, 0] - _Y)]
).astype(np.float32)


def light_to_signal(light: npt.ArrayLike) -> Float32Array:
    """Signal 0 to 1 of linear light 0 to 1, any shape (clipped): V = L^(1/2.4)."""
    clipped = np.clip(np.asarray(light, np.float32), 0, 1)
    return np.asarray(clipped ** np.float32(1 / GAMMA), np.float32)


def signal_to_light(signal: npt.ArrayLike) -> Float32Array:
    """Linear light 0 to 1 of a signal 0 to 1, any shape (clipped): L = V^2.4."""
    clipped = np.clip(np.asarray(signal, np.float32), 0, 1)
    return np.asarray(clipped ** np.float32(GAMMA), np.float32)


def srgb_to_light(signal: npt.ArrayLike) -> FloatArray:
    """Linear light of an sRGB signal 0 to 1, any shape (IEC 61966-2-1, as WCAG 2.2 quotes it)."""
    c = np.asarray(signal, np.float64)
    return np.where(c <= 0.04045, c / 12.92, ((np.maximum(c, 0.04045) + 0.055) / 1.055) ** 2.4)


def light_to_code(light: npt.ArrayLike) -> UInt8Array:
    """Luma code 16 to 235 of grey linear light 0 to 1, any shape."""
    return np.asarray(np.rint(16 + 219 * light_to_signal(light)), np.uint8)


def code_to_light(code: npt.ArrayLike) -> Float32Array:
    """Linear light of a grey luma code (float codes allowed), any shape."""
    return signal_to_light((np.asarray(code, np.float32) - 16) / 219)


def codes_of_light(light: Float32Array, colour: bool) -> Float32Array:
    """Unrounded codes of linear RGB light (3, ...): (1, ...) of Y', or (2, ...) of Cb and Cr."""
    signal = light_to_signal(light)
    matrix = _CODES[1:] if colour else _CODES[:1]
    codes = np.empty((len(matrix), *light.shape[1:]), np.float32)
    part = np.empty(light.shape[1:], np.float32)
    for number, weights in enumerate(matrix):
        code = codes[number, ...]  # an array for a single colour too
        np.multiply(signal[0], weights[0], code)
        code += np.multiply(signal[1], weights[1], part)
        code += np.multiply(signal[2], weights[2], part)
        code += np.float32(128 if colour else 16)
    return codes


def light_to_ycbcr(rgb: npt.ArrayLike) -> tuple[UInt8Array, UInt8Array, UInt8Array]:
    """Y', Cb, Cr codes of linear RGB light 0 to 1, shape (..., 3), each of shape (...)."""
    light = np.moveaxis(np.asarray(rgb, np.float32), -1, 0)
    codes = [codes_of_light(light, colour) for colour in (False, True)]
    y, cb, cr = np.asarray(np.rint(np.concatenate(codes)), np.uint8)
    return y, cb, cr


class Planes(NamedTuple):
    """Y', Cb and Cr of one frame: BT.709, narrow range, 8 bits, 4:2:0, chroma sited left."""

    y: UInt8Array  # uint8 (height, width), 16 to 235
    # cb, cr: uint8 (height/2, width/2), 16 to 240. Column i, row j is sampled at luma position x =
    # 2 i (sited with the even column), y = 2 j + 1/2 (between the rows), as H.264 (figure 6-1) and
    # H.265 assume unless told otherwise.
    cb: UInt8Array
    cr: UInt8Array

    @classmethod
    def blank(cls, width: int, height: int) -> Planes:
        """Black frame whose planes lie one after the other in one buffer (yuv420p order)."""
        luma = width * height
        buffer = np.empty(luma * 3 // 2, np.uint8)
        buffer[:luma] = 16
        buffer[luma:] = 128
        half = (height // 2, width // 2)
        return cls(
            buffer[:luma].reshape(height, width),
            buffer[luma : luma + luma // 4].reshape(half),
            buffer[luma + luma // 4 :].reshape(half),
        )

    @property
    def width(self) -> int:
        """Width in luma samples."""
        return int(self.y.shape[1])

    @property
    def height(self) -> int:
        """Height in luma samples."""
        return int(self.y.shape[0])

    def rows(self, top: int, bottom: int) -> Planes:
        """View of luma rows `top` to `bottom` (both even) and of the chroma beside them."""
        return self.part(0, top, self.width, bottom)

    def part(self, left: int, top: int, right: int, bottom: int) -> Planes:
        """View of a rectangle of luma samples with even edges, and of the chroma in it."""
        chroma = np.s_[top // 2 : bottom // 2, left // 2 : right // 2]
        return Planes(self.y[top:bottom, left:right], self.cb[chroma], self.cr[chroma])

    def fill(self, y: UInt8Array | int, cb: UInt8Array | int, cr: UInt8Array | int) -> None:
        """Write codes, or whole planes, into all three planes."""
        self.y[:], self.cb[:], self.cr[:] = y, cb, cr

    def copy(self) -> Planes:
        """Independent copy in one buffer."""
        other = Planes.blank(self.width, self.height)
        other.fill(self.y, self.cb, self.cr)
        return other


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
