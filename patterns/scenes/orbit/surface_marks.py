"""Marks on a turned surface, on grids of bearings and ways: averaged over a cell in closed form."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from patterns.picture.arrays import BoolArray, Float32Array, FloatingArray


@dataclass(frozen=True)
class Patch:
    """Grid on a surface: bearings (rows of arrays) by ways along the outline (columns)."""

    bearing: FloatingArray  # radians, (m,)
    # radius, height, way: metres, (n,)
    radius: FloatingArray
    height: FloatingArray
    way: FloatingArray
    spans: tuple[float, float]  # radians and metres that a cell covers

    @property
    def width_m(self) -> FloatingArray:
        """Width of a cell along the turn in metres, (n,)."""
        return self.radius * self.spans[0]

    @property
    def pitch_m(self) -> float:
        """Height of a cell along the outline, metres."""
        return self.spans[1]

    def between(self, low_m: float, high_m: float) -> Float32Array:
        """Share of each cell that lies between two heights, (n,)."""
        tall = high_m - low_m
        return slot(self.height - low_m - tall / 2, tall, self.pitch_m)

    def columns(self, some: BoolArray | slice) -> Patch:
        """The part of the grid at some ways."""
        return Patch(self.bearing, self.radius[some], self.height[some], self.way[some], self.spans)

    def around_m(self, bearing: float, times: int = 1) -> FloatingArray:
        """Signed metres along the turn from the nearest of `times` places, one at `bearing`."""
        part = 2 * np.pi / times
        turn = np.mod(self.bearing - bearing + part / 2, part) - part / 2
        return np.asarray(turn.astype(np.float32)[:, np.newaxis] * self.radius)


def repeat(value: FloatingArray, period: float) -> FloatingArray:
    """Signed distance to the nearest multiple of `period`."""
    return np.asarray(value - np.rint(value / period) * period)


def joint(distance_m: FloatingArray, width_m: float, cell_m: FloatingArray | float) -> Float32Array:
    """Share of a cell that a line `width_m` wide at `distance_m` covers."""
    covered = (width_m / 2 + cell_m / 2 - np.abs(distance_m)) / cell_m
    return np.asarray(np.clip(covered, 0, np.minimum(width_m / cell_m, 1)), np.float32)


def slot(
    distance_m: FloatingArray, width_m: FloatingArray | float, cell_m: FloatingArray | float
) -> Float32Array:
    """Share of a cell inside a stretch `width_m` wide about 0; as `joint`, for wide things."""
    return np.asarray(
        np.clip((width_m / 2 - np.abs(distance_m)) / cell_m + 0.5, 0, 1)
        * np.minimum(width_m / cell_m, 1),
        np.float32,
    )
