"""The orbit's atlas: every row the picture needs, filtered in linear light and quantised once."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from patterns.rendering.boxes import across_boxes, turn_boxes
from patterns.rendering.light import light_to_signal
from patterns.rendering.orbit_plan import RowPlan

__all__ = ["Atlas", "Surface", "build_atlas"]

Floats = npt.NDArray[np.floating]
Light = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]

CELLS_AT_ONCE = 700_000  # cells of a surface in memory at once, per thread
FINENESS = 0.9  # cells of the surface, as a part of the footprint that they are averaged to


class Surface(Protocol):
    """A surface of revolution as light."""

    dithered: bool

    def light(self, bearing: Floats, across: Floats, spans: tuple[float, float]) -> Light:
        """Light (bearings, ways across, 3) averaged over about `spans` of both."""

    def through_air(self, light: Light, distance_m: Floats) -> Light:
        """Light (..., rows) seen through air of each row's distance; colour on axis -2."""


@dataclass(frozen=True)
class Atlas:
    """Rows of texels one after the other.

    Attributes
    ----------
    luma
        uint16 (texels,): the code of a texel (low byte) and of the next, so that one read
        gives both that are interpolated between.
    chroma
        uint32 (texels,): such a pair of Cb (lower half) and one of Cr.
    start
        Place of each row's first texel in its plane.
    first_texel
        Number, counted from bearing 0, of the texel that lies there.
    """

    luma: npt.NDArray[np.uint16]
    chroma: npt.NDArray[np.uint32]
    start: Ints
    first_texel: Ints


def build_atlas(
    plan: RowPlan,
    surfaces: dict[int, Surface],
    turn: tuple[float, float],
    exposure: float,
    *,
    threads: int = 2,
) -> Atlas:
    """Paint all rows.

    Parameters
    ----------
    turn
        Least and greatest angle, radians, by which the world will have turned.
    exposure
        Radians that it turns while a frame is exposed.
    """
    per_radian = plan.texels / (2 * np.pi)
    first = np.floor((plan.first + turn[0]) * per_radian - 0.5).astype(np.int64) - 1
    length = np.ceil((plan.last + turn[1]) * per_radian - 0.5).astype(np.int64) + 3 - first
    start = np.zeros(len(length), np.int64)
    sizes = []
    for coarse in (0, 1):
        mine = plan.coarse == coarse
        ends = np.cumsum(length[mine])
        start[mine] = ends - length[mine]
        sizes.append(int(ends[-1]))
    luma, chroma = np.empty(sizes[0], np.uint16), np.empty(sizes[1], np.uint32)
    atlas = Atlas(luma, chroma, start, first)

    def paint(rows: Ints) -> None:
        _paint(rows, plan, surfaces[int(plan.surface[rows[0]])], exposure, length, atlas)

    with ThreadPoolExecutor(threads) as pool:
        for done in pool.map(paint, _chunks(plan)):
            assert done is None
    return atlas


def _chunks(plan: RowPlan) -> Iterator[Ints]:
    """Row numbers of one surface that lie close together, largest work first."""
    order = np.lexsort((plan.across, plan.surface))
    surface, across = plan.surface[order], plan.across[order]
    fine = plan.across_span[order] * FINENESS
    columns = plan.texels[order]
    begin = 0
    while begin < len(order):
        # doubles the chunk until it holds as many cells as fit
        end = begin + 1
        limit = int(np.searchsorted(surface, surface[begin], side="right"))
        stride = 64
        while stride:
            to = min(end + stride, limit)
            span = across[to - 1] - across[begin] + 2 * fine[begin:to].max()
            cells = span / fine[begin:to].min() * columns[begin:to].max()
            if to > end and cells < CELLS_AT_ONCE:
                end = to
            else:
                stride //= 4
        yield order[begin:end]
        begin = end


def _paint(
    rows: Ints, plan: RowPlan, surface: Surface, exposure: float, length: Ints, atlas: Atlas
) -> None:
    across, span = plan.across[rows], plan.across_span[rows]
    pitch = float(span.min()) * FINENESS
    low = float((across - span / 2).min())
    count = int(np.ceil(((across + span / 2).max() - low) / pitch))
    middles = low + (np.arange(count) + 0.5) * pitch
    columns = int(plan.texels[rows].max())
    cell = 2 * np.pi / columns
    # What all the rows read, with the reach of both boxes.
    radians = 2 * np.pi / plan.texels[rows]
    reach = exposure / 2 + float(plan.azimuth_span[rows].max()) + 2 * cell
    first = int(np.floor(((atlas.first_texel[rows]) * radians).min() / cell - reach / cell))
    last = int(
        np.ceil(((atlas.first_texel[rows] + length[rows]) * radians).max() / cell + reach / cell)
    )
    bearings = np.arange(first, min(last, first + columns)) + 0.5
    painted = surface.light(np.mod(bearings * cell, 2 * np.pi), middles, (cell, pitch))
    strips = np.ascontiguousarray(np.moveaxis(painted, 2, 1)).reshape(len(bearings), 3 * count)
    if last - first > columns:
        strips = strips[np.arange(last - first) % columns]
    for coarse, level in sorted(
        {(int(a), int(b)) for a, b in zip(plan.coarse[rows], plan.level[rows], strict=True)}
    ):
        some = rows[(plan.coarse[rows] == coarse) & (plan.level[rows] == level)]
        k0 = int(atlas.first_texel[some].min())
        k1 = int((atlas.first_texel[some] + length[some]).max())
        scale = 2 * np.pi / int(plan.texels[some[0]]) / cell
        centres: Floats = np.asarray((np.arange(k0, k1) + 0.5) * scale - first, np.float64)
        pixel = float(plan.azimuth_span[some[0]]) / cell
        drawn = turn_boxes(strips, centres, pixel, exposure / cell)
        light = across_boxes(
            drawn.reshape(-1, count), plan.across[some], plan.across_span[some], low, pitch
        ).reshape(len(centres), 3, len(some))
        light = surface.through_air(light, plan.distance_m[some])
        _write(light, some, k0, coarse, surface.dithered, length, atlas)


def _write(
    light: Light, rows: Ints, k0: int, coarse: int, dithered: bool, length: Ints, atlas: Atlas
) -> None:
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
    rounding: np.float32 | Light = np.float32(0.5)
    if dithered:
        # Noise that is fixed in the world, so that the sky's slow ramps do not show steps.
        rng = np.random.default_rng([int(rows[0]), len(rows), coarse])
        rounding = rng.random(y.shape, dtype=np.float32)
    pairs = [_pairs((plane + rounding).astype(np.uint8).T) for plane in planes]
    lines = pairs[0] if len(pairs) == 1 else pairs[0] | pairs[1].astype(np.uint32) << 16
    target = atlas.chroma if coarse else atlas.luma
    for row, line in zip(rows.tolist(), lines, strict=True):
        skip = int(atlas.first_texel[row]) - k0
        n = int(length[row])
        target[atlas.start[row] : atlas.start[row] + n] = line[skip : skip + n]


def _pairs(codes: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint16]:
    """Each code (rows, texels) with the next one of its row in the high byte."""
    pairs = np.array(codes, np.uint16, order="C")
    pairs[:, :-1] |= pairs[:, 1:] << 8
    return pairs
