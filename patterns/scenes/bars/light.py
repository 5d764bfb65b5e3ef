"""Bars in closed form: the light of a pixel, exactly, at any shutter.

Along its motion a bar is a box of `width_px`. Its soft edge, the exposure and the
pixel's own square are further boxes (the square seen along a slanted axis is two, of
widths |cos| and |sin|), and light is averaged over all of them, so an edge is the
distribution function of a sum of independent uniform variables (the Irwin-Hall
distribution with unequal widths; Feller, *An Introduction to Probability Theory*, vol. 2,
section I.9, from memory): a signed sum of powers over the corners of the boxes.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import product
from math import ceil, factorial, floor, prod

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import FloatArray
from patterns.scenes.bars.motion import BarsMotion, axis


def edge_profile(distance_px: npt.ArrayLike, boxes_px: tuple[float, ...]) -> FloatArray:
    """Share of light past an edge that is averaged over boxes.

    Parameters
    ----------
    distance_px
        Signed distance from the edge in pixels, any shape.
    boxes_px
        Widths of the centred boxes, pixels, >= 0. One below a thousandth of the widest
        is left out: it moves the result by less than 0.0005 and would cost more in
        cancellation.

    Returns
    -------
    Values from 0 (well before the edge) to 1 (well past it), of the same shape.
    """
    x = np.asarray(distance_px, np.float64)
    widest = max(boxes_px, default=0.0)
    widths = [b for b in boxes_px if b > widest / 1000 and b > 0]
    if not widths:
        return np.where(x < 0, 0.0, 1.0)
    half = sum(widths) / 2
    inside = np.clip(x, -half, half)
    order = len(widths)
    total = np.zeros_like(inside)
    for signs in product((-1, 1), repeat=order):
        corner = sum(s * w for s, w in zip(signs, widths, strict=True)) / 2
        total += prod(signs) * np.maximum(inside + corner, 0.0) ** order
    result = total / (factorial(order) * prod(widths))
    return np.asarray(np.clip(result, 0.0, 1.0), np.float64)


def bar_coverage(
    along_px: npt.ArrayLike, motion: BarsMotion, exposure_s: Fraction, *, pixel: bool = True
) -> FloatArray:
    """Share of bar (0 to 1) in the light at places `along_px` past a bar's centre.

    Parameters
    ----------
    along_px
        Distance along the motion from the centre of any one bar, pixels, any shape.
    exposure_s
        Exposure in seconds, centred on the moment at which the bar is there.
    pixel
        Whether to average over the pixel's square too.
    """
    x, y = (abs(c) for c in axis(motion))
    blur = abs(float(motion.speed_px_s * exposure_s))
    boxes = (float(motion.softness_px), blur, *((x, y) if pixel else ()))
    period, half_width = float(motion.period_px), float(motion.width_px) / 2
    along = np.asarray(along_px, np.float64)
    local = along - period * np.rint(along / period)
    reach = half_width + sum(boxes) / 2
    neighbours = range(-ceil((reach - period / 2) / period), 1 + floor(0.5 + reach / period))
    total = np.zeros_like(local)
    for k in neighbours if reach > period / 2 else (0,):
        place = local - k * period
        total += edge_profile(place + half_width, boxes) - edge_profile(place - half_width, boxes)
    return np.asarray(np.clip(total, 0.0, 1.0), np.float64)


def bar_light(
    along_px: npt.ArrayLike, motion: BarsMotion, exposure_s: Fraction, *, pixel: bool = True
) -> FloatArray:
    """Linear light (0 to 1) at places `along_px` past a bar's centre; see `bar_coverage`."""
    share = bar_coverage(along_px, motion, exposure_s, pixel=pixel)
    return motion.dark + (motion.light - motion.dark) * share
