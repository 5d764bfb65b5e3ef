"""Random fields on a ring: periodic along the turn, cheap on grids of bearings and ways."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from patterns.picture.arrays import Float32Array, FloatingArray, IntArray

__all__ = ["ring_fractal", "ring_line", "ring_noise"]


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
