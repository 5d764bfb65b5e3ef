"""The shutter: exact average of a sampled surface over a box along one axis."""

from __future__ import annotations

import numpy as np

from patterns.picture.arrays import Float32Array

__all__ = ["box_blur", "box_margin"]


def box_margin(width: float) -> int:
    """Samples that `box_blur` needs beyond each end of what it returns."""
    return int(width / 2) + 1 if width > 0 else 0


def box_blur(samples: Float32Array, width: float) -> Float32Array:
    """Mean over a box `width` samples wide about each sample, along the last axis.

    Between samples the surface is taken as linear. Its integral from a sample on is then
    a parabola, so that the box is exact for any width, fractional ones too:
    I(k + f) = S_k + f s_k + f^2 (s_(k+1) - s_k) / 2, with S the trapezoid sums.

    Parameters
    ----------
    samples
        float32 (..., n + 2 m) where m = box_margin(width).
    width
        Width of the box in samples, 0 or more.

    Returns
    -------
    float32 (..., n), the same array if the width is 0.
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
