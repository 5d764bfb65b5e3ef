"""The orbit's atlas: texels filtered in linear light and quantised once.

They are painted sector by sector as they come into view, some more at a time than one frame
reads.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from math import ceil, floor, pi
from typing import Protocol

import numpy as np

from patterns.picture.arrays import Float32Array, FloatingArray, IntArray, UInt8Array
from patterns.picture.light import light_to_signal
from patterns.scenes.orbit.boxes import AcrossBoxes, turn_boxes, turn_reach
from patterns.scenes.orbit.plan import TEXELS, Chunk, Group, RowPlan
from patterns.scenes.orbit.window import STEPS_TO_A_TURN, Window

__all__ = ["Atlas", "Surface"]


CELLS_AT_ONCE = 200_000  # of a surface, painted together
AHEAD_CELLS = 100_000  # as many that will only be needed later are worth painting with others
# Steps of the window after which surfaces forget: more often, what is still in view would be
# made again and again; more rarely, a whole turn would be kept.
FORGET_STEPS = STEPS_TO_A_TURN // 2
NEVER = np.iinfo(np.int64).min  # no sector has this number


class Surface(Protocol):
    """A surface of revolution as light."""

    dithered: bool

    def light(
        self, bearing: FloatingArray, across: FloatingArray, spans: tuple[float, float]
    ) -> Float32Array:
        """Light (bearings, 3, ways across) averaged over about `spans` of both."""

    def through_air(self, light: Float32Array, distance_m: FloatingArray) -> Float32Array:
        """Light (..., 3, rows) seen through air of each row's distance; may change `light`."""

    def forget(self) -> None:
        """Let go of what was kept for bearings beside those asked for."""


class Atlas:
    """Texels of all groups, filled as frames need them.

    Parameters
    ----------
    window
        Where they are kept.
    exposure
        Radians that the world turns while a frame is exposed.
    """

    def __init__(
        self, plan: RowPlan, surfaces: dict[int, Surface], window: Window, exposure: float
    ) -> None:
        self._plan, self._surfaces, self._exposure = plan, surfaces, exposure
        self._window = window
        self._sectors = np.array([chunk.sectors for chunk in plan.chunks])
        self._intervals = np.array([self._interval(chunk) for chunk in plan.chunks])
        self._ready = np.full((2, 2, len(plan.chunks)), NEVER, np.int64)
        self._moved = 0
        self._painted: list[set[int]] = [set() for _ in plan.chunks]
        self._boxes: dict[int, tuple[slice, AcrossBoxes]] = {}

    def move(self, turned: Fraction) -> None:
        """Move the window to `turned` degrees; what it still holds is not painted again."""
        by = self._window.move(turned)
        for chunk, painted in zip(self._plan.chunks, self._painted, strict=True):
            painted -= {sector for sector in painted if not self._holds(chunk, sector, by)}
        self._ready[:] = NEVER
        self._moved += abs(by)
        if self._moved >= FORGET_STEPS:
            self._moved = 0
            for surface in set(self._surfaces.values()):  # near and far ground are one
                surface.forget()

    def clear(self) -> None:
        """Have everything painted anew."""
        for painted in self._painted:
            painted.clear()
        self._ready[:] = NEVER

    def _holds(self, chunk: Chunk, sector: int, by: int) -> bool:
        for k in chunk.groups:
            texels = self._plan.groups[k].texels // chunk.sectors
            if not self._window.kept(k, sector * texels, texels, by):
                return False
        return True

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
        first, last = self._window.ends
        needs = self._needs(turned)
        later = self._needs(min(max(until, first), last))
        for number in np.flatnonzero((needs != self._ready).any(axis=(0, 1))).tolist():
            for side in (0, 1):
                missing = self._missing(number, side, needs, later)
                for run in self._runs(number, missing):
                    self._paint_run(number, run)
                    self._painted[number].update(run)
        self._ready = needs

    def _missing(self, number: int, side: int, needs: IntArray, later: IntArray) -> list[int]:
        """Sectors of a chunk that are to be painted, in order."""
        painted = self._painted[number]
        first, last = needs[side, :, number].tolist()
        if painted.issuperset(range(first, last + 1)):
            return []
        first, last = self._further(number, first, last, later[side, :, number])
        return [sector for sector in range(first, last + 1) if sector not in painted]

    def _further(self, number: int, first: int, last: int, later: IntArray) -> tuple[int, int]:
        """Range of sectors with those that follow, where its own end is not there yet."""
        chunk, painted = self._plan.chunks[number], self._painted[number]
        more = max(0, AHEAD_CELLS * chunk.sectors // (chunk.columns * chunk.count))
        if later[1] > last and last not in painted:
            last = min(int(later[1]), last + more)
        if later[0] < first and first not in painted:
            first = max(int(later[0]), first - more)
        return first, last

    def _runs(self, number: int, missing: list[int]) -> Iterator[range]:
        """Sectors in runs without gaps that are not too large to paint together.

        None runs over the end of the turn: a bearing of a whole turn and a little more is
        rounded otherwise than the little.
        """
        chunk = self._plan.chunks[number]
        most = max(1, CELLS_AT_ONCE * chunk.sectors // (chunk.columns * chunk.count))
        while missing:
            end = 1
            while (
                end < min(len(missing), most)
                and missing[end] == missing[0] + end
                and missing[end] % chunk.sectors
            ):
                end += 1
            yield range(missing[0], missing[0] + end)
            missing = missing[end:]

    def _paint_run(self, number: int, run: range) -> None:
        """Paint sectors of a chunk: each holds the same, whatever is painted with it."""
        chunk = self._plan.chunks[number]
        groups = [self._plan.groups[k] for k in chunk.groups]
        surface = self._surfaces[groups[0].surface]
        cell, wide = 2 * pi / chunk.columns, chunk.columns // chunk.sectors
        reaches = [turn_reach(group.azimuth_span / cell, self._exposure / cell) for group in groups]
        most, begin = max(reaches), run.start % chunk.sectors
        bearings = (np.arange(-most, wide * len(run) + most) + begin * wide + 0.5) * cell
        cells = surface.light(bearings, chunk.middles, chunk.spans)
        for k, group, reach in zip(chunk.groups, groups, reaches, strict=True):
            under = cells[most - reach : most + reach + len(run) * wide]
            light = surface.through_air(self._filtered(chunk, k, under), group.distance_m)
            texels = group.texels // chunk.sectors
            noise = _noise(group, texels, run, chunk.sectors) if surface.dithered else None
            self._window.store(k, run.start * texels, _codes(light, group.coarse, noise))

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
        return boxes.mean(drawn).reshape(-1, 3, boxes.rows)


def _boxes(chunk: Chunk, group: Group) -> tuple[slice, AcrossBoxes]:
    """A chunk's cells across that a group needs, and its rows' boxes over them."""
    half = group.across_span / 2
    first = max(floor((group.across[0] - half - chunk.low) / chunk.pitch), 0)
    last = min(ceil((group.across[-1] + half - chunk.low) / chunk.pitch) + 1, chunk.count)
    widths, low = np.full(len(group.across), group.across_span), chunk.low + first * chunk.pitch
    return slice(first, last), AcrossBoxes.of(group.across, widths, low, chunk.pitch, last - first)


def _noise(group: Group, texels: int, run: range, sectors: int) -> Float32Array:
    """Noise (texels, rows) from 0 to 1, fixed in the world, so that slow ramps show no steps."""
    rows = len(group.across)
    return np.concatenate(
        [
            np.random.default_rng(
                [group.coarse, group.texels, group.rows[0], sector % sectors]
            ).random((texels, rows), dtype=np.float32)
            for sector in run
        ]
    )


def _codes(light: Float32Array, coarse: int, noise: Float32Array | None) -> list[UInt8Array]:
    """Codes (rows, texels) of light (texels, 3, rows): Y', or Cb and Cr; maybe with dither."""
    v = light_to_signal(light)
    r, g, b = v[:, 0], v[:, 1], v[:, 2]
    y = np.float32(0.2126) * r + np.float32(0.7152) * g + np.float32(0.0722) * b
    if coarse:
        planes = [
            np.float32(128) + np.float32(224 / 1.8556) * (b - y),
            np.float32(128) + np.float32(224 / 1.5748) * (r - y),
        ]
    else:
        planes = [np.float32(16) + np.float32(219) * y]
    rounding = np.float32(0.5) if noise is None else noise
    return [np.ascontiguousarray((plane + rounding).astype(np.uint8).T) for plane in planes]
