"""Textured moving pictures for the tests of files, made without the project's renderer."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import FloatArray, UInt8Array
from patterns.picture.planes import Planes


@lru_cache(maxsize=6)
def _spectrum(height: int, period: int, seed: int) -> npt.NDArray[np.complex128]:
    """Rows of fractal noise (amplitude ~ 1/f, as natural landscapes have), along x."""
    rng = np.random.default_rng(seed)
    noise = np.fft.rfft2(rng.standard_normal((height, period)))
    frequency = np.hypot(np.fft.fftfreq(height)[:, None], np.fft.rfftfreq(period)[None])
    frequency[0, 0] = 1
    texture = np.fft.irfft2(noise / frequency**1.2, (height, period))
    return np.asarray(np.fft.rfft(texture / texture.std(), axis=1))


@lru_cache(maxsize=4)
def moving_texture(
    frames: int, width: int = 160, height: int = 128, speed_px: float = 3.3
) -> tuple[Planes, ...]:
    """Noise that slides to the left by `speed_px` a frame, exposed for half of it."""
    period = max(512, 1 << (width - 1).bit_length())
    spectra = [_spectrum(height, period, seed) for seed in range(3)]
    wave = np.fft.rfftfreq(period)
    made = []
    for number in range(frames):
        shift = np.exp(2j * np.pi * wave * speed_px * number) * np.sinc(wave * speed_px / 2)
        y, cb, cr = (
            np.fft.irfft(rows * shift, period, axis=1)[:, :width]
            for rows in (spectra[0], spectra[1][::2], spectra[2][::2])
        )
        made.append(
            Planes(
                _codes(110 + 30 * y, 235),
                _codes(128 + 8 * cb[:, ::2], 240),
                _codes(128 + 8 * cr[:, ::2], 240),
            )
        )
    return tuple(made)


def _codes(values: FloatArray, top: int) -> UInt8Array:
    return np.clip(np.rint(values), 16, top).astype(np.uint8)


def decoded(path: Path) -> list[Planes]:
    """All pictures of a file as 4:2:0 planes, by PyAV, which is no part of the project."""
    found = []
    with av.open(str(path)) as container:
        for frame in container.decode(video=0):
            flat = np.asarray(frame.to_ndarray(format="yuv420p"), np.uint8).ravel()
            luma, half = frame.width * frame.height, (frame.height // 2, frame.width // 2)
            cb, cr = flat[luma:].reshape(2, *half)
            found.append(Planes(flat[:luma].reshape(frame.height, frame.width), cb, cr))
    return found


def worst_db(written: Iterable[UInt8Array], read: Iterable[UInt8Array]) -> float:
    """PSNR = 10 log10(255^2 / mean squared error), per ITU-T J.340, of the worst frame's luma."""
    pairs = zip(written, read, strict=True)
    errors = [float(np.mean((a.astype(float) - b) ** 2)) for a, b in pairs]
    return float(10 * np.log10(255**2 / max(1e-9, *errors)))
