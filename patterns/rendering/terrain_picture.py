"""From texel lines to picture rows, all levels of a plane together.

Far levels have one or two rows each: what is reckoned for a level, rather than for the
whole plane, costs more than its pixels.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from patterns.rendering.terrain_levels import LineLevel
from patterns.rendering.terrain_texels import WORD, interpolator

__all__ = ["LinePlane"]

BLOCK_ROWS = 24  # rows interpolated together: they stay in cache
KEPT_LINE_M = 0.4  # rows whose lines lie further apart often show the same line as a frame ago


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

    def draw(self, travel_m: float, out: list[npt.NDArray[np.uint8]]) -> None:
        """Fill the rows of each plane."""
        line, mix = interpolator(self._origin + travel_m * self._per_m)
        lines = (line % self._ring).tolist()
        self._keep(line, lines)
        buffer = np.empty((BLOCK_ROWS, len(self._columns[0])), self._wide)
        far, count = len(self._kept), self.bottom - self.top
        for first in [*range(0, far, BLOCK_ROWS), *range(far, count, BLOCK_ROWS)]:
            last = min(first + BLOCK_ROWS, far if first < far else count)
            block = buffer[: last - first]
            words = self._kept[first:last] if first < far else block
            for row in range(max(first, far), last):
                self._words[row][lines[row]].take(self._columns[row], 0, block[row - first], "clip")
            mixed = block.view(WORD)
            wide = (last - first, -1, mixed.shape[1] // block.shape[1])
            words = words.view(WORD)
            np.multiply(words.reshape(wide), mix[first:last, None, None], mixed.reshape(wide))
            block += self._shift[first:last]
            # Shifted and narrowed in two plain passes: copying every fourth byte takes longer.
            np.right_shift(mixed, np.uint32(24), mixed)
            codes = mixed.reshape(wide)
            for number, plane in enumerate(out):
                into = plane[self.top + first : self.top + last]
                np.copyto(into, codes[..., number], casting="unsafe")

    def _keep(self, line: npt.NDArray[np.int64], lines: list[int]) -> None:
        """Gather the words of far rows that show another line than they did.

        A line is the same whenever it is drawn, so that its number tells what was kept.
        """
        here = line[: len(self._kept)]
        for row in np.flatnonzero(here != self._kept_line).tolist():
            self._words[row][lines[row]].take(self._columns[row], 0, self._kept[row], "clip")
        self._kept_line = here
