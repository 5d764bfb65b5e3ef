"""Texture levels for flight along the camera's heading.

A level serves a band of picture rows with like footprints. It is a window that slides
over the ground: lines square to the flight, `step` metres apart, made in chunks as they
come into view, each averaged over the row footprint and over the travel of one exposure.
"""

from __future__ import annotations

from math import ceil, floor, log2

import numpy as np
import numpy.typing as npt

from patterns.rendering.box_blur import box_blur, box_margin
from patterns.rendering.terrain_rays import Rays
from patterns.rendering.terrain_texels import (
    WORD,
    codes_of_light,
    haze_shift,
    hazed,
    interpolator,
    pack,
    transmittance,
    unpacked,
)
from patterns.scenes.country import Country
from patterns.scenes.country_field import GridAxis
from patterns.scenes.country_view import view

__all__ = ["LineLevel", "bands"]

ACROSS = 2  # texels across per pixel: the nearest is then within a quarter pixel
# Texel lines per surface line. Interpolating linearly between lines a whole pixel apart
# would delay fine detail by up to a tenth of a pixel; half a pixel apart, by a hundredth.
AHEAD = 2
# A sensor's pixel gathers light over its own width, after the lens has spread it by as much
# again (that is in the surface's footprint): without both, edges would beat with the pixels.
APERTURE = 1.0
TAPS = (0.6280, -0.1791, 0.0744, -0.0233)  # tapered sinc, sum 1/2
BLOCK_ROWS = 12


def bands(sample_m: npt.NDArray[np.float64], rows: npt.NDArray[np.intp]) -> list[tuple[int, int]]:
    """Split consecutive rows so that footprints within a band differ little.

    Far bands are narrower (in ratio): they cost less, and their haze changes faster.
    """
    found = []
    least = float(sample_m[rows].min())
    first = 0
    for last in range(1, len(rows) + 1):
        part = sample_m[rows[first:last]]
        ratio = 1 + 0.9 / (1 + 0.5 * log2(part.min() / least))
        inside = last < len(rows) and max(part.max(), sample_m[rows[last]]) < ratio * min(
            part.min(), sample_m[rows[last]]
        )
        if not inside:
            found.append((int(rows[first]), int(rows[last - 1]) + 1))
            first = last
    return found


def halved(lines: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Lines and, between each two, the midpoint; of (planes, n + 6, m), (planes, 2 n - 1, m).

    The midpoint is band-limited interpolation with a tapered sinc of eight taps, because
    anything shorter weakens fine detail half way between lines, which would then seem to
    move unevenly.
    """
    planes, count, across = lines.shape
    kept = count - 6
    out = np.empty((planes, 2 * kept - 1, across), np.float32)
    out[:, ::2] = lines[:, 3:-3]
    middle = np.zeros((planes, kept - 1, across), np.float32)
    pair = np.empty_like(middle)
    for far, tap in enumerate(TAPS):
        np.add(lines[:, 3 - far : 3 - far + kept - 1], lines[:, 4 + far : 4 + far + kept - 1], pair)
        pair *= np.float32(tap)
        middle += pair
    out[:, 1::2] = np.clip(middle, 16, 240, out=middle)
    return out


class LineLevel:
    """One band of rows of one plane, for forward flight and straight down."""

    def __init__(
        self, country: Country, rays: Rays, rows: tuple[int, int], blur_m: float, colour: bool
    ) -> None:
        top, bottom = rows
        self.rows = rows
        self._country, self._colour = country, colour
        ahead = rays.ahead_m[top:bottom]
        footprint = rays.sample_ahead_m[top:bottom]
        # A long exposure needs no finer lines than a part of its own length.
        self.step_m = max(float(np.sqrt(footprint.min() * footprint.max())), blur_m / 12)
        blur = blur_m / self.step_m
        self._blur = blur if blur > 0.03 else 0.0  # less cannot be seen
        self._places = ahead / self.step_m
        through = transmittance(rays.range_m[top:bottom])
        self._through = float(np.sqrt(through.min() * through.max()))
        self._shift = haze_shift(through, self._through, colour)[:, None]
        self._across = self._lay_across(rays, top, bottom)
        span = float(self._places.max() - self._places.min())
        # Long chunks waste fewer lines at their ends; far levels hardly ever need another.
        self.chunk_lines = int(np.clip(ceil(span / 2), 28 if self.step_m < 1 else 8, 64))
        self.slots = ceil((span + 2) / self.chunk_lines) + 2
        self._held: list[int | None] = [None] * self.slots
        planes = 2 if colour else 1
        lines = self.slots * self.chunk_lines * AHEAD
        self._words = np.zeros((lines, (len(self._across) - 1) * ACROSS, planes), WORD)

    def _lay_across(self, rays: Rays, top: int, bottom: int) -> GridAxis:
        depth = rays.depth_m[top:bottom]
        sample = rays.sample_across_m[top:bottom]
        step = float(np.sqrt(sample.min() * sample.max()))
        left, right = rays.across[0] * depth.max() - step, rays.across[-1] * depth.max() + step
        count = ceil((right - left) / step) + 2
        places = (rays.across[None, :] * depth[:, None] - left) * (ACROSS / step)
        self._columns = np.rint(places).astype(np.intp)
        return GridAxis.even(left, step, count, step)

    def chunks(self, travel_m: float) -> range:
        """Chunks that a frame needs when the camera has come `travel_m`."""
        places = self._places + travel_m / self.step_m
        return range(
            floor(float(places.min()) / self.chunk_lines),
            floor((float(places.max()) + 1) / self.chunk_lines) + 1,
        )

    def holds(self, chunk: int) -> bool:
        """Whether a chunk is in memory."""
        return self._held[chunk % self.slots] == chunk

    def make(self, chunk: int) -> None:
        """Draw a chunk of lines into its slot, if it is not there."""
        if self.holds(chunk):
            return
        slot = chunk % self.slots
        self._held[slot] = None
        margin = box_margin(self._blur) + box_margin(APERTURE) + 3
        first = chunk * self.chunk_lines - margin
        count = self.chunk_lines + 1 + 2 * margin
        places = np.arange(first, first + count, dtype=np.float64) * self.step_m
        along = GridAxis(places, self.step_m)
        light = view(self._country, along, self._across)
        light = box_blur(box_blur(light.swapaxes(1, 2), APERTURE), self._blur).swapaxes(1, 2)
        codes = codes_of_light(hazed(np.ascontiguousarray(light), self._through), self._colour)
        start = slot * self.chunk_lines * AHEAD
        self._keep(halved(codes), self._words[start : start + self.chunk_lines * AHEAD])
        self._held[slot] = chunk

    def _keep(self, codes: npt.NDArray[np.float32], target: npt.NDArray[np.uint32]) -> None:
        between = (codes[..., 1:] + codes[..., :-1]) * np.float32(0.5)
        for offset, values in enumerate((codes[..., :-1], between)):
            words = pack(values[:, :-1], values[:, 1:])
            target[:, offset::ACROSS] = np.moveaxis(words, 0, -1)

    def draw(self, travel_m: float, out: list[npt.NDArray[np.uint8]]) -> None:
        """Fill this level's rows of each plane."""
        top, bottom = self.rows
        line, mix = interpolator((self._places + travel_m / self.step_m) * AHEAD)
        line %= len(self._words)
        wide = np.dtype("<u8") if self._colour else WORD
        words = self._words.view(wide)[..., 0]
        lines = line.tolist()
        for first in range(0, bottom - top, BLOCK_ROWS):
            last = min(first + BLOCK_ROWS, bottom - top)
            block = np.empty((last - first, self._columns.shape[1]), wide)
            for row in range(first, last):
                words[lines[row]].take(self._columns[row], 0, block[row - first], "clip")
            mixed = block.view(WORD).reshape(*block.shape, -1)
            mixed *= mix[first:last, None, None]
            block += self._shift[first:last]
            codes = unpacked(mixed)
            for number, plane in enumerate(out):
                plane[top + first : top + last] = codes[..., number]
