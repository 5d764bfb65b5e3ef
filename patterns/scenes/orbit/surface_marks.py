"""Marks and noise on a turned surface, on grids of bearings and ways, that never alias.

Marks are averaged over a cell in closed form; noise is periodic along the turn, and octaves as
fine as a cell are left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from patterns.picture.arrays import BoolArray, Float32Array, FloatingArray, IntArray


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


ROWS = 32  # of a lattice, drawn together and kept


def _between(places: FloatingArray) -> tuple[IntArray, Float32Array]:
    whole = np.floor(places)
    part = (places - whole).astype(np.float32)
    return whole.astype(np.int64), part * part * (3 - 2 * part)


@lru_cache(maxsize=512)
def _lattice(seed: tuple[int, ...], rows: int, cells: int) -> Float32Array:
    """Drawn from way 0 up, so that every part of it is the same in any piece."""
    values = np.random.default_rng(seed).random((rows, cells), dtype=np.float32)
    values *= 2
    values -= 1
    return values


@lru_cache(maxsize=512)
def _line(seed: tuple[int, ...], count: int) -> Float32Array:
    return np.random.default_rng(seed).random(count, dtype=np.float32) * 2 - 1


def ring_noise(
    seed: tuple[int, ...], bearing: FloatingArray, across: FloatingArray, cells: int, pitch: float
) -> Float32Array:
    """Smooth noise, float32 (bearings, ways), mean 0, about -1 to 1.

    `cells` lattice points lie on a turn; `pitch` is the lattice's step across, from 0.
    """
    j, fj = _between(across / pitch)
    low = int(j.min())
    rows = max(int(j.max()) + 2, 1)
    lattice = _lattice((*seed, cells), -(-rows // ROWS) * ROWS, cells)[max(low, 0) : rows]
    top = np.maximum(j - max(low, 0), 0)
    strip = (
        lattice[top]
        + (lattice[np.minimum(top + 1, len(lattice) - 1)] - lattice[top]) * fj[:, np.newaxis]
    )
    i, fi = _between(bearing / (2 * np.pi) * cells)
    columns = np.ascontiguousarray(strip.T)
    left, right = columns.take(i % cells, 0), columns.take((i + 1) % cells, 0)
    right -= left
    right *= fi[:, np.newaxis]
    left += right
    return left


def ring_fractal(
    seed: tuple[int, ...],
    bearing: FloatingArray,
    across: FloatingArray,
    cells: int,
    pitch: float,
    octaves: int,
    spans: tuple[float, float],
) -> Float32Array:
    """Sum of octaves that halve in size and strength, those as fine as `spans` left out."""
    total = np.zeros((len(bearing), len(across)), np.float32)
    for octave in range(octaves):
        size = 2**octave
        finest = min(2 * np.pi / (cells * size) / spans[0], pitch / size / spans[1])
        if finest <= 1:
            break
        # An octave fades in between one and two cells, so that no step shows where cells change.
        weight = np.float32(min(finest - 1, 1) / size)
        noise = ring_noise((*seed, octave), bearing, across, cells * size, pitch / size)
        noise *= weight
        total += noise
    return total


def ring_line(
    seed: tuple[int, ...], bearing: FloatingArray, cells: int, octaves: int, gain: float
) -> Float32Array:
    """Noise along the turn alone, float32 (bearings,): octaves weighted by gain^octave."""
    total = np.zeros(len(bearing), np.float32)
    for octave in range(octaves):
        count = cells * 2**octave
        values = _line((*seed, octave), count)
        i, f = _between(bearing / (2 * np.pi) * count)
        total += np.float32(gain**octave) * (
            values[i % count] * (1 - f) + values[(i + 1) % count] * f
        )
    return total
