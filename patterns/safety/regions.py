"""Connected regions of a grid, and how much of the screen or of a 10 degree block they fill."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from patterns.safety.luminance import Grid
from patterns.safety.viewing import Viewing

__all__ = ["AreaRule", "Mask", "label", "screen_rule", "visual_field_rule"]

Mask = npt.NDArray[np.bool_]
BRIDGE_CELLS = 2  # our choice, no source
SCREEN_SHARE = 0.25  # ITU-R BT.1702-3, guideline 1 (second-hand quotation)


def _runs(mask: Mask) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Row, start and end (exclusive) of every run of true cells, in reading order."""
    rows, columns = mask.shape
    padded = np.zeros((rows, columns + 2), np.int8)
    padded[:, 1:-1] = mask
    steps = np.diff(padded, axis=1)
    row, start = np.nonzero(steps == 1)
    end = np.nonzero(steps == -1)[1]
    return row, start, end


def label(mask: Mask) -> npt.NDArray[np.int32]:
    """Give each connected region of `mask` a number.

    Cells that touch at a side or a corner are connected. The runs of each row are joined
    to those of the row above (union-find), so that the cost goes with the outline.

    Returns
    -------
    int32 of the mask's shape: 0 outside, 1, 2, ... in the regions.
    """
    row, start, end = _runs(mask)
    parent = list(range(len(row)))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    stride = mask.shape[1] + 2
    above = (row - 1) * stride
    # A run above touches if it ends at or after this one's start and starts at or before its end.
    first = np.searchsorted(row * stride + end, above + start, side="left")
    last = np.searchsorted(row * stride + start, above + end, side="right")
    for i, (low, high) in enumerate(zip(first.tolist(), last.tolist(), strict=True)):
        for j in range(low, high):
            parent[root(j)] = root(i)
    roots = np.array([root(i) for i in range(len(row))], np.intp)
    numbers = np.unique(roots, return_inverse=True)[1].astype(np.int32) + 1
    labels = np.zeros(mask.shape, np.int32)
    labels[mask] = np.repeat(numbers, end - start)
    return labels


def _widened(mask: Mask) -> Mask:
    """The mask and all cells that are within `BRIDGE_CELLS` of it, diagonally too."""
    wide = mask.copy()
    for n in range(1, BRIDGE_CELLS + 1):
        wide[n:] |= mask[:-n]
        wide[:-n] |= mask[n:]
    across = wide.copy()
    for n in range(1, BRIDGE_CELLS + 1):
        across[:, n:] |= wide[:, :-n]
        across[:, :-n] |= wide[:, n:]
    return across


@dataclass(frozen=True)
class AreaRule:
    """How large a region may be.

    Areas that are at most 2 `BRIDGE_CELLS` cells apart (four: under a degree at three
    picture heights) are taken for one, so that the thin quiet lines between stripes that
    swap do not hide the whole; the lines themselves are not counted.

    Attributes
    ----------
    limit_cells
        Largest area that is not counted, in cells; more than this counts.
    window
        Rows and columns of the field within which a region's area is taken, or None for
        the whole screen.
    cells
        Number of cells of the grid.
    """

    limit_cells: float
    window: tuple[int, int] | None
    cells: int

    @property
    def limit_share(self) -> float:
        """The limit as a share of the picture."""
        return self.limit_cells / self.cells

    def largest(self, mask: Mask) -> tuple[float, Mask]:
        """Area in cells of the largest region (within the window), and the region."""
        labels = np.where(mask, label(_widened(mask)), 0)
        sizes = np.bincount(labels.ravel())
        sizes[0] = 0
        best, best_number = 0.0, 0
        for number in np.argsort(-sizes, kind="stable").tolist():
            if sizes[number] <= best:
                break
            area = self._within_window(labels == number, float(sizes[number]))
            if area > best:
                best, best_number = area, number
        return best, labels == best_number if best_number else np.zeros_like(mask)

    def combined(self, mask: Mask) -> float:
        """Area in cells of all of `mask` (within the window), connected or not."""
        total = float(np.count_nonzero(mask))
        return self._within_window(mask, total) if total > self.limit_cells else total

    def _within_window(self, region: Mask, size: float) -> float:
        if self.window is None:
            return size
        rows, columns = self.window
        sums = np.zeros((region.shape[0] + 1, region.shape[1] + 1), np.int32)
        np.cumsum(region, axis=0, out=sums[1:, 1:])
        np.cumsum(sums[1:, 1:], axis=1, out=sums[1:, 1:])
        inside = sums[rows:, columns:] - sums[:-rows, columns:]
        inside = inside - (sums[rows:, :-columns] - sums[:-rows, :-columns])
        return float(inside.max())


def screen_rule(grid: Grid) -> AreaRule:
    """ITU-R BT.1702: more than 25 % of the displayed screen."""
    return AreaRule(SCREEN_SHARE * grid.cells, None, grid.cells)


def visual_field_rule(grid: Grid, viewing: Viewing) -> AreaRule:
    """WCAG 2.2: more than 25 % of any 10 degree field (0.006 sr; technique G176)."""
    width, height = (side * grid.rows for side in viewing.block_heights)
    window = (min(grid.rows, max(1, round(height))), min(grid.columns, max(1, round(width))))
    return AreaRule(width * height / 4, window, grid.cells)
