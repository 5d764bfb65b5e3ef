"""A frame reduced to what the checks look at: a small grid of linear light.

Why a small grid is right. Every limit is a share of the picture: 25 % of the screen, a
quarter of a 10 degree block (2 to 3 % of it). Cells of 1/160 of the long side place the
border of an area to within half a cell, which for a quarter of a 16:9 picture is under
one part in a hundred of its area. Detail finer than a cell (0.2
degree at three picture heights) is averaged in light, as the eye does at that size; WCAG
2.2 exempts balanced patterns under 0.1 degree anyway. Stripes are looked for on a grid
three times finer.

Two luminances are kept, because the two criteria define them differently: relative
luminance decodes R'G'B' with the sRGB curve (WCAG 2.2, "relative luminance"), screen
luminance with the exponent 2.4 of ITU-R BT.1886 and black at zero.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from PIL import Image

from patterns.picture.arrays import Float32Array, FloatArray, IndexArray, UInt8Array
from patterns.picture.planes import Planes
from patterns.safety.viewing import Viewing

__all__ = ["FINE", "Grid", "Matrix", "Reduced", "Reducer", "Shrunk", "srgb_decode"]


LONG_SIDE_CELLS = 160
FINE = 3  # fine cells along the side of a cell
QUICK_ROWS = 2  # rows of a cell that a quick look reads
SCALE = 16  # signals are integers, 0 to 255 x 16: eight-bit codes stay exact
TOP = 255 * SCALE
BT709 = np.array([0.2126, 0.7152, 0.0722])

Matrix = Literal["bt709", "bt601", "bt2020"]
# Kr and Kb of ITU-R BT.709, BT.601 and BT.2020 (the last two from memory).
MATRICES: dict[Matrix, tuple[float, float]] = {
    "bt709": (0.2126, 0.0722),
    "bt601": (0.299, 0.114),
    "bt2020": (0.2627, 0.0593),
}
NEUTRAL = 2  # chroma codes this near to 128 are grey


def srgb_decode(signal: npt.ArrayLike) -> FloatArray:
    """Linear light of an sRGB signal 0 to 1, any shape (IEC 61966-2-1, as WCAG 2.2 quotes it)."""
    c = np.asarray(signal, np.float64)
    return np.where(c <= 0.04045, c / 12.92, ((np.maximum(c, 0.04045) + 0.055) / 1.055) ** 2.4)


@dataclass(frozen=True)
class Grid:
    """Size of the analysis grid, `rows` x `columns` cells, for pictures of a size."""

    rows: int
    columns: int

    @classmethod
    def of(cls, width: int, height: int) -> Grid:
        """Grid whose cells are as square as whole numbers allow."""
        cell = max(width, height) / LONG_SIDE_CELLS
        return cls(max(1, round(height / cell)), max(1, round(width / cell)))

    @property
    def cells(self) -> int:
        """Number of cells."""
        return self.rows * self.columns


@dataclass(frozen=True)
class Shrunk:
    """One frame in code values, averaged over the fine cells: small enough to be kept.

    Attributes
    ----------
    codes
        uint8, (1, rows, columns) of a grey frame, else (3, rows, columns).
    narrow
        Whether they are Y', Cb, Cr in narrow range, else R', G', B' in full range.
    """

    codes: UInt8Array
    narrow: bool


@dataclass(frozen=True)
class Reduced:
    """One frame on the grids.

    Attributes
    ----------
    relative
        float32 (rows, columns), relative luminance, 0 to 1.
    screen
        float32 (rows, columns), luminance in cd/m2.
    screen_fine
        float32 (3 rows, 3 columns), luminance in cd/m2; after a quick look as `screen`.
    linear_rgb
        float32 (rows, columns, 3), linear R, G, B (sRGB curve), or None for a grey frame.
    signal
        Integers (1 or 3, ...), the rest as `screen_fine`: the signal, 0 to 4080 once clipped.
    """

    relative: Float32Array
    screen: Float32Array
    screen_fine: Float32Array
    linear_rgb: Float32Array | None
    signal: IndexArray

    def picture(self) -> UInt8Array:
        """RGB picture, uint8, of the shape of `screen_fine` by 3."""
        codes = np.clip((self.signal + SCALE // 2) // SCALE, 0, 255).astype(np.uint8)
        return np.ascontiguousarray(
            np.moveaxis(np.broadcast_to(codes, (3, *codes.shape[1:])), 0, -1)
        )


def _from_full_range() -> Float32Array:
    """(3, 4): signal of codes R', G', B', 1."""
    return np.eye(3, 4, dtype=np.float32) * np.float32(SCALE)


def _from_narrow_range(kr: float, kb: float) -> Float32Array:
    """(3, 4): signal of codes Y', Cb, Cr, 1."""
    luma, chroma, kg = TOP / 219, TOP / 224, 1 - kr - kb
    # R' = Y' + 2 (1 - Kr) Cr, B' = Y' + 2 (1 - Kb) Cb, G' from Y' = Kr R' + Kg G' + Kb B'.
    of_cr, of_cb = 2 * (1 - kr) * chroma, 2 * (1 - kb) * chroma
    matrix = np.array(
        [
            [luma, 0, of_cr, 0],
            [luma, -of_cb * kb / kg, -of_cr * kr / kg, 0],
            [luma, of_cb, 0, 0],
        ]
    )
    # The fraction is cut off afterwards, so that this rounds.
    matrix[:, 3] = 0.5 - matrix[:, :3] @ (16, 128, 128)
    return matrix.astype(np.float32)


class Reducer:
    """Reduces frames of one size.

    Parameters
    ----------
    width, height
        Size of the frames in pixels.
    viewing
        For the luminance of peak white.
    quick
        Read two rows of each cell and average whole cells in code. Meant for pictures that are
        smooth from row to row, such as rendered ones, while they are made.
    matrix
        Key of `MATRICES`: how planes are made of R'G'B'.
    """

    def __init__(
        self,
        width: int,
        height: int,
        viewing: Viewing,
        *,
        quick: bool = False,
        matrix: Matrix = "bt709",
    ) -> None:
        self.grid = Grid.of(width, height)
        self._quick = quick
        self._factor = 1 if quick else FINE
        rows, columns = self.grid.rows * self._factor, self.grid.columns * self._factor
        self._fine = (columns, rows)
        level = np.arange(TOP + 1) / TOP
        decoded, emitted = srgb_decode(level), viewing.peak_cd_m2 * level**2.4
        self._decoded = decoded.astype(np.float32)
        # relative and screen luminance, of grey and of R', G', B'
        self._tables = [
            (self._decoded, emitted.astype(np.float32)),
            *(((w * decoded).astype(np.float32), (w * emitted).astype(np.float32)) for w in BT709),
        ]
        self._to_signal = (_from_full_range(), _from_narrow_range(*MATRICES[matrix]))
        # Memory for one frame at a time: taking it anew costs more than the arithmetic.
        self._codes = np.ones((4, rows * columns), np.float32)
        self._signal = np.empty((3, rows, columns), np.intp)
        self._light = np.empty((3, rows, columns), np.float32)

    def shrink(self, frame: Planes | UInt8Array) -> Shrunk:
        """Average narrow-range planes, or full-range R'G'B' codes (height, width, 3)."""
        if isinstance(frame, Planes):
            grey = self._is_grey(frame.cb) and self._is_grey(frame.cr)
            planes = (frame.y,) if grey else (frame.y, frame.cb, frame.cr)
            return Shrunk(np.stack([self._boxes(plane) for plane in planes]), narrow=True)
        codes = np.stack([self._boxes(frame[..., channel]) for channel in range(3)])
        grey = bool((codes[1:] == codes[:1]).all())
        return Shrunk(codes[:1] if grey else codes, narrow=False)

    def reduce(self, shrunk: Shrunk) -> Reduced:
        """Light of a frame; its arrays hold until the next frame is reduced."""
        channels = len(shrunk.codes)
        grey = channels == 1
        codes, signal = self._codes, self._signal[:channels]
        codes[:channels] = shrunk.codes.reshape(channels, -1)
        if grey:
            codes[1:3] = 128  # no chroma
        made = self._to_signal[shrunk.narrow][:channels] @ codes
        np.copyto(signal, made.reshape(signal.shape), casting="unsafe")
        relative, screen, part = self._light
        for channel, tables in enumerate(self._tables[:1] if grey else self._tables[1:]):
            for table, total in zip(tables, (relative, screen), strict=True):
                np.take(table, signal[channel], mode="clip", out=part if channel else total)
                if channel:
                    np.add(total, part, out=total)
        # The middle of each cell speaks for its colour: a region of saturated red is flat.
        middle = signal[:, self._factor // 2 :: self._factor, self._factor // 2 :: self._factor]
        return Reduced(
            self._cell_means(relative),
            self._cell_means(screen),
            screen,
            None if grey else np.moveaxis(np.take(self._decoded, middle, mode="clip"), 0, -1),
            signal,
        )

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

    @staticmethod
    def _is_grey(plane: UInt8Array) -> bool:
        return int(plane.min()) >= 128 - NEUTRAL and int(plane.max()) <= 128 + NEUTRAL

    def _cell_means(self, fine: Float32Array) -> Float32Array:
        if self._factor == 1:
            return fine
        rows = fine[0::FINE] + fine[1::FINE] + fine[2::FINE]
        total = rows[:, 0::FINE] + rows[:, 1::FINE] + rows[:, 2::FINE]
        return np.asarray(total / np.float32(FINE * FINE), np.float32)
