"""Periodic random fields: fractal noise with a stated band, and scattered round crowns.

All are float32 squares that continue over their edges without a seam, and depend on
nothing but the generator that is passed in.
"""

from __future__ import annotations

from math import ceil

import numpy as np
import numpy.typing as npt

__all__ = ["FloatMap", "crowns", "fractal", "shifted"]

FloatMap = npt.NDArray[np.float32]


def fractal(
    rng: np.random.Generator, size: int, longest: float, shortest: float, slope: float
) -> FloatMap:
    """Gaussian noise, mean 0 and variance 1, with power k^(-2 slope) inside a band.

    Parameters
    ----------
    size
        Side in samples.
    longest, shortest
        Wavelengths in samples that bound the band; both ends are soft.
    slope
        0 is white; 1 puts equal variance into each octave.
    """
    # What is longer than `shortest` has no need of the whole spectrum: the rest is left 0.
    kept = min(size, 2 * ceil(5 * size / (2 * shortest)))
    spectrum = np.fft.rfft2(rng.standard_normal((kept, kept), dtype=np.float32))
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
    noise = np.fft.irfft(np.fft.ifft(columns, axis=0), size, axis=1).astype(np.float32)
    return np.asarray(noise / noise.std(), np.float32)


def crowns(rng: np.random.Generator, size: int, spacing: float, radius: float) -> FloatMap:
    """Dome heights 0 to 1 of round crowns scattered on a jittered lattice.

    Parameters
    ----------
    size
        Side in samples.
    spacing
        Mean distance from crown to crown, samples.
    radius
        Radius of the largest crown, samples; the smallest has a third of it.
    """
    cells = round(size / spacing)
    pitch = size / cells
    reach = int(np.ceil(radius)) + 1
    axis = np.arange(-reach, reach + 1)
    field = np.zeros((size, size), np.float32)
    lattice = np.stack(np.meshgrid(np.arange(cells), np.arange(cells), indexing="ij"), -1)
    centres = (lattice.reshape(-1, 2) + rng.random((cells * cells, 2))) * pitch
    scales = 0.33 + 0.67 * rng.random(cells * cells) ** 1.5
    for (cx, cy), scale in zip(centres, scales, strict=True):
        ix, iy = int(cx), int(cy)
        dx = (axis[:, None] + ix - cx) / (radius * scale)
        dy = (axis[None, :] + iy - cy) / (radius * scale)
        dome = (scale * (1 - dx * dx - dy * dy)).astype(np.float32)
        rows, columns = (axis + ix) % size, (axis + iy) % size
        patch = field[rows[:, None], columns]
        field[rows[:, None], columns] = np.maximum(patch, dome)
    return field


def shifted(field: FloatMap, dx: float, dy: float) -> FloatMap:
    """Field moved by (dx, dy) samples along its axes, periodic, linear between samples."""
    ix, iy = int(np.floor(dx)), int(np.floor(dy))
    fx, fy = np.float32(dx - ix), np.float32(dy - iy)
    moved = np.roll(field, (ix, iy), (0, 1))
    moved = moved * (1 - fx) + np.roll(moved, 1, 0) * fx
    return np.asarray(moved * (1 - fy) + np.roll(moved, 1, 1) * fy, np.float32)
