"""How pictures are assumed to be watched, and how large an area counts then.

Areas are summed over the screen or over any 10 degree field, whether they touch or not:
ITU-R BT.1702 and WCAG 2.2 speak of the combined area of the flashes that occur concurrently.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from patterns.errors import RequestError
from patterns.picture.arrays import BoolArray

LONG_SIDE_CELLS = 160

# WCAG technique G176: the 10 degree block is 0.1745 D wide and 0.1309 D high at distance D.
BLOCK_WIDTH_OF_DISTANCE = 0.1745
BLOCK_HEIGHT_OF_DISTANCE = 0.1309

# WCAG 2.2, "general flash and red flash thresholds", and Harding et al., Epilepsia 46(9):1423
# (2005): the small safe area in steradians.
SMALL_AREA_SR = 0.006


@dataclass(frozen=True)
class Viewing:
    """Assumed viewing."""

    # Luminance of peak white. ITU-R BT.1702-3 takes 200 cd/m2 for SDR (second-hand quotation of its
    # note 3).
    peak_cd_m2: float = 200.0
    # Distance from the eye to the screen in heights of the picture. Three is the usual assumption
    # for HD pictures (a 16:9 picture is then 33 degrees wide).
    distance_heights: float = 3.0

    def __post_init__(self) -> None:
        """Check that such a viewing is possible."""
        if not 10 <= self.peak_cd_m2 <= 4000:
            raise RequestError(
                f"peak white {self.peak_cd_m2:g} cd/m2 is outside 10 to 4000: 200 is the usual "
                "assumption for SDR"
            )
        if not 0.5 <= self.distance_heights <= 20:
            raise RequestError(
                f"viewing distance {self.distance_heights:g} is outside 0.5 to 20 picture "
                "heights: 3 is the usual assumption"
            )

    @property
    def block_heights(self) -> tuple[float, float]:
        """Width and height of the 10 degree block, in picture heights."""
        return (
            BLOCK_WIDTH_OF_DISTANCE * self.distance_heights,
            BLOCK_HEIGHT_OF_DISTANCE * self.distance_heights,
        )

    def solid_angle_sr(self, share: float, width: int, height: int) -> float:
        """Solid angle in steradians of a share of the picture (flat screen, seen head-on)."""
        return share * width / height / self.distance_heights**2


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


SCREEN_SHARE = 0.25  # ITU-R BT.1702-3, guideline 1 (second-hand quotation)


@dataclass(frozen=True)
class AreaRule:
    """How large an area may be."""

    limit_cells: float  # largest area that is not counted, in cells; more than this counts
    # rows and columns of the field within which areas are summed: the whole grid for a rule about
    # the screen
    field: tuple[int, int]
    cells: int  # number of cells of the grid

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
