"""Filters of sampled ground: shutter and aperture, lines between lines, chroma's halving."""

from __future__ import annotations

import numpy as np

from patterns.picture.arrays import Float32Array

TAPS = (0.6280, -0.1791, 0.0744, -0.0233)  # tapered sinc, sum 1/2


def box_margin(width: float) -> int:
    """Samples that `box_blur` needs beyond each end of what it returns."""
    return int(width / 2) + 1 if width > 0 else 0


def box_blur(samples: Float32Array, width: float) -> Float32Array:
    """Mean over a box `width` samples wide about each sample, along the last axis.

    Between samples the surface is taken as linear. Its integral from a sample on is then
    a parabola, so that the box is exact for any width, fractional ones too:
    I(k + f) = S_k + f s_k + f^2 (s_(k+1) - s_k) / 2, with S the trapezoid sums.

    `samples`: float32 (..., n + 2 m) where m = box_margin(width).
    `width`: width of the box in samples, 0 or more.
    Returns float32 (..., n), the same array if the width is 0.
    """
    margin = box_margin(width)
    if not margin:
        return samples
    count = samples.shape[-1] - 2 * margin
    sums = np.zeros_like(samples)
    np.cumsum((samples[..., 1:] + samples[..., :-1]) * np.float32(0.5), -1, out=sums[..., 1:])
    half = width / 2
    whole = int(half)
    part = half - whole

    def integral(first: int, fraction: float) -> Float32Array:
        here = samples[..., first : first + count]
        slope = samples[..., first + 1 : first + 1 + count] - here
        rest = here * np.float32(fraction) + slope * np.float32(fraction**2 / 2)
        return np.asarray(sums[..., first : first + count] + rest, np.float32)

    right = integral(margin + whole, part)
    # The left end lies at -half = -(whole + 1) + (1 - part).
    left = integral(margin - whole - 1, 1 - part)
    right -= left
    right /= np.float32(width)
    return right


def halved(lines: Float32Array, taps: tuple[float, ...] = TAPS) -> Float32Array:
    """Lines and, between each two, the midpoint; of (n + 2 t - 2, m), (2 n - 1, m).

    The midpoint is band-limited interpolation with a tapered sinc of 2 t taps: eight,
    because anything shorter weakens fine detail half way between lines, which would then
    seem to move unevenly.
    """
    side = len(taps) - 1
    kept = len(lines) - 2 * side
    out = np.empty((2 * kept - 1, lines.shape[1]), np.float32)
    out[::2] = lines[side : side + kept]
    middle = np.zeros((kept - 1, lines.shape[1]), np.float32)
    pair = np.empty_like(middle)
    for far, tap in enumerate(taps):
        low, high = side - far, side + far + 1
        np.add(lines[low : low + kept - 1], lines[high : high + kept - 1], pair)
        pair *= np.float32(tap)
        middle += pair
    out[1::2] = np.clip(middle, 16, 240, out=middle)
    return out


def kernel(blur: float, aperture: float) -> Float32Array:
    """Weights of whole lines for an aperture and an exposure of so many lines."""
    margin = box_margin(blur) + box_margin(aperture)
    impulse = np.zeros(4 * margin + 1, np.float32)
    impulse[2 * margin] = 1
    return np.asarray(box_blur(box_blur(impulse, aperture), blur), np.float32)


def filtered(light: Float32Array, kernel: Float32Array) -> Float32Array:
    """Lines of light (3, n + 2 m, ...) weighed by a symmetric kernel of 2 m + 1: (3, n, ...)."""
    margin = len(kernel) // 2
    count = light.shape[1] - 2 * margin
    out = light[:, margin : margin + count] * kernel[margin]
    pair = np.empty_like(out[0])
    for channel, lines in zip(out, light, strict=True):
        for far in range(1, margin + 1):
            low, high = margin - far, margin + far
            np.add(lines[low : low + count], lines[high : high + count], pair)
            np.multiply(pair, kernel[high], pair)
            np.add(channel, pair, channel)
    return np.asarray(out, np.float32)


def paired(light: Float32Array) -> Float32Array:
    """Chroma's light: (1, 2, 1) / 4 both ways, every second column; (3, n - 2, m / 2 - 1)."""
    half, quarter = np.float32(0.5), np.float32(0.25)
    count = (light.shape[2] - 1) // 2
    wide = light[:, :, 1 : 2 * count : 2] * half
    wide += quarter * (light[:, :, 0 : 2 * count : 2] + light[:, :, 2 : 2 * count + 1 : 2])
    out = wide[:, 1:-1] * half
    out += quarter * (wide[:, :-2] + wide[:, 2:])
    return np.asarray(out, np.float32)
