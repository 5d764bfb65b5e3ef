"""Texture rows for flight across the camera's heading.

Here a picture row runs along the flight, so that each row has a strip of ground of its
own, two texels a pixel, which slides past unchanged: a frame is a shift of every row.
Strips are made in chunks as they come into view, all rows of a band at a time.
"""

from __future__ import annotations

from math import ceil, floor

import numpy as np
import numpy.typing as npt

from patterns.rendering.box_blur import box_blur, box_margin
from patterns.rendering.terrain_rays import Rays
from patterns.rendering.terrain_texels import (
    WORD,
    codes_of_light,
    hazed,
    interpolator,
    pack,
    transmittance,
    unpacked,
)
from patterns.scenes.country import Country
from patterns.scenes.country_field import GridAxis
from patterns.scenes.country_view import view

__all__ = ["RowLevel"]

CHUNK_PIXELS = 4096  # in all rows of a level together
FINENESS = 0.7  # step along the ground in pixels before rows take their own texels from it
# Texels a pixel: linear interpolation between texels a whole pixel apart would delay fine
# detail by up to a tenth of a pixel; half a pixel apart, by a hundredth.
TEXELS = 2


class RowLevel:
    """One band of rows of one plane, for sideways flight."""

    def __init__(
        self, country: Country, rays: Rays, rows: tuple[int, int], blur_m: float, colour: bool
    ) -> None:
        top, bottom = rows
        self.rows = rows
        self._country, self._colour, self._blur_m = country, colour, blur_m
        self._sample_m = rays.sample_across_m[top:bottom]
        self._left_m = rays.across[0] * rays.depth_m[top:bottom]
        self._width = len(rays.across)
        ahead = rays.sample_ahead_m[top:bottom]
        self._heading = GridAxis(
            rays.ahead_m[top:bottom], float(np.sqrt(ahead.min() * ahead.max()))
        )
        self._through = transmittance(rays.range_m[top:bottom]).astype(np.float32)
        finest = float(self._sample_m.min())
        self._step_m = max(FINENESS * finest, blur_m / 24)
        self.chunk_m = float(np.clip(CHUNK_PIXELS / (bottom - top), 256, 1024)) * finest
        span = float((self._width + 2) * self._sample_m.max())
        self.slots = ceil(span / self.chunk_m) + 3
        self._held: list[int | None] = [None] * self.slots
        self._size = TEXELS * ceil(self.slots * self.chunk_m / finest) + 4
        planes = 2 if colour else 1
        # Each texel is held twice, so that any window of the ring is in one piece.
        self._words = np.zeros((bottom - top, 2 * self._size, planes), WORD)

    def chunks(self, travel_m: float) -> range:
        """Chunks that a frame needs when the camera has come `travel_m`."""
        left = self._left_m + travel_m
        right = left + (self._width + 1) * self._sample_m
        return range(
            floor(float(left.min()) / self.chunk_m), floor(float(right.max()) / self.chunk_m) + 1
        )

    def holds(self, chunk: int) -> bool:
        """Whether a chunk is in memory."""
        return self._held[chunk % self.slots] == chunk

    def make(self, chunk: int) -> None:
        """Draw a chunk of all strips, if it is not there."""
        if self.holds(chunk):
            return
        # Strips wrap at their own places: only neighbours are sure not to be overwritten.
        for slot, held in enumerate(self._held):
            if held is not None and abs(held - chunk) >= self.slots:
                self._held[slot] = None
        start_m, end_m = chunk * self.chunk_m, (chunk + 1) * self.chunk_m
        blur = self._blur_m / self._step_m
        pixel = float(self._sample_m.mean()) / self._step_m  # the sensor's aperture
        margin = box_margin(blur) + box_margin(pixel)
        count = ceil((self.chunk_m + float(self._sample_m.max())) / self._step_m) + 4
        first_m = start_m - self._step_m
        along = GridAxis.even(
            first_m - margin * self._step_m,
            self._step_m,
            count + 2 * margin,
            max(float(self._sample_m.min()), self._step_m),
        )
        light = view(self._country, self._heading, along, turned=True)
        light = box_blur(box_blur(light, pixel), blur)
        codes = codes_of_light(hazed(light, self._through[:, None]), self._colour)
        for row, sample in enumerate(self._sample_m / TEXELS):
            texels = np.arange(ceil(start_m / sample), ceil(end_m / sample) + 1)
            values = _between(codes[:, row], (texels * sample - first_m) / self._step_m)
            self._keep(row, int(texels[0]), pack(values[:, :-1], values[:, 1:]).T)
        self._held[chunk % self.slots] = chunk

    def _keep(self, row: int, first: int, words: npt.NDArray[np.uint32]) -> None:
        strip, size = self._words[row], self._size
        at = first % size
        fit = min(len(words), size - at)
        for start in (at, at + size):
            strip[start : start + fit] = words[:fit]
        rest = len(words) - fit
        for start in (0, size):
            strip[start : start + rest] = words[fit:]

    def draw(self, travel_m: float, out: list[npt.NDArray[np.uint8]]) -> None:
        """Fill this level's rows of each plane."""
        top, bottom = self.rows
        texel, mix = interpolator((self._left_m + travel_m) * TEXELS / self._sample_m)
        starts = (texel % self._size).tolist()
        mixed = np.empty((bottom - top, self._width, self._words.shape[2]), WORD)
        for row, start in enumerate(starts):
            seen = self._words[row, start : start + TEXELS * self._width : TEXELS]
            np.multiply(seen, mix[row], mixed[row])
        codes = unpacked(mixed)
        for number, plane in enumerate(out):
            plane[top:bottom] = codes[..., number]


def _between(
    codes: npt.NDArray[np.float32], places: npt.NDArray[np.float64]
) -> npt.NDArray[np.float32]:
    whole = places.astype(np.intp)
    part = (places - whole).astype(np.float32)
    low, high = codes.take(whole, 1), codes.take(whole + 1, 1)
    return np.asarray(low + (high - low) * part, np.float32)
