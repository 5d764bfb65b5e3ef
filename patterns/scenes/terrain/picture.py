"""From texel lines to picture rows, all levels of a plane together.

Far levels have one or two rows each: what is reckoned for a level, rather than for the
whole plane, costs more than its pixels.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import IntArray, UInt8Array, UInt32Array
from patterns.scenes.terrain.levels import LineLevel
from patterns.scenes.terrain.texels import WORD, interpolator

__all__ = ["BLOCK_ROWS", "LinePlane", "row_by_row", "write_codes"]

BLOCK_ROWS = 96  # rows interpolated together, of all pictures in sum: they stay in cache
KEPT_LINE_M = 0.4  # rows whose lines lie further apart often show the same line as a frame ago
RUN = 256  # items in numpy's buffer: fewer than a row has


class LinePlane:
    """Luma (`which` 0), or both planes of chroma (1), of consecutive levels."""

    def __init__(self, levels: list[LineLevel], which: int) -> None:
        self._levels = levels
        self._wide = np.dtype("<u8") if which else WORD
        rows = [level.rows[which] for level in levels]
        self.top, self.bottom = rows[0].start, rows[-1].stop
        self._shift = np.concatenate([level.shifts[which] for level in levels])[:, None]
        self._words = []
        for level in levels:
            words = level.words[which].view(self._wide)
            self._words += [words[..., 0] if which else words] * len(level.places[which])
        self._columns = [row for level in levels for row in level.columns[which]]
        self._origin = np.concatenate([level.lines(0.0)[which] for level in levels])
        ahead = [level.lines(1.0)[which][:1] - level.lines(0.0)[which][:1] for level in levels]
        counts = [len(level.places[which]) for level in levels]
        self._per_m = np.repeat(np.concatenate(ahead), counts)
        self._ring = np.array([len(words) for words in self._words])
        self._kept = np.zeros(
            (int((self._per_m <= 1 / KEPT_LINE_M).sum()), len(self._columns[0])), self._wide
        )
        self._kept_line = np.full(len(self._kept), -1)

    def draw(self, travels_m: Sequence[float], pictures: Sequence[Sequence[UInt8Array]]) -> None:
        """Fill the rows of the planes of one picture for each travel.

        A few rows of all pictures, then the next rows: pictures read their rows from the same
        columns and from lines close by, which are then still in cache.
        """
        line, mix = interpolator(self._origin + np.array(travels_m)[:, None] * self._per_m)
        lines = (line % self._ring).T.tolist()
        step = max(1, BLOCK_ROWS // len(pictures))
        buffer = np.empty((len(pictures), step, len(self._columns[0])), self._wide)
        far, count = len(self._kept), self.bottom - self.top
        with row_by_row():
            for first in [*range(0, far, step), *range(far, count, step)]:
                some = slice(first, min(first + step, far if first < far else count))
                block = buffer[:, : some.stop - first]
                mixed, by = block.view(WORD), mix[:, some, None]
                if first < far:
                    self._mix_kept(some, line, lines, by, mixed)
                else:
                    self._gather(some, lines, block)
                    np.multiply(mixed, by, mixed)
                block += self._shift[some]
                write_codes(mixed, pictures, self.top + first)

    def _gather(
        self, some: slice, lines: list[list[int]], block: npt.NDArray[np.unsignedinteger]
    ) -> None:
        """Words of rows that show another line in every picture."""
        places = zip(*block, strict=True)
        rows = zip(self._words[some], self._columns[some], lines[some], places, strict=True)
        for words, columns, shown, cells in rows:
            for line, cell in zip(shown, cells, strict=True):
                words[line].take(columns, 0, cell, "clip")

    def _mix_kept(
        self,
        some: slice,
        line: IntArray,
        lines: list[list[int]],
        by: UInt32Array,
        mixed: UInt32Array,
    ) -> None:
        """Gather the words of far rows anew only where they show another line than they did.

        A line is the same whenever it is drawn, so that its number tells what was kept.
        """
        kept = self._kept[some].view(WORD)
        for number, here in enumerate(line[:, some]):
            for row in (some.start + np.flatnonzero(here != self._kept_line[some])).tolist():
                shown = self._words[row][lines[row][number]]
                shown.take(self._columns[row], 0, self._kept[row], "clip")
            self._kept_line[some] = here
            np.multiply(kept, by[number], mixed[number])


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


def write_codes(mixed: UInt32Array, pictures: Sequence[Sequence[UInt8Array]], top: int) -> None:
    """Write the codes of interpolated words, which are used up, into rows from `top`.

    Parameters
    ----------
    mixed
        Words (pictures, rows, columns), or (pictures, rows, 2 columns) of Cb and Cr by turns.
    pictures
        The plane of luma, or both planes of chroma, of each.
    """
    # Shifted and narrowed in plain passes: copying every fourth byte takes longer.
    np.right_shift(mixed, np.uint32(24), mixed)
    rows = slice(top, top + mixed.shape[1])
    if len(pictures[0]) == 1:
        for (plane,), codes in zip(pictures, mixed, strict=True):
            np.copyto(plane[rows], codes, casting="unsafe")
        return
    pairs = mixed.astype(np.uint8).view("<u2")
    for (cb, cr), pair in zip(pictures, pairs, strict=True):
        np.copyto(cb[rows], pair, casting="unsafe")  # the lower byte
        np.copyto(cr[rows], pair >> 8, casting="unsafe")
