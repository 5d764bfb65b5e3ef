"""How much of the screen, or of any 10 degree field, the places of a grid fill together.

Areas are summed, whether they touch or not: ITU-R BT.1702 and WCAG 2.2 speak of the
combined area of the flashes that occur concurrently.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import BoolArray
from patterns.safety.luminance import Grid
from patterns.safety.viewing import Viewing

__all__ = ["AreaRule", "screen_rule", "visual_field_rule"]

SCREEN_SHARE = 0.25  # ITU-R BT.1702-3, guideline 1 (second-hand quotation)


@dataclass(frozen=True)
class AreaRule:
    """How large an area may be.

    Attributes
    ----------
    limit_cells
        Largest area that is not counted, in cells; more than this counts.
    field
        Rows and columns of the field within which areas are summed: the whole grid for a
        rule about the screen.
    cells
        Number of cells of the grid.
    """

    limit_cells: float
    field: tuple[int, int]
    cells: int

    @property
    def limit_share(self) -> float:
        """The limit as a share of the picture."""
        return self.limit_cells / self.cells

    def sums(self, values: npt.NDArray[np.bool_ | np.int8]) -> npt.NDArray[np.int32]:
        """Sum over the field in each of its places, shape (rows - field rows + 1, ...)."""
        rows, columns = self.field
        if rows * columns == self.cells:
            return np.full((1, 1), values.sum(dtype=np.int32))
        table = np.zeros((values.shape[0] + 1, values.shape[1] + 1), np.int32)
        np.cumsum(values, axis=0, out=table[1:, 1:])
        np.cumsum(table[1:, 1:], axis=1, out=table[1:, 1:])
        across = table[:, columns:] - table[:, :-columns]
        return np.asarray(across[rows:] - across[:-rows], np.int32)

    def largest(self, mask: BoolArray) -> int:
        """Cells of `mask` within the field, where it holds most of them.

        Where all of them are within the limit, they are given without looking for that place.
        """
        total = int(np.count_nonzero(mask))
        return int(self.sums(mask).max()) if total > self.limit_cells else total


def screen_rule(grid: Grid) -> AreaRule:
    """ITU-R BT.1702: more than 25 % of the displayed screen."""
    return AreaRule(SCREEN_SHARE * grid.cells, (grid.rows, grid.columns), grid.cells)


def visual_field_rule(grid: Grid, viewing: Viewing) -> AreaRule:
    """WCAG 2.2: more than 25 % of any 10 degree field (0.006 sr; technique G176)."""
    width, height = (side * grid.rows for side in viewing.block_heights)
    field = (min(grid.rows, max(1, round(height))), min(grid.columns, max(1, round(width))))
    return AreaRule(width * height / 4, field, grid.cells)
