"""Where a strip lies in a picture, by a homography, and the mean level of its cells there."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import FloatArray, IndexArray, UInt8Array
from patterns.strip.grid import Rect, StripGrid, grid

POINTS, INNER = 5, 0.5  # sample points along each side of a cell, over this share of it


@dataclass(frozen=True, eq=False)
class Placement:
    """A strip in a picture."""

    arrangement: str  # ``wide`` or ``upright``
    # (3, 3): takes (x, y, 1) in fractions of the band, x to the right and y down as the strip is
    # read upright, to picture coordinates (column, row) up to a factor. Pixel (i, j) covers columns
    # i to i + 1 and rows j to j + 1.
    matrix: FloatArray = field(repr=False)

    @property
    def grid(self) -> StripGrid:
        """The arrangement's grid."""
        return grid(self.arrangement)

    def to_picture(self, points: npt.ArrayLike) -> FloatArray:
        """Picture coordinates (column, row) of points (..., 2) in fractions of the band."""
        xy = np.asarray(points, np.float64)
        mapped = xy @ self.matrix[:, :2].T + self.matrix[:, 2]
        return np.asarray(mapped[..., :2] / mapped[..., 2:], np.float64)

    def bounds(self, shape: tuple[int, int]) -> tuple[int, int, int, int]:
        """Columns and rows (left, top, right, bottom) that hold all that `sample` looks at."""
        corners = self.to_picture([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
        left, top = np.maximum(np.floor(corners.min(axis=0)) - 1, 0)
        right, bottom = np.minimum(np.ceil(corners.max(axis=0)) + 1, shape[::-1])
        return int(left), int(top), int(right), int(bottom)

    def within(self, left: int, top: int) -> Placement:
        """Placement in a part of the picture that begins at this column and row."""
        shift = np.array([[1.0, 0.0, -left], [0.0, 1.0, -top], [0.0, 0.0, 1.0]])
        return replace(self, matrix=shift @ self.matrix)


@lru_cache(maxsize=64)
def centres(rects: tuple[Rect, ...]) -> FloatArray:
    """Middles of cells, (cells, 2), in fractions of the band."""
    return np.array([((r.left + r.right) / 2, (r.top + r.bottom) / 2) for r in rects])


def cell_points(rects: tuple[Rect, ...], points: int, inner: float) -> FloatArray:
    """Points of each cell, (cells, points^2, 2), over a share of its sides: the rim is blurred."""
    sides = np.array(rects, np.float64).reshape(-1, 4)
    at = 0.5 + inner * ((np.arange(points) + 0.5) / points - 0.5)
    x = sides[:, :1] + at * (sides[:, 2:3] - sides[:, :1])
    y = sides[:, 1:2] + at * (sides[:, 3:4] - sides[:, 1:2])
    pairs = np.broadcast_arrays(x[:, None, :], y[:, :, None])
    return np.stack(pairs, -1).reshape(len(rects), points * points, 2)


def sample(luma: UInt8Array, placement: Placement, rects: tuple[Rect, ...]) -> FloatArray:
    """Mean luma code of each cell's inner part, (cells,); NaN where that leaves the picture."""
    pixels, shares = _under(placement, rects, (luma.shape[0], luma.shape[1]))
    return np.asarray(np.einsum("ij,ij->i", np.take(luma, pixels), shares), np.float64)


# In a file the strip stays where it is: what was worked out for one picture serves the next.
@lru_cache(maxsize=16)
def _under(
    placement: Placement, rects: tuple[Rect, ...], shape: tuple[int, int]
) -> tuple[IndexArray, FloatArray]:
    """Pixels under the sample points of each rectangle, and their shares in its mean.

    Both (rectangles, 4 POINTS^2): places in the flattened picture, and weights of bilinear
    interpolation, NaN where a point is outside of the picture.
    """
    height, width = shape
    at = placement.to_picture(cell_points(rects, POINTS, INNER)) - 0.5
    outside = ((at < -0.5) | (at > np.array([width, height]) - 0.5)).any(axis=(1, 2))
    x = np.clip(at[..., 0], 0, width - 1)
    y = np.clip(at[..., 1], 0, height - 1)
    column = np.minimum(x.astype(np.intp), width - 2)
    row = np.minimum(y.astype(np.intp), height - 2)
    right, down = x - column, y - row
    left, up = 1 - right, 1 - down
    first = row * width + column
    pixels = (first, first + 1, first + width, first + width + 1)
    shares = np.concatenate([left * up, right * up, left * down, right * down], axis=1)
    shares[outside] = np.nan
    return np.concatenate(pixels, axis=1), shares / POINTS**2


@dataclass(frozen=True, eq=False)
class References:
    """What is seen of the white and the black reference cells, in codes or in light."""

    on: StripGrid
    white: FloatArray
    black: FloatArray

    def levels(self, seen: FloatArray, rects: tuple[Rect, ...]) -> FloatArray:
        """Levels of cells: 0 is the black, 1 the white, interpolated between the references."""
        x = centres(rects)[:, 0]
        white = np.interp(x, centres(self.on.white)[:, 0], self.white)
        black = np.interp(x, centres(self.on.black)[:, 0], self.black)
        return np.asarray((seen - black) / (white - black), np.float64)
