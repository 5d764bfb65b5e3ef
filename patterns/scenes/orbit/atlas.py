"""The orbit's atlas: texels filtered in linear light and quantised once.

They are painted sector by sector as they come into view, some more at a time than one frame
reads. A pixel's footprint along the turn is one box, the shutter another; the two together are
a trapezoid. Cells have constant light, so the share of each cell is the difference of the
trapezoid's integral at the cell's ends: nothing is sampled.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from math import floor, gcd, pi
from typing import Protocol

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from patterns.picture.arrays import Float32Array, FloatingArray, IntArray, UInt8Array
from patterns.picture.planes import codes_of_light
from patterns.scenes.ground.field import BoxPlan, product
from patterns.scenes.ground.palette import hazed, transmittance
from patterns.scenes.orbit.plan import TEXELS, Chunk, Group, RowPlan

CELLS_AT_ONCE = 200_000  # of a surface, painted together
AHEAD_CELLS = 100_000  # as many that will only be needed later are worth painting with others
NEVER = np.iinfo(np.int64).min  # no sector has this number
TEXELS_TOGETHER = 16  # at least, that one matrix of weights serves


class Texels:
    """Rows of codes one after the other, group by group.

    A row holds a whole turn, and at its end as many texels more as a picture sees of it: a sample's
    place, which grows with the turn, then never has to be wrapped. Both planes of chroma lie side
    by side, so that one look finds both.

    Attributes
    ----------
    codes
        Of luma, uint8 (texels, 1), and of chroma, uint8 (texels, 2): Cb and Cr.
    start
        Place of each group's first texel in its planes.
    length
        Texels of each row of a group.
    first
        Number, counted from bearing 0, of the texel at the start of a group's rows.
    """

    def __init__(self, plan: RowPlan) -> None:
        self._groups = plan.groups
        turn = np.array([group.texels for group in plan.groups])
        middle = np.array([group.middle for group in plan.groups]) * turn / (2 * pi)
        greatest = np.array([group.greatest for group in plan.groups]) * turn / (2 * pi)
        self.first = np.floor(middle - greatest - 0.5).astype(np.int64) - 1
        self.length = np.ceil(middle + greatest + turn - 0.5).astype(np.int64) + 3 - self.first
        sizes = self.length * np.array([len(group.across) for group in plan.groups])
        coarse = np.array([group.coarse for group in plan.groups])
        self.start = np.zeros_like(sizes)
        self.codes: list[UInt8Array] = []
        for plane in (0, 1):
            mine = sizes[coarse == plane]
            self.start[coarse == plane] = np.cumsum(mine) - mine
            # Memory that is never written to is never taken from the machine.
            self.codes.append(np.empty((int(mine.sum()), 1 + plane), np.uint8))

    def store(self, number: int, first: int, codes: list[UInt8Array]) -> None:
        """Write codes (rows, texels) of each plane of a group, of texels from `first` on."""
        group, begin, length = self._groups[number], int(self.start[number]), self.length[number]
        place, count, turn = first - int(self.first[number]), codes[0].shape[1], group.texels
        rows = self.codes[group.coarse][begin : begin + len(codes[0]) * length]
        rows = rows.reshape(len(codes[0]), length, -1)
        # Where the row goes on after a whole turn, they are needed again.
        for at in range(place - turn * floor((place + count) / turn), int(length), turn):
            low, high = max(at, 0), min(at + count, int(length))
            if low < high:
                for k, code in enumerate(codes):
                    rows[:, low:high, k] = code[:, low - at : high - at]


class Surface(Protocol):
    """A surface of revolution as light."""

    # whether its light has been through the air already, and has ramps so slow that it is dithered
    far: bool

    def light(
        self, bearing: FloatingArray, across: FloatingArray, spans: tuple[float, float]
    ) -> Float32Array:
        """Light (bearings, 3, ways across) averaged over about `spans` of both."""


class Atlas:
    """Texels of all groups, painted when they come into view.

    `surfaces`: one for each chunk.
    `exposure`: radians that the world turns while a frame is exposed.

    Attributes
    ----------
    texels
        What has been painted.
    """

    def __init__(self, plan: RowPlan, surfaces: Sequence[Surface], exposure: float) -> None:
        self._plan, self._surfaces, self._exposure = plan, surfaces, exposure
        self.texels = Texels(plan)
        self._sectors = np.array([chunk.sectors for chunk in plan.chunks])
        self._intervals = np.array([self._interval(chunk) for chunk in plan.chunks])
        self._ready = np.full((2, 2, len(plan.chunks)), NEVER, np.int64)
        self._painted: list[set[int]] = [set() for _ in plan.chunks]
        self._boxes: dict[int, tuple[slice, BoxPlan]] = {}

    def _interval(self, chunk: Chunk) -> tuple[float, float, float]:
        """Middle, least and greatest azimuth beside it that a chunk's groups are read at."""
        groups = [self._plan.groups[k] for k in chunk.groups]
        texel = max(2 * pi / group.texels for group in groups)
        return (
            groups[0].middle,
            min(group.least for group in groups) - 2 * texel,
            max(group.greatest for group in groups) + 2 * texel,
        )

    def _needs(self, turned: float) -> IntArray:
        """First and last sector (2,) of each side (2,) and chunk when turned by radians."""
        middle, least, greatest = self._intervals.T
        ends = np.array([[middle - greatest, middle - least], [middle + least, middle + greatest]])
        places = (ends + turned) * (self._sectors / (2 * pi))
        return np.floor(places).astype(np.int64)

    def paint(self, turned: float, until: float) -> None:
        """Paint what a picture turned by radians reads, and what is not there yet.

        Where something is missing, that which pictures up to `until` read is painted with
        it, as far as it pays.
        """
        needs, later = self._needs(turned), self._needs(until)
        for number in np.flatnonzero((needs != self._ready).any(axis=(0, 1))).tolist():
            missing = set()
            for side in (0, 1):
                missing |= self._missing(number, needs[side, :, number], later[side, :, number])
            for run in self._runs(number, sorted(missing)):
                self._paint_run(number, run)
                self._painted[number].update(run)
        self._ready = needs

    def _missing(self, number: int, needs: IntArray, later: IntArray) -> set[int]:
        """Sectors of a chunk that are to be painted, counted from bearing 0."""
        chunk, painted = self._plan.chunks[number], self._painted[number]
        first, last = needs.tolist()
        if painted.issuperset(sector % chunk.sectors for sector in range(first, last + 1)):
            return set()
        more = AHEAD_CELLS * chunk.sectors // (chunk.columns * chunk.count)
        first = max(min(int(later[0]), first), first - more)
        last = min(max(int(later[1]), last), last + more, first + chunk.sectors - 1)
        return {sector % chunk.sectors for sector in range(first, last + 1)} - painted

    def _runs(self, number: int, missing: list[int]) -> Iterator[range]:
        """Sectors in runs without gaps that are not too large to paint together."""
        chunk = self._plan.chunks[number]
        most = max(1, CELLS_AT_ONCE * chunk.sectors // (chunk.columns * chunk.count))
        while missing:
            end = 1
            while end < min(len(missing), most) and missing[end] == missing[0] + end:
                end += 1
            yield range(missing[0], missing[0] + end)
            missing = missing[end:]

    def _paint_run(self, number: int, run: range) -> None:
        """Paint sectors of a chunk: each holds the same, whatever is painted with it."""
        chunk = self._plan.chunks[number]
        groups = [self._plan.groups[k] for k in chunk.groups]
        surface = self._surfaces[number]
        cell, wide = 2 * pi / chunk.columns, chunk.columns // chunk.sectors
        reaches = [turn_reach(group.azimuth_span / cell, self._exposure / cell) for group in groups]
        most = max(reaches)
        bearings = (np.arange(-most, wide * len(run) + most) + run.start * wide + 0.5) * cell
        cells = surface.light(bearings, chunk.middles, chunk.spans)
        for k, group, reach in zip(chunk.groups, groups, reaches, strict=True):
            under = cells[most - reach : most + reach + len(run) * wide]
            light = self._filtered(chunk, k, under)
            if not surface.far:
                through = transmittance(group.distance_m).astype(np.float32)
                hazed(light.swapaxes(0, 1), through)
            texels = group.texels // chunk.sectors
            noise = _noise(group, texels, run) if surface.far else None
            self.texels.store(k, run.start * texels, _codes(light, group.coarse, noise))

    def _filtered(self, chunk: Chunk, number: int, cells: Float32Array) -> Float32Array:
        """Light (texels, 3, rows) of a run of sectors of a group from cells (cells, 3, ways)."""
        group = self._plan.groups[number]
        per_texel, cell = chunk.columns / group.texels, 2 * pi / chunk.columns
        if number not in self._boxes:
            self._boxes[number] = _boxes(chunk, group)
        under, boxes = self._boxes[number]
        drawn = turn_boxes(
            cells[:, :, under].reshape(len(cells), -1),
            group.texels // chunk.sectors,
            per_texel,
            TEXELS * per_texel,
            self._exposure / cell,
        )
        drawn = drawn.reshape(len(drawn), -1, under.stop - under.start)
        return boxes.across(drawn).reshape(-1, 3, len(group.across))


def _boxes(chunk: Chunk, group: Group) -> tuple[slice, BoxPlan]:
    """A chunk's cells across that a group needs, and its rows' boxes over them."""
    # counted from the first cell's middle
    places = np.asarray((group.across - chunk.low) / chunk.pitch, np.float64) - 0.5
    boxes = BoxPlan(places, group.across_span / chunk.pitch, chunk.count + 1)
    return slice(boxes.low, boxes.low + boxes.count), boxes


def _noise(group: Group, texels: int, run: range) -> Float32Array:
    """Noise (texels, rows) from 0 to 1, fixed in the world, so that slow ramps show no steps."""
    rows = len(group.across)
    return np.concatenate(
        [
            np.random.default_rng([group.coarse, group.texels, group.rows[0], sector]).random(
                (texels, rows), dtype=np.float32
            )
            for sector in run
        ]
    )


def _codes(light: Float32Array, coarse: int, noise: Float32Array | None) -> list[UInt8Array]:
    """Codes (rows, texels) of light (texels, 3, rows): Y', or Cb and Cr; maybe with dither."""
    codes = codes_of_light(light.swapaxes(0, 1), bool(coarse))
    codes += np.float32(0.5) if noise is None else noise
    return [np.ascontiguousarray(plane.T) for plane in codes.astype(np.uint8)]


def trapezoid_integral(x: FloatingArray, first: float, second: float) -> FloatingArray:
    """Integral up to `x` of the unit trapezoid that two boxes about 0 make together.

    `first` > 0 and `second` >= 0 are the boxes' widths.
    """
    narrow, wide = min(first, second), max(first, second)
    if narrow < 1e-6 * wide:
        return np.asarray(np.clip(x / wide + 0.5, 0, 1), np.float64)
    outer, inner = (wide + narrow) / 2, (wide - narrow) / 2
    corners = ((1, outer), (-1, inner), (-1, -inner), (1, -outer))
    total = sum(sign * np.maximum(x + at, 0) ** 2 for sign, at in corners)
    return np.asarray(total / (2 * wide * narrow), np.float64)


def turn_boxes(
    cells: Float32Array, part: int, per_texel: float, pixel: float, exposure: float
) -> Float32Array:
    """Mean of `cells` along axis 0 over a pixel and an exposure about each texel.

    The cells are those under the texels and `turn_reach` more before and after. Every
    few texels begin with a cell, so that one matrix of weights serves all, and a texel
    comes out the same in whatever piece it is drawn.

    Returns float32 (pieces, texels of a piece, anything).

    `cells`: float32 (cells, anything); cell i covers i to i + 1.
    `part`: texels that cover whole cells, of which the texels are a multiple.
    `per_texel`: cells to a texel: a ratio of small numbers, since texels are whole parts of a turn.
    `pixel`, `exposure`: widths in cells; `exposure` may be 0.
    """
    reach = turn_reach(pixel, exposure)
    weights = _turn_weights(part, per_texel, pixel, exposure)
    window = weights.shape[1]
    wide = window - 2 * reach
    assert (len(cells) - 2 * reach) % wide == 0
    windows = sliding_window_view(np.ascontiguousarray(cells), window, axis=0)[::wide]
    return product(weights, windows.swapaxes(1, 2))


@lru_cache(maxsize=1024)
def _turn_weights(part: int, per_texel: float, pixel: float, exposure: float) -> Float32Array:
    """Share of each cell (columns) in each of the texels that one matrix serves (rows)."""
    reach = turn_reach(pixel, exposure)
    together = _texels_together(part, round(part * per_texel), reach)
    wide = round(together * per_texel)
    centres = (np.arange(together) + 0.5) * per_texel + reach
    edges = np.arange(wide + 2 * reach + 1) - centres[:, np.newaxis]
    return np.diff(trapezoid_integral(edges, pixel, exposure), axis=1).astype(np.float32)


def turn_reach(pixel: float, exposure: float) -> int:
    """Whole cells that the boxes of a texel may reach beyond it."""
    return int(np.ceil((pixel + exposure) / 2))


def _texels_together(texels: int, cells: int, reach: int) -> int:
    """Least part of the texels, from enough on, that covers whole cells."""
    enough = max(TEXELS_TOGETHER, 2 * reach)
    common = gcd(texels, cells)
    parts = [k for k in range(1, common + 1) if common % k == 0]
    return texels // max(k for k in parts if texels // k >= min(enough, texels))
