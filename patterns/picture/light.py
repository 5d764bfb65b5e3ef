"""Linear light to code values and back.

Light is what the reference display emits, 0 (black) to 1 (peak white): ITU-R BT.1886
with Lb = 0, Lw = 1, that is L = V^2.4 and V = L^(1/2.4). Colour is ITU-R BT.709:
Y' = 0.2126 R' + 0.7152 G' + 0.0722 B', Cb = (B' - Y')/1.8556, Cr = (R' - Y')/1.5748,
8-bit narrow range 16 + 219 Y' and 128 + 224 C.
"""

from __future__ import annotations

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
