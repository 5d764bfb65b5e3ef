"""Frames of the bars pattern: one exact period as a table of codes, read at a moving place."""

from __future__ import annotations

from fractions import Fraction
from math import floor

import numpy as np

from patterns.picture.arrays import FloatArray, IndexArray, UInt8Array
from patterns.picture.light import light_to_code
from patterns.picture.planes import Planes
from patterns.scenes.bars.light import bar_light
from patterns.scenes.bars.motion import BarsMotion, axis
from patterns.scenes.shot import Shot

# A slanted picture is looked up in steps of this many to a pixel: an edge at full
# contrast climbs 219 codes a pixel, so a step is less than half a code.
STEPS_PER_PX = 512
MAX_STEPS = 1 << 22


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
