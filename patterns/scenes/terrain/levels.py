"""Texture levels for flight along the camera's heading.

A level serves a band of picture rows with like footprints. It is a window that slides
over the ground: lines square to the flight, `step_m` apart, made in chunks as they come
into view, each averaged over the row footprint and over the travel of one exposure.
Luma and chroma are made of the same light.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from math import ceil, floor, log2

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import Float32Array, FloatArray, IndexArray
from patterns.picture.planes import codes_of_light
from patterns.scenes.ground.country import Country, longest_piece_m
from patterns.scenes.ground.field import GridAxis
from patterns.scenes.ground.palette import hazed, transmittance
from patterns.scenes.terrain.motion import Rays
from patterns.scenes.terrain.texels import (
    TAPS,
    WORD,
    TexelPlane,
    Words,
    filtered,
    half_words,
    halved,
    haze_shift,
    kernel,
    pack_texels,
    paired,
    wide_words,
)

ACROSS = 2  # texels across per pixel: the nearest is then within a quarter pixel
# Texel lines per surface line. Interpolating linearly between lines a whole pixel apart
# would delay fine detail by up to a tenth of a pixel; half a pixel apart, by a hundredth.
# Surface lines are half a chroma pixel apart as they are.
AHEAD = 2
# A sensor's pixel gathers light over its own width, after the lens has spread it by as much
# again (that is in the surface's footprint): without both, edges would beat with the pixels.
APERTURE = 1.0
# Materials wander at their edges by decimetres: lines further apart than that would step over
# what lies between, and are drawn as close as the texels.
FRAYED_M = 0.4
BLUR_LINES = 4  # a long exposure needs no finer lines than this part of its own length
CHUNK_LINES = 64
MOST_AHEAD = 4  # room for frames drawn together is at most this part of what one sees


def bands(sample_m: FloatArray, rows: IndexArray) -> list[tuple[int, int]]:
    """Split consecutive rows so that footprints within a band differ little.

    Far bands are narrower (in ratio): they cost less, and their haze changes faster.
    Bands are filled from the last row, the nearest, up: what is left over is then a narrow
    band far away, where lines are cheap, and not at the near edge, where they cost most.
    """
    found = []
    least = float(sample_m[rows].min())
    last = len(rows)
    for first in range(len(rows) - 1, -1, -1):
        part = sample_m[rows[max(first - 1, 0) : last]]
        nearest = float(sample_m[rows[first:last]].min())
        ratio = 1 + 1.2 / (1 + 0.5 * log2(nearest / least))
        if first == 0 or part.max() >= ratio * part.min():
            found.append((int(rows[first]), int(rows[last - 1]) + 1))
            last = first
    return found[::-1]


@dataclass(frozen=True)
class Band:
    """Rows with like footprints, which one level serves."""

    country: Country  # what to draw
    # luma, chroma: rays of the two planes
    luma: Rays
    chroma: Rays
    rows_of_chroma: tuple[int, int]  # first and last + 1; luma has twice as many
    blur_m: float  # travel in one exposure
    ahead_m: float = 0.0  # travel from the first to the last of the frames that are drawn together

    @property
    def rows(self) -> tuple[slice, slice]:
        """Rows of luma, and of chroma."""
        top, bottom = self.rows_of_chroma
        return slice(2 * top, 2 * bottom), slice(top, bottom)


class Ring(ABC):
    """Chunks in memory, each in the slot of its number, less whole rings.

    `slots`: how many chunks there is room for.
    """

    def __init__(self, slots: int) -> None:
        self.slots = slots
        self._held: list[int | None] = [None] * slots

    @abstractmethod
    def chunks(self, travel_m: float) -> range:
        """Chunks that a frame needs when the camera has come `travel_m`."""

    def hold_both(self, first_m: float, last_m: float) -> bool:
        """Whether there is room for all that frames from a travel to a later one need."""
        first, last = self.chunks(first_m), self.chunks(last_m)
        return first.start <= last.start and last.stop - first.start <= self.slots

    def ensure(self, travel_m: float) -> None:
        """Make the chunks that a frame needs and that are not in memory."""
        for chunk in self.chunks(travel_m):
            if self._held[chunk % self.slots] != chunk:
                self.paint(chunk)

    def release(self, chunk: int) -> None:
        """Hold no more what lies where a chunk is to be written."""
        self._held[chunk % self.slots] = None

    def paint(self, chunk: int) -> None:
        """Make a chunk; one that was interrupted is not held."""
        self.release(chunk)
        self._paint(chunk)
        self._held[chunk % self.slots] = chunk

    @abstractmethod
    def _paint(self, chunk: int) -> None:
        """Write a chunk into its slot."""


class LineLevel(Ring):
    """One band of rows, for forward flight and straight down."""

    def __init__(self, band: Band) -> None:
        self._country, self.rows = band.country, band.rows
        luma, chroma, blur_m = band.luma, band.chroma, band.blur_m
        footprint = luma.sample_ahead_m[self.rows[0]]
        self.step_m = max(float(np.sqrt(footprint.min() * footprint.max())), blur_m / BLUR_LINES)
        self._dense = AHEAD if self.step_m > FRAYED_M else 1
        blur = blur_m / self.step_m if blur_m > 0.03 * self.step_m else 0.0  # less is not seen
        self._kernel = kernel(self._dense * blur, self._dense * APERTURE)
        self.places = tuple(
            rays.ahead_m[some] / self.step_m
            for rays, some in zip((luma, chroma), self.rows, strict=True)
        )
        through = transmittance(luma.range_m[self.rows[0]])
        self._through = float(np.sqrt(through.min() * through.max()))
        self.shifts = tuple(
            haze_shift(transmittance(rays.range_m[some]), self._through, colour)
            for rays, some, colour in zip((luma, chroma), self.rows, (False, True), strict=True)
        )
        self._lay_across(luma, chroma)
        self._lay_ahead(band.ahead_m)

    def _lay_across(self, luma: Rays, chroma: Rays) -> None:
        """Places of the texels across, and which of them each pixel takes."""
        depth, sample = luma.depth_m[self.rows[0]], luma.sample_across_m[self.rows[0]]
        step = float(np.sqrt(sample.min() * sample.max()))
        left = luma.across[0] * depth.max() - 3 * step
        count = 2 * ceil((luma.across[-1] * depth.max() - left) / (2 * step)) + 5
        self._across = GridAxis.even(left, step, count, step)
        places = (luma.across * depth[:, None] - left) * (ACROSS / step)
        depth = chroma.depth_m[self.rows[1]]
        paired = (chroma.across * depth[:, None] - left - step) * (ACROSS / (2 * step))
        self.columns = tuple(np.rint(p).astype(np.intp) for p in (places, paired))

    def _lay_ahead(self, ahead_m: float) -> None:
        """Chunks, counted so that the first frame begins with the first line of chunk 0."""
        low = min(float(p.min()) for p in self.places)
        high = max(float(p.max()) for p in self.places)
        self._base = floor(low)
        self._span = (low - self._base, high - self._base)
        seen = ceil(self._span[1]) + 2
        self._side = len(TAPS) - 1 if self._dense == 1 else 1
        self._margin = self._side + ceil((len(self._kernel) // 2) / self._dense)
        # Whole chunks in the first frame's view: nothing is drawn that it does not need.
        least = 2 * self._margin + 1
        self.chunk_lines = max(least, ceil(seen / ceil(seen / CHUNK_LINES)))
        ahead = min(ahead_m / self.step_m, seen / MOST_AHEAD)
        super().__init__(ceil((seen + ahead) / self.chunk_lines) + 1)
        self._tail: tuple[int, Float32Array] | None = None
        lines, across = self.slots * self.chunk_lines, len(self._across)
        self.words = (
            np.zeros((lines * AHEAD, (across - 1) * ACROSS), WORD),
            np.zeros((lines, ((across - 1) // 2 - 1) * ACROSS, 2), WORD),
        )

    def lines(self, travel_m: float) -> tuple[FloatArray, ...]:
        """Fractional texel line of each row of luma, and of chroma, when so far has been flown."""
        moved = travel_m / self.step_m - self._base
        return (self.places[0] + moved) * AHEAD, self.places[1] + moved

    def chunks(self, travel_m: float) -> range:
        """Chunks that a frame needs when the camera has come `travel_m`."""
        low, high = (end + travel_m / self.step_m for end in self._span)
        return range(floor(low / self.chunk_lines), floor((high + 0.25) / self.chunk_lines) + 1)

    def _paint(self, chunk: int) -> None:
        slot = chunk % self.slots
        lines = slice(slot * self.chunk_lines, (slot + 1) * self.chunk_lines)
        doubled = slice(lines.start * AHEAD, lines.stop * AHEAD)
        kept = filtered(self._light(chunk), self._kernel)
        hazed(kept, self._through)
        whole, spare = kept[:, :: self._dense], self._side - 1
        chroma = codes_of_light(paired(whole[:, spare : whole.shape[1] - spare]), colour=True)
        pack_texels([_texels(self._texel_lines(kept))], self.words[0][doubled])
        pack_texels([_texels(codes) for codes in chroma], self.words[1][lines])

    def _texel_lines(self, kept: Float32Array) -> Float32Array:
        """Luma of a chunk's texel lines and the first of the next, from lines of light."""
        if self._dense == 1:
            return halved(codes_of_light(kept, colour=False)[0])
        side = self._dense * self._side
        some = kept[:, side : kept.shape[1] - side]
        return np.asarray(codes_of_light(some, colour=False)[0], np.float32)

    def _light(self, chunk: int) -> Float32Array:
        """Light of a chunk's lines and of those before them that filters reach back to.

        The last lines of a chunk are drawn apart and serve the next one too.
        """
        dense, tail = self._dense, self._tail
        reach = 2 * dense * self._margin + 1
        first = dense * (chunk * self.chunk_lines + self._base + self._margin) + 1
        before = tail[1] if tail and tail[0] == chunk - 1 else self._ground(first - reach, reach)
        last = first + dense * self.chunk_lines - reach
        after = self._ground(last, reach)
        self._tail = (chunk, after)
        body = [self._ground(first, last - first)] if last > first else []
        light = np.concatenate([before, *body, after], 1)
        more = dense * (self._margin - self._side) - len(self._kernel) // 2
        return np.asarray(light[:, more : light.shape[1] - more], np.float32)

    def _ground(self, first: int, count: int) -> Float32Array:
        """Light of lines, each averaged over `step_m`.

        Far away they are put together from strips, which lines that overlap share.
        """
        between_m = self.step_m / self._dense
        piece_m = longest_piece_m(self.step_m, self._across.width_m)
        if not self._dense * piece_m < self.step_m:  # also where the overview is read
            along = np.arange(first, first + count, dtype=np.float64) * between_m
            return self._country.view(GridAxis(along, self.step_m, between_m), self._across)
        each = ceil(between_m / piece_m)
        strip_m = between_m / each
        begin_m = (first - self._dense / 2) * between_m + strip_m / 2
        strips = GridAxis.even(begin_m, strip_m, (count + self._dense - 1) * each, strip_m)
        light = self._country.view(strips, self._across)
        light = np.asarray(light.reshape(3, -1, each, light.shape[-1]).mean(axis=2), np.float32)
        if self._dense == 1:
            return light
        return np.asarray((light[:, :-1] + light[:, 1:]) * np.float32(0.5), np.float32)


def _texels(codes: Float32Array) -> npt.NDArray[np.uint16]:
    """Half words (n, 2 (m - 1)) of lines of unrounded codes (n, m), and of what lies between."""
    out = np.empty((len(codes), ACROSS * (codes.shape[1] - 1)), np.uint16)
    between = (codes[:, 1:] + codes[:, :-1]) * np.float32(0.5)
    for offset, values in enumerate((codes[:, :-1], between)):
        out[:, offset::ACROSS] = half_words(values)
    return out


class LinePlane(TexelPlane):
    """Of levels for flight along the heading: a row is taken from one line, and hazed."""

    def __init__(self, levels: list[LineLevel], which: int) -> None:
        self._shift = np.concatenate([level.shifts[which] for level in levels])[:, None]
        self._lines: list[Words] = []
        for level in levels:
            words = level.words[which].view(wide_words(which))
            self._lines += [words[..., 0] if which else words] * len(level.places[which])
        self._columns = [row for level in levels for row in level.columns[which]]
        ahead = [level.lines(1.0)[which][:1] - level.lines(0.0)[which][:1] for level in levels]
        counts = [len(level.places[which]) for level in levels]
        super().__init__(
            which,
            (levels[0].rows[which].start, levels[-1].rows[which].stop),
            origin=np.concatenate([level.lines(0.0)[which] for level in levels]),
            per_m=np.repeat(np.concatenate(ahead), counts),
            period=[len(lines) for lines in self._lines],
            width=len(self._columns[0]),
        )

    def _take(self, row: int, place: int, cells: Words) -> None:
        self._lines[row][place].take(self._columns[row], 0, cells, "clip")
