"""From texel lines to picture rows, all levels of a plane together.

Far levels have one or two rows each: what is reckoned for a level, rather than for the
whole plane, costs more than its pixels.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import numpy as np

from patterns.picture.arrays import UInt8Array, UInt32Array
from patterns.scenes.terrain.levels import LineLevel
from patterns.scenes.terrain.texels import WORD, interpolator

BLOCK_ROWS = 96  # rows interpolated together: they stay in cache
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

    def draw(self, travel_m: float, planes: Sequence[UInt8Array]) -> None:
        """Fill the rows of the planes of a picture when the camera has come `travel_m`."""
        line, mix = interpolator(self._origin + travel_m * self._per_m)
        lines = (line % self._ring).tolist()
        buffer = np.empty((BLOCK_ROWS, len(self._columns[0])), self._wide)
        with row_by_row():
            for first in range(0, len(lines), BLOCK_ROWS):
                some = slice(first, min(first + BLOCK_ROWS, len(lines)))
                block = buffer[: some.stop - first]
                for row, cells in enumerate(block, first):
                    self._words[row][lines[row]].take(self._columns[row], 0, cells, "clip")
                mixed = block.view(WORD)
                mixed *= mix[some, None]
                block += self._shift[some]
                write_codes(mixed, planes, self.top + first)


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
