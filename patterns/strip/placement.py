"""Where a strip lies in a picture, by a homography, and its cells there: mean codes, and light.

Codes become light (power 2.2, near what cameras write) before they are averaged: blur, leaks
between cells and mixtures of frames add up in light, not in codes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import accumulate, chain
from statistics import median
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import FloatArray, IndexArray, UInt8Array
from patterns.strip.camera_decode import Cells
from patterns.strip.layout import Rect, StripGrid, grid, hold_cells

POINTS, INNER = 5, 0.5  # sample points along each side of a cell, over this share of it

CORNERS = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])


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
        mapped = xy.reshape(-1, 2) @ self.matrix[:, :2].T + self.matrix[:, 2]
        return np.asarray(mapped[:, :2] / mapped[:, 2:], np.float64).reshape(xy.shape)

    @property
    def corners(self) -> FloatArray:
        """Its corners in the picture, (4, 2), from the upper left of the strip clockwise."""
        return self.to_picture(CORNERS)

    @property
    def length_px(self) -> float:
        """Of its upper edge."""
        left, right = self.corners[:2]
        return float(np.hypot(*(right - left)))

    def bounds(self, shape: tuple[int, int]) -> tuple[int, int, int, int]:
        """Columns and rows (left, top, right, bottom) that hold all that `sample` looks at."""
        corners = self.corners
        left, top = np.maximum(np.floor(corners.min(axis=0)) - 1, 0)
        right, bottom = np.minimum(np.ceil(corners.max(axis=0)) + 1, shape[::-1])
        return int(left), int(top), int(right), int(bottom)

    def within(self, left: int, top: int) -> Placement:
        """Placement in a part of the picture that begins at this column and row."""
        shift = np.array([[1.0, 0.0, -left], [0.0, 1.0, -top], [0.0, 0.0, 1.0]])
        return replace(self, matrix=shift @ self.matrix)


def homographies(source: FloatArray, targets: FloatArray) -> FloatArray:
    """Homographies (n, 3, 3) that take four points (4, 2) to others (n, 4, 2).

    Degenerate ones hold numbers that no test of the picture will pass.
    """
    x, y = np.broadcast_to(source.T[:, None], (2, *targets.shape[:2]))
    u, v = targets[..., 0], targets[..., 1]
    one, zero = np.ones_like(x), np.zeros_like(x)
    of_u = np.stack([x, y, one, zero, zero, zero, -u * x, -u * y], -1)
    of_v = np.stack([zero, zero, zero, x, y, one, -v * x, -v * y], -1)
    rows, known = np.concatenate([of_u, of_v], 1), np.concatenate([u, v], 1)[..., None]
    solved = np.linalg.solve(rows + 1e-12 * np.eye(8), known)[..., 0]
    return np.asarray(np.insert(solved, 8, 1.0, axis=1).reshape(-1, 3, 3), np.float64)


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


def sample(
    lumas: Sequence[UInt8Array], placement: Placement, groups: Sequence[tuple[Rect, ...]]
) -> list[FloatArray]:
    """Mean luma codes of the inner parts of groups of cells, each (pictures, cells).

    `lumas`: pictures of one size. NaN where a cell leaves them.
    """
    pixels, shares = _under(
        placement, tuple(chain(*groups)), (lumas[0].shape[0], lumas[0].shape[1])
    )
    codes = np.array([np.einsum("ij,ij->i", np.take(luma, pixels), shares) for luma in lumas])
    return np.split(codes, [*accumulate(map(len, groups))][:-1], axis=1)


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
    """What is seen of the white and the black reference cells, in codes or in light: (..., cells).

    Of one picture, or of several.
    """

    on: StripGrid
    white: FloatArray
    black: FloatArray

    def levels(self, seen: FloatArray, rects: tuple[Rect, ...]) -> FloatArray:
        """Levels of cells: 0 is the black, 1 the white, interpolated between the references."""
        of_white, of_black = _between(self.on, rects)
        white, black = self.white @ of_white, self.black @ of_black
        return np.asarray((seen - black) / (white - black), np.float64)


@lru_cache(maxsize=64)
def _between(on: StripGrid, rects: tuple[Rect, ...]) -> list[FloatArray]:
    """Share of each white, and of each black reference (rows) in what is expected of each cell."""
    x, references = centres(rects)[:, 0], (on.white, on.black)
    return [
        np.array([np.interp(x, centres(own)[:, 0], alone) for alone in np.eye(len(own))])
        for own in references
    ]


LIGHT_POINTS, LIGHT_INNER = 4, 0.45  # the same of a camera, whose cells are blurred further in
SIGNALS = np.clip((np.arange(256) - 16) / 219, 0, 1)  # of narrow-range luma codes
LIGHT = SIGNALS.astype(np.float32) ** np.float32(2.2)


class CellLight(NamedTuple):
    """Light of the cells of one picture (1 = the brightest code) and their picture rows.

    NaN where a cell lies outside of the picture. `hold` is empty when the number of hold
    cells is not known.
    """

    number: FloatArray
    white: FloatArray
    black: FloatArray
    posts: FloatArray
    flags: FloatArray
    dark: FloatArray
    identity: FloatArray
    hold: FloatArray
    number_rows: FloatArray
    hold_rows: FloatArray


def gather_lights(lumas: Sequence[UInt8Array], at: FloatArray) -> FloatArray:
    """Light of pictures of one size at picture coordinates (..., 2), between the pixels.

    (pictures, ...); NaN outside.
    """
    height, width = lumas[0].shape
    x, y = at[..., 0] - 0.5, at[..., 1] - 0.5
    # a NaN counts as outside
    inside = (x > -0.5) & (y > -0.5) & (x < width - 0.5) & (y < height - 0.5)
    all_inside = bool(inside.all())
    if not all_inside:
        x, y = np.where(inside, x, 0), np.where(inside, y, 0)
    x, y = np.clip(x, 0, width - 1.001), np.clip(y, 0, height - 1.001)
    column, row = x.astype(np.intp), y.astype(np.intp)
    fx, fy = (x - column).astype(np.float32), (y - row).astype(np.float32)
    first = row * width + column
    places = np.stack([first, first + 1, first + width, first + width + 1])
    codes = np.stack([luma.reshape(-1).take(places) for luma in lumas], axis=1)
    left_up, right_up, left_down, right_down = LIGHT.take(codes)
    upper = left_up * (1 - fx) + right_up * fx
    lower = left_down * (1 - fx) + right_down * fx
    found = (upper + (lower - upper) * fy).astype(np.float64)
    if not all_inside:
        found[:, ~inside] = np.nan
    return np.asarray(found)


def gather_light(luma: UInt8Array, at: FloatArray) -> FloatArray:
    """Light of one picture, as `gather_lights`."""
    return np.asarray(gather_lights([luma], at)[0])


@lru_cache(maxsize=32)
def _all_points(arrangement: str, hold: int) -> tuple[FloatArray, tuple[slice, ...]]:
    on = grid(arrangement)
    parts = [on.number, on.white, on.black, on.posts, on.flags, on.dark, on.identity]
    parts.append(hold_cells(on, hold) if hold else ())
    ends = [*accumulate(map(len, parts))]
    groups = tuple(slice(end - len(part), end) for end, part in zip(ends, parts, strict=True))
    return np.concatenate([cell_points(p, LIGHT_POINTS, LIGHT_INNER) for p in parts]), groups


def sample_cells(lumas: Sequence[UInt8Array], placement: Placement, hold: int) -> list[CellLight]:
    """Mean light of every cell in each of some pictures in which the strip lies there.

    `hold` is the number of hold cells, 0 if it is not known.
    """
    points, groups = _all_points(placement.arrangement, hold)
    at = placement.to_picture(points)
    rows = at[..., 1].mean(axis=1)
    number_and_hold_rows = rows[groups[0]], rows[groups[-1]]
    lights = gather_lights(lumas, at).mean(axis=-1)
    # in the order of its fields
    return [CellLight(*(*(light[g] for g in groups), *number_and_hold_rows)) for light in lights]


LEAST_WHITE = 0.012  # light: about 14 % of the full signal
LEAST_CLEAR = 0.3  # share of a mark's light that the dark places beside it stay below
LEAST_STEP = 0.15  # of white, between the darkest white and the lightest black reference
CLIPPED_BLACK = 0.55
CLIPPED_WHITE = 0.97  # of the brightest code: noise keeps the mean of clipped white below 1
BLURRED = "blurred or uneven: black and white cells look alike"
TOO_DARK = "too dark"
NO_STRIP = "no strip"


def check_light(light: CellLight) -> str | None:
    """Why the marks and references are not those of a readable strip; None if they are."""
    if np.isnan(light.white).any() or np.isnan(light.black).any():
        return "the strip is not wholly in view"
    if median(light.black.tolist()) > CLIPPED_BLACK:
        return "clipped: the picture is over-exposed"
    if light.white.min() - light.black.max() < LEAST_WHITE and median(light.white.tolist()) < 0.05:
        return TOO_DARK
    if light.white.min() - light.black.max() < LEAST_STEP * light.white.max():
        return BLURRED
    for side in (0, 1):
        # a post may be cut off by the picture's border; it was seen when the strip was found
        lit = np.fmin(light.posts[side], light.flags[side])
        dark = light.dark[4 * side : 4 * side + 4].max()
        if not lit - dark >= LEAST_CLEAR * lit:
            return NO_STRIP
    return None


def levels(on: StripGrid, light: CellLight) -> tuple[Cells, FloatArray]:
    """Levels of number and hold cells, and of the identity cells, (64,)."""
    between = References(on, light.white, light.black)
    hold = light.hold
    if len(hold):
        hold = between.levels(hold, hold_cells(on, len(hold)))
    number = between.levels(light.number, on.number)
    cells = Cells(number, light.number_rows, hold, light.hold_rows)
    return cells, between.levels(light.identity, on.identity)
