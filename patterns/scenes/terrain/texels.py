"""Texels: filtered ground, packed so that one multiplication interpolates neighbouring codes.

A texel is a 32-bit word: its own value in the low half, its follower's along the motion
in the high half, both as code * 4 + 2 (two bits of fraction and the half that makes
cutting off into rounding). Times ((64 - w) << 16 | w) the upper half of the word becomes
(64 - w) * own + w * next, whose upper byte is the interpolated code. Sixty-four steps
from texel to texel place an image to within 1/128 texel.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import Float32Array, FloatArray, IntArray, UInt8Array, UInt32Array
from patterns.picture.planes import codes_of_light
from patterns.scenes.ground import palette

STEPS = 64
WORD = np.dtype("<u4")  # byte 3 is the upper byte on every machine
BLOCK_ROWS = 32  # rows interpolated together: they stay in cache
RUN = 256  # items in numpy's buffer: fewer than a row has

Words = npt.NDArray[np.uint32 | np.uint64]

# What ground looks like on average, for the small correction of `haze_shift`.
MEAN_GROUND = np.array([0.160, 0.164, 0.070], np.float32)


def haze_shift(
    through: FloatArray, through_level: float, colour: bool
) -> npt.NDArray[np.unsignedinteger[Any]]:
    """Word (rows,), double for Cb and Cr, to add where a row's haze is not quite its level's.

    Shifts every code as the code of mean ground would shift; what is left is a change of
    contrast by a few percent between the rows of a level.
    """
    seen = np.append(through, through_level)
    light = MEAN_GROUND[:, None] * seen + palette.HAZE[:, None] * (1 - seen)
    codes = codes_of_light(light.astype(np.float32), colour).astype(np.float64)
    shift = np.rint((codes[:, :-1] - codes[:, -1:]).T * 2**24).astype(np.int64)
    if not colour:
        return (shift[:, 0] & 0xFFFFFFFF).astype(WORD)
    # Cb lies in the low half of a double word; a negative shift borrows from Cr's half,
    # which gives back what the sum carries.
    return (shift[:, 0] + (shift[:, 1] << 32)).astype("<i8").view("<u8")


def half_words(codes: Float32Array) -> npt.NDArray[np.uint16]:
    """Unrounded codes as they lie in one half of a word, of the same shape."""
    scaled = codes * np.float32(4)
    scaled += np.float32(2.5)
    return scaled.astype(np.uint16)


def pack_texels(planes: Sequence[npt.NDArray[np.uint16]], words: UInt32Array) -> None:
    """Fill words (n, ...) of luma, or of Cb and Cr by turns, with half words (n + 1, ...) of each.

    The first axis lies along the motion.
    """
    flat = words.reshape(len(words), -1, len(planes))
    for number, plane in enumerate(planes):
        codes = plane.reshape(len(plane), -1)
        own = flat[..., number]
        np.left_shift(codes[1:], 16, out=own, dtype=np.uint32)
        own |= codes[:-1]


def interpolator(places: FloatArray) -> tuple[IntArray, UInt32Array]:
    """Texel numbers below fractional places, and the words that interpolate there."""
    steps = np.rint(places * STEPS).astype(np.int64)
    weight = steps % STEPS
    return steps // STEPS, (((STEPS - weight) << 16) | weight).astype(WORD)


@contextmanager
def row_by_row() -> Iterator[None]:
    """Let numpy go through a block row by row where each row has a factor of its own.

    With its usual buffer, longer than a row, it first writes such factors out for every item,
    which takes longer than the product itself.
    """
    usual = np.setbufsize(RUN)
    try:
        yield
    finally:
        np.setbufsize(usual)


def write_codes(mixed: UInt32Array, planes: Sequence[UInt8Array], top: int) -> None:
    """Write the codes of interpolated words, which are used up, into rows from `top`.

    `mixed`: words (rows, columns), or (rows, 2 columns) of Cb and Cr by turns.
    `planes`: that of luma, or both of chroma.
    """
    # Shifted and narrowed in plain passes: copying every fourth byte takes longer.
    mixed >>= np.uint32(24)
    rows = slice(top, top + len(mixed))
    if len(planes) == 1:
        np.copyto(planes[0][rows], mixed, casting="unsafe")
        return
    pairs = mixed.astype(np.uint8).view("<u2")
    np.copyto(planes[0][rows], pairs, casting="unsafe")  # the lower byte
    np.copyto(planes[1][rows], pairs >> 8, casting="unsafe")


class TexelPlane(ABC):
    """Luma (`which` 0), or both planes of chroma (1), of consecutive levels, all drawn together.

    Far levels have one or two rows each: what is reckoned for a level, rather than for the
    whole plane, costs more than its pixels.

    `rows`: first and last + 1 row of the plane.
    `origin`, `per_m`: place of each row among its words at first, and how it grows per metre.
    `period`: after how many words each row's begin again.
    `width`: pixels of a row.
    """

    _shift: Words | None = None  # of the mixed words of each row, if there is any

    def __init__(
        self,
        which: int,
        rows: tuple[int, int],
        origin: FloatArray,
        per_m: FloatArray,
        period: Sequence[int],
        width: int,
    ) -> None:
        self._wide = wide_words(which)
        self._top, self._count = rows[0], rows[1] - rows[0]
        self._origin, self._per_m, self._width = origin, per_m, width
        self._period = np.array(period)

    @abstractmethod
    def _take(self, row: int, place: int, cells: Words) -> None:
        """Fill `cells` with the words that the pixels of a row see when it lies at a place."""

    def draw(self, travels_m: Sequence[float], pictures: Sequence[Sequence[UInt8Array]]) -> None:
        """Fill rows of pictures' planes when the camera has come each of `travels_m`, in metres.

        All that they see is in memory.
        """
        found = [interpolator(self._origin + travel_m * self._per_m) for travel_m in travels_m]
        places = [(place % self._period).tolist() for place, _ in found]
        buffer = np.empty((len(found), BLOCK_ROWS, self._width), self._wide)
        with row_by_row():
            for first in range(0, self._count, BLOCK_ROWS):
                rows = slice(first, min(first + BLOCK_ROWS, self._count))
                blocks = buffer[:, : rows.stop - first]
                # Row by row for all pictures: they read nearly the same words.
                for row in range(first, rows.stop):
                    for place, cells in zip(places, blocks[:, row - first], strict=True):
                        self._take(row, place[row], cells)
                for (_, mix), block, planes in zip(found, blocks, pictures, strict=True):
                    mixed = block.view(WORD)
                    mixed *= mix[rows, None]
                    if self._shift is not None:
                        np.add(block, self._shift[rows], out=block)
                    write_codes(mixed, planes, self._top + first)


def wide_words(which: int) -> np.dtype[np.uint32 | np.uint64]:
    """Type of a pixel's words: of luma (0), or of Cb and Cr together (1)."""
    return np.dtype("<u8") if which else WORD


TAPS = (0.6280, -0.1791, 0.0744, -0.0233)  # tapered sinc, sum 1/2


def box_margin(width: float) -> int:
    """Samples that `box_blur` needs beyond each end of what it returns."""
    return int(width / 2) + 1 if width > 0 else 0


def box_blur(samples: Float32Array, width: float) -> Float32Array:
    """Mean over a box `width` samples wide about each sample, along the last axis.

    Between samples the surface is taken as linear. Its integral from a sample on is then
    a parabola, so that the box is exact for any width, fractional ones too:
    I(k + f) = S_k + f s_k + f^2 (s_(k+1) - s_k) / 2, with S the trapezoid sums.

    `samples`: float32 (..., n + 2 m) where m = box_margin(width).
    `width`: width of the box in samples, 0 or more.
    Returns float32 (..., n), the same array if the width is 0.
    """
    margin = box_margin(width)
    if not margin:
        return samples
    count = samples.shape[-1] - 2 * margin
    sums = np.zeros_like(samples)
    np.cumsum((samples[..., 1:] + samples[..., :-1]) * np.float32(0.5), -1, out=sums[..., 1:])
    half = width / 2
    whole = int(half)
    part = half - whole

    def integral(first: int, fraction: float) -> Float32Array:
        here = samples[..., first : first + count]
        slope = samples[..., first + 1 : first + 1 + count] - here
        rest = here * np.float32(fraction) + slope * np.float32(fraction**2 / 2)
        return np.asarray(sums[..., first : first + count] + rest, np.float32)

    right = integral(margin + whole, part)
    # The left end lies at -half = -(whole + 1) + (1 - part).
    left = integral(margin - whole - 1, 1 - part)
    right -= left
    right /= np.float32(width)
    return right


def halved(lines: Float32Array) -> Float32Array:
    """Lines and, between each two, the midpoint; of (n + 2 t - 2, m), (2 n - 1, m).

    The midpoint is band-limited interpolation with a tapered sinc of 2 t taps: eight,
    because anything shorter weakens fine detail half way between lines, which would then
    seem to move unevenly.
    """
    side = len(TAPS) - 1
    kept = len(lines) - 2 * side
    out = np.empty((2 * kept - 1, lines.shape[1]), np.float32)
    out[::2] = lines[side : side + kept]
    middle = np.zeros((kept - 1, lines.shape[1]), np.float32)
    pair = np.empty_like(middle)
    for far, tap in enumerate(TAPS):
        low, high = side - far, side + far + 1
        np.add(lines[low : low + kept - 1], lines[high : high + kept - 1], pair)
        pair *= np.float32(tap)
        middle += pair
    out[1::2] = np.clip(middle, 16, 240, out=middle)
    return out


def kernel(blur: float, aperture: float) -> Float32Array:
    """Weights of whole lines for an aperture and an exposure of so many lines."""
    margin = box_margin(blur) + box_margin(aperture)
    impulse = np.zeros(4 * margin + 1, np.float32)
    impulse[2 * margin] = 1
    return np.asarray(box_blur(box_blur(impulse, aperture), blur), np.float32)


def filtered(light: Float32Array, kernel: Float32Array) -> Float32Array:
    """Lines of light (3, n + 2 m, ...) weighed by a symmetric kernel of 2 m + 1: (3, n, ...)."""
    margin = len(kernel) // 2
    count = light.shape[1] - 2 * margin
    out = light[:, margin : margin + count] * kernel[margin]
    pair = np.empty_like(out[0])
    for channel, lines in zip(out, light, strict=True):
        for far in range(1, margin + 1):
            low, high = margin - far, margin + far
            np.add(lines[low : low + count], lines[high : high + count], pair)
            np.multiply(pair, kernel[high], pair)
            np.add(channel, pair, channel)
    return np.asarray(out, np.float32)


def paired(light: Float32Array) -> Float32Array:
    """Chroma's light: (1, 2, 1) / 4 both ways, every second column; (3, n - 2, m / 2 - 1)."""
    half, quarter = np.float32(0.5), np.float32(0.25)
    count = (light.shape[2] - 1) // 2
    wide = light[:, :, 1 : 2 * count : 2] * half
    wide += quarter * (light[:, :, 0 : 2 * count : 2] + light[:, :, 2 : 2 * count + 1 : 2])
    out = wide[:, 1:-1] * half
    out += quarter * (wide[:, :-2] + wide[:, 2:])
    return np.asarray(out, np.float32)
