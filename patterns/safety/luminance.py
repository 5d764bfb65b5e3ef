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

from patterns.rendering.planes import Planes, UInt8Array
from patterns.safety.viewing import Viewing

__all__ = ["FINE", "FloatGrid", "Grid", "Matrix", "Reduced", "Reducer", "Shrunk", "srgb_decode"]

FloatGrid = npt.NDArray[np.float32]
CodeGrid = npt.NDArray[np.int16]

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


def srgb_decode(signal: npt.ArrayLike) -> npt.NDArray[np.float64]:
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
        int16, of the shape of `screen_fine`, or (3, ...): the signal, 0 to 4080.
    """

    relative: FloatGrid
    screen: FloatGrid
    screen_fine: FloatGrid
    linear_rgb: FloatGrid | None
    signal: CodeGrid

    def picture(self) -> UInt8Array:
        """RGB picture, uint8, of the shape of `screen_fine` by 3."""
        codes = np.asarray((self.signal + SCALE // 2) // SCALE, np.uint8)
        planes = codes if codes.ndim == 3 else np.stack([codes] * 3)
        return np.ascontiguousarray(np.moveaxis(planes, 0, -1))


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
        self._fine = (self.grid.columns * self._factor, self.grid.rows * self._factor)
        signal = np.arange(TOP + 1) / TOP
        decoded, emitted = srgb_decode(signal), viewing.peak_cd_m2 * signal**2.4
        self._decoded = decoded.astype(np.float32)
        self._relative = [(w * decoded).astype(np.float32) for w in BT709]
        self._screen = [(w * emitted).astype(np.float32) for w in BT709]
        self._relative_grey = decoded.astype(np.float32)
        self._screen_grey = emitted.astype(np.float32)
        code = np.arange(256)
        self._luma = np.clip(np.rint((code - 16) * (TOP / 219)), 0, TOP).astype(np.int16)
        chroma = (code - 128) * (TOP / 224)
        # R' = Y' + 2 (1 - Kr) Cr, B' = Y' + 2 (1 - Kb) Cb, G' from Y' = Kr R' + Kg G' + Kb B'.
        kr, kb = MATRICES[matrix]
        of_cr, of_cb = 2 * (1 - kr), 2 * (1 - kb)
        self._red_of_cr = np.rint(of_cr * chroma).astype(np.int16)
        self._blue_of_cb = np.rint(of_cb * chroma).astype(np.int16)
        self._green_of_cr = np.rint(-of_cr * kr / (1 - kr - kb) * chroma).astype(np.int16)
        self._green_of_cb = np.rint(-of_cb * kb / (1 - kr - kb) * chroma).astype(np.int16)

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
        """Light of a frame."""
        grey = len(shrunk.codes) == 1
        if not shrunk.narrow:
            signal = shrunk.codes.astype(np.int16) * SCALE
            return self._grey(signal[0]) if grey else self._coloured(signal)
        luma = np.take(self._luma, shrunk.codes[0])
        if grey:
            return self._grey(luma)
        _, cb, cr = shrunk.codes
        rgb = np.empty((3, *luma.shape), np.int16)
        np.add(luma, np.take(self._red_of_cr, cr), out=rgb[0])
        np.add(luma, np.take(self._green_of_cr, cr), out=rgb[1])
        rgb[1] += np.take(self._green_of_cb, cb)
        np.add(luma, np.take(self._blue_of_cb, cb), out=rgb[2])
        return self._coloured(np.clip(rgb, 0, TOP, out=rgb))

    def _grey(self, signal: CodeGrid) -> Reduced:
        fine = np.take(self._screen_grey, signal)
        relative = self._cell_means(np.take(self._relative_grey, signal))
        return Reduced(relative, self._cell_means(fine), fine, None, signal)

    def _coloured(self, signal: CodeGrid) -> Reduced:
        fine, relative = (
            np.take(t[0], signal[0]) + np.take(t[1], signal[1]) + np.take(t[2], signal[2])
            for t in (self._screen, self._relative)
        )
        # The middle of each cell speaks for its colour: a region of saturated red is flat.
        middle = self._factor // 2
        linear = np.stack(
            [
                np.take(self._decoded, c[middle :: self._factor, middle :: self._factor])
                for c in signal
            ]
        )
        return Reduced(
            self._cell_means(relative),
            self._cell_means(fine),
            fine,
            np.moveaxis(linear, 0, -1),
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

    def _cell_means(self, fine: FloatGrid) -> FloatGrid:
        if self._factor == 1:
            return fine
        rows = fine[0::FINE] + fine[1::FINE] + fine[2::FINE]
        total = rows[:, 0::FINE] + rows[:, 1::FINE] + rows[:, 2::FINE]
        return np.asarray(total / np.float32(FINE * FINE), np.float32)
