"""Frames of the bars pattern in closed form: the light of a pixel, exactly, at any shutter.

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

from patterns.picture.arrays import FloatArray, IndexArray, UInt8Array
from patterns.picture.light import light_to_code
from patterns.picture.planes import Planes
from patterns.scenes.bars.motion import BarsMotion, axis
from patterns.scenes.pattern import Shot

# A slanted picture is looked up in steps of this many to a pixel: an edge at full
# contrast climbs 219 codes a pixel, so a step is less than half a code.
STEPS_PER_PX = 512
MAX_STEPS = 1 << 22


def edge_profile(distance_px: npt.ArrayLike, boxes_px: tuple[float, ...]) -> FloatArray:
    """Share of light past an edge that is averaged over boxes.

    `distance_px`: signed distance from the edge in pixels, any shape.
    `boxes_px`: widths of the centred boxes, pixels, >= 0. One below a thousandth of the widest is
    left out: it moves the result by less than 0.0005 and would cost more in cancellation.
    Returns values from 0 (well before the edge) to 1 (well past it), of the same shape.
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


def bar_light(along_px: npt.ArrayLike, motion: BarsMotion, exposure_s: Fraction) -> FloatArray:
    """Linear light (0 to 1) of pixels at places `along_px` past a bar's centre.

    `along_px`: distance along the motion from the centre of any one bar, pixels, any shape.
    `exposure_s`: exposure in seconds, centred on the moment at which the bar is there.
    """
    x, y = (abs(c) for c in axis(motion))
    blur = abs(float(motion.speed_px_s * exposure_s))
    boxes = (float(motion.softness_px), blur, x, y)
    period, half_width = float(motion.period_px), float(motion.width_px) / 2
    along = np.asarray(along_px, np.float64)
    local = along - period * np.rint(along / period)
    reach = half_width + sum(boxes) / 2
    neighbours = range(-ceil((reach - period / 2) / period), 1 + floor(0.5 + reach / period))
    total = np.zeros_like(local)
    for k in neighbours if reach > period / 2 else (0,):
        place = local - k * period
        total += edge_profile(place + half_width, boxes) - edge_profile(place - half_width, boxes)
    return motion.dark + (motion.light - motion.dark) * np.clip(total, 0.0, 1.0)


class BarsRenderer:
    """Draws the bars of a clip into pictures of `width` x `height`.

    Upright and level bars are evaluated anew for each frame, in closed form. Slanted
    ones differ at every pixel, so one period is tabled at `STEPS_PER_PX` and gathered.
    """

    def __init__(self, shot: Shot, width: int, height: int) -> None:
        assert isinstance(shot.motion, BarsMotion)
        self._motion, self._shot = shot.motion, shot
        x, y = axis(shot.motion)
        along_x = (np.arange(width) + 0.5 - width / 2) * x
        along_y = (np.arange(height) + 0.5 - height / 2) * y
        self._flat = not (x and y)
        if self._flat:
            self._along = along_x if x else along_y
        else:
            self._steps = min(int(STEPS_PER_PX * shot.motion.period_px), MAX_STEPS)
            self._table = self._doubled_table()
            self._base = self._places(along_x[np.newaxis, :] + along_y[:, np.newaxis])

    def draw(self, n: int, picture: Planes) -> None:
        """Write frame `n` (any integer from 0) into `picture`."""
        shift_px = self._shift_px(n)
        picture.cb[:] = 128
        picture.cr[:] = 128
        if self._flat:
            codes = light_to_code(
                bar_light(self._along - float(shift_px), self._motion, self._shot.exposure_s)
            )
            picture.y[:] = codes if self._motion.direction == "upright" else codes[:, np.newaxis]
            return
        offset = floor(-shift_px / self._motion.period_px * self._steps + Fraction(1, 2))
        np.take(self._table[offset % self._steps :], self._base, out=picture.y, mode="clip")

    def _shift_px(self, n: int) -> Fraction:
        # Exact, and reduced to one period first, so that frame 60,000 is as exact as frame 1.
        return (self._motion.speed_px_s * n / self._shot.rate) % self._motion.period_px

    def _doubled_table(self) -> UInt8Array:
        places = np.arange(self._steps) * (float(self._motion.period_px) / self._steps)
        codes = light_to_code(bar_light(places, self._motion, self._shot.exposure_s))
        return np.concatenate([codes, codes])

    def _places(self, along_px: FloatArray) -> IndexArray:
        turns = along_px / float(self._motion.period_px)
        steps = np.rint((turns - np.floor(turns)) * self._steps).astype(np.intp)
        return np.asarray(steps % self._steps, np.intp)
