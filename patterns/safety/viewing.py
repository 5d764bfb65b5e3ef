"""How pictures are assumed to be watched, and the grid on which they are looked at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from patterns.errors import RequestError

FINE = 3  # fine cells along the side of a cell of the grid
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


class Grid(NamedTuple):
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
