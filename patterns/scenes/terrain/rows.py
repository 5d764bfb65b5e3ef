"""Texture rows for flight across the camera's heading.

Here a picture row runs along the flight, so that each row has a strip of ground of its
own, two texels a pixel, which slides past unchanged: a frame is a shift of every row.
Strips are made in chunks as they come into view, all rows of a band at a time, luma and
chroma of the same light.
"""

from __future__ import annotations

from math import ceil, floor

import numpy as np

from patterns.picture.arrays import Float32Array, FloatArray, UInt32Array
from patterns.picture.planes import codes_of_light
from patterns.scenes.ground.field import GridAxis
from patterns.scenes.ground.palette import hazed, transmittance
from patterns.scenes.terrain.levels import MOST_AHEAD, Band, Ring
from patterns.scenes.terrain.texels import (
    WORD,
    TexelPlane,
    Words,
    box_blur,
    box_margin,
    half_words,
    pack_texels,
    wide_words,
)

CHUNK_PIXELS = 4096  # in all rows of a level together
FINENESS = 0.7  # step along the ground in pixels before rows take their own texels from it
# Texels a pixel: linear interpolation between texels a whole pixel apart would delay fine
# detail by up to a tenth of a pixel; half a pixel apart, by a hundredth.
TEXELS = 2
# Height of a row's footprint in rows: the lens spreads light over as much again as the pixel
# gathers (two boxes of one row are about as tall as one of a row and a half). Where tracks and
# hedges are thinner than a row, two whole rows: a slanting line then lies on two rows everywhere,
# in equal sum, where less would break it into dots that crawl.
LENS, LENS_FAR, FAR_M = 1.5, 2.0, 2.0


class RowLevel(Ring):
    """One band of rows, for sideways flight."""

    def __init__(self, band: Band) -> None:
        self._country, self.rows, self._blur_m = band.country, band.rows, band.blur_m
        luma, chroma = band.luma, band.chroma
        both = tuple(zip((luma, chroma), self.rows, strict=True))
        self.widths = tuple(len(rays.across) for rays, _ in both)
        self.samples_m = tuple(rays.sample_across_m[some] for rays, some in both)
        self.lefts_m = tuple(rays.across[0] * rays.depth_m[some] for rays, some in both)
        ahead = luma.sample_ahead_m[self.rows[0]]
        row_m = float(np.sqrt(ahead.min() * ahead.max()))
        lens = LENS_FAR if row_m >= FAR_M else LENS
        self._heading = GridAxis(luma.ahead_m[self.rows[0]], lens * row_m)
        self._through = transmittance(luma.range_m[self.rows[0]]).astype(np.float32)
        right = self.lefts_m[0] + (self.widths[0] + 3) * self.samples_m[0]
        self._ends_m = min(float(some.min()) for some in self.lefts_m), float(right.max())
        self._lay_along(band.ahead_m)

    def _lay_along(self, ahead_m: float) -> None:
        finest, coarsest = float(self.samples_m[0].min()), float(self.samples_m[0].max())
        self.step_m = max(FINENESS * finest, self._blur_m / 8)
        count = len(self.samples_m[0])
        self.chunk_m = float(np.clip(CHUNK_PIXELS / count, 256, 1024)) * finest
        view_m = (self.widths[0] + 4) * coarsest
        super().__init__(ceil((view_m + min(ahead_m, view_m / MOST_AHEAD)) / self.chunk_m) + 3)
        # Each texel is held twice, so that any window of the ring is in one piece.
        self.words = tuple(
            np.zeros((len(sample), 2 * self._size(which), which + 1), WORD)
            for which, sample in enumerate(self.samples_m)
        )

    def _size(self, which: int) -> int:
        """Texels in the ring of a plane."""
        finest = float(self.samples_m[which].min())
        return TEXELS * ceil(self.slots * self.chunk_m / finest) + 4

    def chunks(self, travel_m: float) -> range:
        """Chunks that a frame needs when the camera has come `travel_m`."""
        first, last = (floor((end + travel_m) / self.chunk_m) for end in self._ends_m)
        return range(first, last + 1)

    def release(self, chunk: int) -> None:
        """Hold no more what lies where a chunk is to be written."""
        # Strips wrap at their own places: only neighbours are sure not to be overwritten.
        for slot, held in enumerate(self._held):
            if held is not None and abs(held - chunk) >= self.slots:
                self._held[slot] = None
        super().release(chunk)

    def _paint(self, chunk: int) -> None:
        light = self._light(chunk)
        paired = (light[:, ::2] + light[:, 1::2]) * np.float32(0.5)
        wide = paired[..., 1:-1] * np.float32(0.5)
        wide += np.float32(0.25) * (paired[..., 2:] + paired[..., :-2])
        for which, some in enumerate((light, wide)):
            codes = codes_of_light(some, colour=bool(which))
            self._give(chunk, which, codes, self._first_m(chunk) + which * self.step_m)

    def _first_m(self, chunk: int) -> float:
        return chunk * self.chunk_m - 2 * self.step_m

    def _light(self, chunk: int) -> Float32Array:
        """Hazed light (3, rows of luma, places from `_first_m` on) that a chunk needs."""
        blur = self._blur_m / self.step_m
        pixel = float(self.samples_m[0].mean()) / self.step_m  # the sensor's aperture
        margin = box_margin(blur) + box_margin(pixel)
        ends = self.chunk_m + 2 * float(self.samples_m[1].max())
        count = ceil(ends / self.step_m) + 6
        along = GridAxis.even(
            self._first_m(chunk) - margin * self.step_m,
            self.step_m,
            count + 2 * margin,
            max(float(self.samples_m[0].min()), self.step_m),
        )
        light = self._country.view(self._heading, along, turned=True)
        light = box_blur(box_blur(light, pixel), blur)
        return hazed(light, self._through[:, None])

    def _give(self, chunk: int, which: int, codes: Float32Array, first_m: float) -> None:
        """Give each row of a plane its own texels."""
        start_m, end_m = chunk * self.chunk_m, (chunk + 1) * self.chunk_m
        size = self._size(which)
        for row, sample in enumerate(self.samples_m[which] / TEXELS):
            texels = np.arange(ceil(start_m / sample), ceil(end_m / sample) + 1)
            values = _between(codes[:, row], (texels * sample - first_m) / self.step_m)
            words = np.empty((len(texels) - 1, len(codes)), WORD)
            pack_texels([half_words(plane) for plane in values], words)
            _into_ring(self.words[which][row], int(texels[0]) % size, size, words)


def _into_ring(strip: UInt32Array, at: int, size: int, words: UInt32Array) -> None:
    fit = min(len(words), size - at)
    for start in (at, at + size):
        strip[start : start + fit] = words[:fit]
    rest = len(words) - fit
    for start in (0, size):
        strip[start : start + rest] = words[fit:]


def _between(codes: Float32Array, places: FloatArray) -> Float32Array:
    whole = places.astype(np.intp)
    part = (places - whole).astype(np.float32)
    low, high = codes.take(whole, 1), codes.take(whole + 1, 1)
    return np.asarray(low + (high - low) * part, np.float32)


class RowPlane(TexelPlane):
    """Of levels for flight across the heading: a row is a stretch of its own strip."""

    def __init__(self, levels: list[RowLevel], which: int) -> None:
        self._strips = [
            strip.view(wide_words(which))[:, 0] for level in levels for strip in level.words[which]
        ]
        per_m = TEXELS / np.concatenate([level.samples_m[which] for level in levels])
        width = levels[0].widths[which]
        self._length = TEXELS * width
        super().__init__(
            which,
            (levels[0].rows[which].start, levels[-1].rows[which].stop),
            origin=np.concatenate([level.lefts_m[which] for level in levels]) * per_m,
            per_m=per_m,
            period=[len(strip) // 2 for strip in self._strips],
            width=width,
        )

    def _take(self, row: int, place: int, cells: Words) -> None:
        cells[:] = self._strips[row][place : place + self._length : TEXELS]
