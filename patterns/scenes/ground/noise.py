"""Periodic random fields: fractal noise with a stated band, and scattered round crowns.

Squares are float32, continue over their edges without a seam, and depend on nothing but the
generator that is passed in. Noise on rings is periodic along the turn; octaves as fine as a cell
are left out.
"""

from __future__ import annotations

from functools import lru_cache
from math import ceil

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import Float32Array, FloatArray, FloatingArray, IntArray

AT_ONCE = 64  # rows, then columns, of a spectrum
CROWNS_AT_ONCE = 64  # what is reckoned for them stays in cache
LATTICE_ROWS = 32  # drawn together and kept


def fractal(
    rng: np.random.Generator, size: int, longest: float, shortest: float, slope: float
) -> Float32Array:
    """Gaussian noise, mean 0 and variance 1, with power k^(-2 slope) inside a band.

    `size`: side in samples.
    `longest`, `shortest`: wavelengths in samples that bound the band; both ends are soft.
    `slope`: 0 is white; 1 puts equal variance into each octave.
    """
    # What is longer than `shortest` has no need of the whole spectrum: the rest is left 0.
    kept = min(size, 2 * ceil(5 * size / (2 * shortest)))
    spectrum = _spectrum(rng.standard_normal((kept, kept), dtype=np.float32))
    ky = (np.fft.fftfreq(kept) * (kept / size)).astype(np.float32)[:, None]
    kx = (np.fft.rfftfreq(kept) * (kept / size)).astype(np.float32)[None, :]
    k2 = ky * ky + kx * kx
    k2[0, 0] = 1
    gain = k2 ** np.float32(-slope / 2) / (1 + (1 / (k2 * np.float32(longest) ** 2)) ** 2)
    gain *= np.exp(-k2 * np.float32((0.6 * shortest) ** 2))
    gain[0, 0] = 0
    spectrum *= gain
    columns = np.zeros((size, spectrum.shape[1]), spectrum.dtype)
    half = (kept + 1) // 2
    columns[:half], columns[size - (kept - half) :] = spectrum[:half], spectrum[half:]
    del k2, gain, spectrum  # what is held here at once the process keeps
    noise = np.fft.irfft(np.fft.ifft(columns, axis=0), size, axis=1)
    del columns
    noise = noise.astype(np.float32, copy=False)
    noise /= noise.std()
    return np.asarray(noise, np.float32)


def _spectrum(values: Float32Array) -> npt.NDArray[np.complex64]:
    """As `numpy.fft.rfft2`, which makes doubles of all that it is given: of some rows at a time."""
    rows, columns = values.shape
    spectrum = np.empty((rows, columns // 2 + 1), np.complex64)
    for at in range(0, rows, AT_ONCE):
        spectrum[at : at + AT_ONCE] = np.fft.rfft(values[at : at + AT_ONCE])
    for at in range(0, spectrum.shape[1], AT_ONCE):
        some = spectrum[:, at : at + AT_ONCE]
        some[...] = np.fft.fft(some, axis=0)
    return spectrum


def crowns(rng: np.random.Generator, size: int, spacing: float, radius: float) -> Float32Array:
    """Dome heights 0 to 1 of round crowns scattered on a jittered lattice.

    `size`: side in samples.
    `spacing`: mean distance from crown to crown, samples.
    `radius`: radius of the largest crown, samples; the smallest has a third of it.
    """
    cells = round(size / spacing)
    pitch = size / cells
    lattice = np.stack(np.meshgrid(np.arange(cells), np.arange(cells), indexing="ij"), -1)
    centres = (lattice.reshape(-1, 2) + rng.random((cells * cells, 2))) * pitch
    scales = 0.33 + 0.67 * rng.random(cells * cells) ** 1.5
    field = np.zeros(size * size, np.float32)
    for first in range(0, len(scales), CROWNS_AT_ONCE):
        some = slice(first, first + CROWNS_AT_ONCE)
        _raise_domes(field, size, centres[some], scales[some], radius)
    return field.reshape(size, size)


def _raise_domes(
    field: Float32Array,
    size: int,
    centres: FloatArray,
    scales: FloatArray,
    radius: float,
) -> None:
    """Raise a flat periodic field to where domes (n, 2), scaled (n,), are higher."""
    reach = int(np.ceil(radius)) + 1
    places = np.arange(-reach, reach + 1) + centres.astype(np.intp)[..., None]
    away = (places - centres[..., None]) / (radius * scales)[:, None, None]
    away *= away
    domes = scales[:, None, None] * (1 - away[:, 0, :, None] - away[:, 1, None, :])
    places %= size
    at = places[:, 0, :, None] * size + places[:, 1, None, :]
    seen = domes > 0
    np.maximum.at(field, at[seen], domes[seen].astype(np.float32))


def shifted(field: Float32Array, dx: float, dy: float) -> Float32Array:
    """Field moved by (dx, dy) samples along its axes, periodic, linear between samples."""
    ix, iy = int(np.floor(dx)), int(np.floor(dy))
    fx, fy = np.float32(dx - ix), np.float32(dy - iy)
    moved = np.roll(field, (ix, iy), (0, 1))
    moved = moved * (1 - fx) + np.roll(moved, 1, 0) * fx
    return np.asarray(moved * (1 - fy) + np.roll(moved, 1, 1) * fy, np.float32)


def between(tile: Float32Array, x: FloatArray, y: FloatArray) -> Float32Array:
    """Values of a periodic rectangle at places counted in samples, linear between these."""
    high_x, size = tile.shape
    i, j = np.floor(x).astype(np.intp), np.floor(y).astype(np.intp)
    fx, fy = (x - i).astype(np.float32), (y - j).astype(np.float32)
    i, j, flat = i % high_x, j % size, tile.ravel()
    i2, j2 = (i + 1) % high_x * size, (j + 1) % size
    i *= size
    low, high = flat.take(i + j), flat.take(i2 + j)
    low += (flat.take(i + j2) - low) * fy
    high += (flat.take(i2 + j2) - high) * fy
    return np.asarray(low + (high - low) * fx, np.float32)


def smooth_step(value: FloatingArray, low: float, high: float) -> Float32Array:
    """From 0 at `low` to 1 at `high`, level at both ends."""
    part = np.clip((value - np.float32(low)) / np.float32(high - low), 0, 1)
    return np.asarray(part * part * (3 - 2 * part), np.float32)


def _eased(places: FloatingArray) -> tuple[IntArray, Float32Array]:
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
    j, fj = _eased(across / pitch)
    low = int(j.min())
    rows = max(int(j.max()) + 2, 1)
    lattice = _lattice((*seed, cells), -(-rows // LATTICE_ROWS) * LATTICE_ROWS, cells)[
        max(low, 0) : rows
    ]
    top = np.maximum(j - max(low, 0), 0)
    strip = (
        lattice[top]
        + (lattice[np.minimum(top + 1, len(lattice) - 1)] - lattice[top]) * fj[:, np.newaxis]
    )
    i, fi = _eased(bearing / (2 * np.pi) * cells)
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
        i, f = _eased(bearing / (2 * np.pi) * count)
        total += np.float32(gain**octave) * (
            values[i % count] * (1 - f) + values[(i + 1) % count] * f
        )
    return total
