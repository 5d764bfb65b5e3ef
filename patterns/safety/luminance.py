"""A frame reduced to a small grid of linear light.

Two luminances are kept, because the two criteria define them differently: relative luminance
decodes R'G'B' with the sRGB curve (WCAG 2.2, "relative luminance"), screen luminance with the
exponent 2.4 of ITU-R BT.1886 and black at zero. SAFETY.md says why a small grid is right.
"""

from __future__ import annotations

from typing import NamedTuple, TypeVar

import numpy as np
import numpy.typing as npt
from PIL import Image

from patterns.picture.arrays import Float32Array, IndexArray, UInt8Array
from patterns.picture.planes import BT709, Planes, srgb_to_light
from patterns.safety.viewing import FINE, Grid, Viewing

QUICK_ROWS = 2  # rows of a cell that a quick look reads
BLOCK_ROWS = 90  # that are worked on at a time, so that all fits a processor's cache
SCALE = 16  # signals are integers, 0 to 255 x 16: eight-bit codes stay exact
TOP = 255 * SCALE

Number = TypeVar("Number", np.float32, np.complex64)

NEUTRAL = 2  # chroma codes this near to 128 are grey


class Shrunk(NamedTuple):
    """One frame in code values, averaged over the fine cells: small enough to be kept."""

    codes: UInt8Array  # uint8, (1, rows, columns) of a grey frame, else (3, rows, columns)
    narrow: bool  # whether they are Y', Cb, Cr in narrow range, else R', G', B' in full range

    @classmethod
    def of_codes(cls, codes: UInt8Array) -> Shrunk:
        """From narrow-range Y', Cb, Cr (3, rows, columns) that are averaged already."""
        return cls(codes[:1] if _is_grey(codes[1:]) else codes, narrow=True)


class Reduced(NamedTuple):
    """One frame on the grids."""

    relative: Float32Array  # float32 (rows, columns), relative luminance, 0 to 1
    screen: Float32Array  # float32 (rows, columns), luminance in cd/m2
    # float32 (3 rows, 3 columns), luminance in cd/m2; after a quick look as `screen`
    screen_fine: Float32Array
    # float32 (rows, columns, 3), linear R, G, B (sRGB curve), or None for a grey frame
    linear_rgb: Float32Array | None
    # integers (1 or 3, ...), the rest as `screen_fine`: the signal, 0 to 4080 once clipped
    signal: IndexArray

    def picture(self) -> UInt8Array:
        """RGB picture, uint8, of the shape of `screen_fine` by 3."""
        codes = np.clip((self.signal + SCALE // 2) // SCALE, 0, 255).astype(np.uint8)
        return np.ascontiguousarray(
            np.moveaxis(np.broadcast_to(codes, (3, *codes.shape[1:])), 0, -1)
        )


def _to_signal(*, narrow: bool) -> Float32Array:
    """(3, 4): signal of codes R', G', B', 1, or of narrow-range BT.709 codes Y', Cb, Cr, 1."""
    matrix = np.eye(3, 4) * SCALE
    if narrow:
        kr, kg, kb = BT709
        luma, chroma = TOP / 219, TOP / 224
        # R' = Y' + 2 (1 - Kr) Cr, B' = Y' + 2 (1 - Kb) Cb, G' from Y' = Kr R' + Kg G' + Kb B'.
        of_cr, of_cb = 2 * (1 - kr) * chroma, 2 * (1 - kb) * chroma
        matrix[:, 0] = luma
        matrix[:, 1:3] = ((0, of_cr), (-of_cb * kb / kg, -of_cr * kr / kg), (of_cb, 0))
        # The fraction is cut off afterwards, so that this rounds.
        matrix[:, 3] = 0.5 - matrix[:, :3] @ (16, 128, 128)
    return matrix.astype(np.float32)


class Reducer:
    """Reduces frames of one size.

    `width`, `height`: size of the frames in pixels.
    `viewing`: for the luminance of peak white.
    `quick`: read two rows of each cell and average whole cells in code. Meant for pictures that are
    smooth from row to row, such as rendered ones, while they are made.
    """

    def __init__(self, width: int, height: int, viewing: Viewing, *, quick: bool = False) -> None:
        self.grid = Grid.of(width, height)
        self._quick = quick
        self._factor = 1 if quick else FINE
        rows, columns = self.grid.rows * self._factor, self.grid.columns * self._factor
        self._fine = (columns, rows)
        level = np.arange(TOP + 1) / TOP
        decoded, emitted = srgb_to_light(level), viewing.peak_cd_m2 * level**2.4
        self._decoded = decoded.astype(np.float32)
        # One look-up gives both luminances, relative and of the screen, as real and imaginary
        # part: for grey, and for R', G' and B'.
        both = decoded + 1j * emitted
        self._tables = [(w * both).astype(np.complex64) for w in (1, *BT709)]
        self._to_signal = (_to_signal(narrow=False), _to_signal(narrow=True))
        # Memory for one frame at a time: taking it anew costs more than the arithmetic.
        self._codes = np.ones((4, BLOCK_ROWS * columns), np.float32)
        self._part = np.empty((BLOCK_ROWS, columns), np.complex64)
        self._whole = np.empty((3, BLOCK_ROWS * columns), np.int32)
        self._signal = np.empty((3, rows, columns), np.intp)
        self._light = np.empty((rows, columns), np.complex64)

    def shrink(self, frame: Planes | UInt8Array) -> Shrunk:
        """Average narrow-range planes, or full-range R'G'B' codes (height, width, 3)."""
        if isinstance(frame, Planes):
            grey = _is_grey(frame.cb) and _is_grey(frame.cr)
            planes = (frame.y,) if grey else (frame.y, frame.cb, frame.cr)
            return Shrunk(np.stack([self._boxes(plane) for plane in planes]), narrow=True)
        codes = np.stack([self._boxes(frame[..., channel]) for channel in range(3)])
        grey = bool((codes[1:] == codes[:1]).all())
        return Shrunk(codes[:1] if grey else codes, narrow=False)

    def reduce(self, shrunk: Shrunk) -> Reduced:
        """Light of a frame; its arrays hold until the next frame is reduced."""
        channels, rows = shrunk.codes.shape[:2]
        signal, light = self._signal[:channels], self._light
        for top in range(0, rows, BLOCK_ROWS):
            block = slice(top, top + BLOCK_ROWS)
            self._look_up(shrunk.codes[:, block], shrunk.narrow, signal[:, block], light[block])
        cells = square_means(light, self._factor)
        # The middle of each cell speaks for its colour: a region of saturated red is flat.
        middle = signal[:, self._factor // 2 :: self._factor, self._factor // 2 :: self._factor]
        rgb = np.moveaxis(np.take(self._decoded, middle, mode="clip"), 0, -1)
        return Reduced(
            np.ascontiguousarray(cells.real),
            np.ascontiguousarray(cells.imag),
            light.imag,
            None if channels == 1 else rgb,
            signal,
        )

    def _look_up(
        self, codes: UInt8Array, narrow: bool, signal: IndexArray, light: npt.NDArray[np.complex64]
    ) -> None:
        """Write the signal and both luminances of some rows of codes."""
        channels, size = len(codes), codes[0].size
        mixed, part = self._codes[:, :size], self._part[: len(light)]
        mixed[:channels] = codes.reshape(channels, -1)
        mixed[channels:3] = 128  # grey has no chroma
        whole = self._whole[:channels, :size]  # on the way to `intp`, which takes half the time
        np.copyto(whole, self._to_signal[narrow][:channels] @ mixed, casting="unsafe")
        np.copyto(signal, whole.reshape(signal.shape))
        for channel, table in enumerate(self._tables[:1] if channels == 1 else self._tables[1:]):
            np.take(table, signal[channel], mode="clip", out=part if channel else light)
            if channel:
                np.add(light, part, out=light)

    def _boxes(self, plane: UInt8Array) -> UInt8Array:
        # Boxes of at most 1/480 of the long side are averaged in code, which costs an
        # eighth of doing so in light and differs only where such a box holds an edge.
        columns, rows = self._fine
        if self._quick:
            step = max(1, plane.shape[0] // (QUICK_ROWS * rows))
            plane = plane[step // 2 :: step]
        height, width = plane.shape
        image = Image.fromarray(np.ascontiguousarray(plane))
        if width % columns == 0 and height % rows == 0:
            return np.asarray(image.reduce((width // columns, height // rows)))
        return np.asarray(image.resize(self._fine, Image.Resampling.BOX))


def square_means(fine: npt.NDArray[Number], side: int) -> npt.NDArray[Number]:
    """Mean of each square of `side` by `side` values."""
    if side == 1:
        return fine
    rows = fine[::side].copy()
    for k in range(1, side):
        rows += fine[k::side]
    total = rows[:, ::side].copy()
    for k in range(1, side):
        total += rows[:, k::side]
    total /= side * side
    return total


def _is_grey(chroma: UInt8Array) -> bool:
    return int(chroma.min()) >= 128 - NEUTRAL and int(chroma.max()) <= 128 + NEUTRAL
