"""Planes of a picture, put together row by row from the words of consecutive levels."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import FloatArray, UInt8Array
from patterns.scenes.terrain.levels import LineLevel
from patterns.scenes.terrain.rows import TEXELS, RowLevel
from patterns.scenes.terrain.texels import WORD, interpolator, row_by_row, write_codes

BLOCK_ROWS = 32  # rows interpolated together: they stay in cache

Words = npt.NDArray[np.uint32 | np.uint64]


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


class LinePlane(TexelPlane):
    """Of levels for flight along the heading: a row is taken from one line, and hazed."""

    def __init__(self, levels: list[LineLevel], which: int) -> None:
        self._shift = np.concatenate([level.shifts[which] for level in levels])[:, None]
        self._lines: list[Words] = []
        for level in levels:
            words = level.words[which].view(wide_words(which))
            self._lines += [words[..., 0] if which else words] * len(level.places[which])
        self._columns = [row for level in levels for row in level.columns[which]]
        ahead = [level.lines(1.0)[which][:1] - level.lines(0.0)[which][:1] for level in levels]
        counts = [len(level.places[which]) for level in levels]
        super().__init__(
            which,
            (levels[0].rows[which].start, levels[-1].rows[which].stop),
            origin=np.concatenate([level.lines(0.0)[which] for level in levels]),
            per_m=np.repeat(np.concatenate(ahead), counts),
            period=[len(lines) for lines in self._lines],
            width=len(self._columns[0]),
        )

    def _take(self, row: int, place: int, cells: Words) -> None:
        self._lines[row][place].take(self._columns[row], 0, cells, "clip")


class RowPlane(TexelPlane):
    """Of levels for flight across the heading: a row is a stretch of its own strip."""

    def __init__(self, levels: list[RowLevel], which: int) -> None:
        self._strips = [
            strip.view(wide_words(which))[:, 0] for level in levels for strip in level.words[which]
        ]
        per_m = TEXELS / np.concatenate([level.samples_m[which] for level in levels])
        width = levels[0].widths[which]
        self._length = TEXELS * width
        super().__init__(
            which,
            (levels[0].rows[which].start, levels[-1].rows[which].stop),
            origin=np.concatenate([level.lefts_m[which] for level in levels]) * per_m,
            per_m=per_m,
            period=[len(strip) // 2 for strip in self._strips],
            width=width,
        )

    def _take(self, row: int, place: int, cells: Words) -> None:
        cells[:] = self._strips[row][place : place + self._length : TEXELS]
