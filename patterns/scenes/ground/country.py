"""Synthetic country: the light of the ground at any place, averaged over a footprint."""

from __future__ import annotations

from functools import cached_property, lru_cache
from math import ceil, inf, isinf

import numpy as np

from patterns.picture.arrays import Float32Array
from patterns.scenes.ground.field import Field, GridAxis, GridSampler
from patterns.scenes.ground.layout import MAP_STEP_M, PERIOD_M, TREE_HEIGHT_M, lay_out
from patterns.scenes.ground.noise import crowns, fractal, shifted
from patterns.scenes.ground.palette import shadow_offset
from patterns.scenes.ground.shading import Materials, shade

TILE = 1024
COARSE_REPEATS, MIDDLE_REPEATS, FINE_REPEATS, CROWN_REPEATS = 7, 47, 373, 6
OVERVIEW_STEP_M = PERIOD_M / 512
FAR_M = 0.75, 9.0  # width and length of the least footprints that the overview serves
BLOCK = 16384  # places that are shaded together: they stay in cache, and may skip materials
MANY = 16  # pieces into which a long box may be cut


class Country:
    """Fields, hedges, tracks, water, scrub and rock of one seed.

    Deterministic: the same seed gives the same light everywhere, on any machine to within
    float rounding. Periodic over PERIOD_M along x and along y.
    """

    PERIOD_M = PERIOD_M

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng([seed, 0x7A17])
        layout = lay_out(rng)
        coarse = PERIOD_M / COARSE_REPEATS / TILE
        crown = PERIOD_M / CROWN_REPEATS / TILE
        canopy = crowns(rng, TILE, 5.0 / crown, 3.3 / crown)
        tx, ty = (v / crown for v in shadow_offset(TREE_HEIGHT_M))
        lx, ly = (v / crown for v in shadow_offset(0.9))
        slope = canopy - shifted(canopy, lx, ly)
        self.materials = Materials(
            layout=layout,
            maps=Field(layout.maps, MAP_STEP_M),
            coarse=Field(fractal(rng, TILE, 128, 4, 0.75), coarse),
            middle=Field(fractal(rng, TILE, 96, 3, 0.5), PERIOD_M / MIDDLE_REPEATS / TILE),
            fine=Field(fractal(rng, TILE, 64, 3, 0.5), PERIOD_M / FINE_REPEATS / TILE),
            crowns=Field(
                np.stack([canopy, np.clip(0.45 + 1.3 * slope, 0, 1), shifted(canopy, tx, ty)]),
                crown,
            ),
        )

    def grid(self, first: GridAxis, second: GridAxis, turned: bool = False) -> Float32Array:
        """Linear light of every place of a grid, float32 (3, first, second), footprints oblong.

        The first axis lies along x and the second along y, or the reverse if `turned`. All
        is drawn at once: see `view` for large grids and long footprints.
        """
        return shade(self.materials, GridSampler(first, second, turned))

    @cached_property
    def overview(self) -> Field:
        """Light (3, x, y) of the whole country on a coarse grid, for far views."""
        count = round(PERIOD_M / OVERVIEW_STEP_M)
        axis = GridAxis.even(0.0, OVERVIEW_STEP_M, count, OVERVIEW_STEP_M)
        return Field(self._in_blocks(axis, axis, False), OVERVIEW_STEP_M)

    def view(self, first: GridAxis, second: GridAxis, turned: bool = False) -> Float32Array:
        """As `grid`, for boxes of any length and width and for any number of them.

        Far views read the overview, which is exact for any box. Nearer, a box that is long
        for the materials' own edges is drawn as several shorter ones and averaged.
        """
        piece_m = longest_piece_m(first.width_m, second.width_m)
        if isinf(piece_m):
            return GridSampler(first, second, turned).read(self.overview)
        pieces = [min(MANY, ceil(axis.width_m / piece_m)) for axis in (first, second)]
        total = np.zeros((3, len(first), len(second)), np.float32)
        for some in first.pieces(pieces[0]):
            for other in second.pieces(pieces[1]):
                total += self._in_blocks(some, other, turned)
        total *= np.float32(1 / (pieces[0] * pieces[1]))
        return total

    def _in_blocks(self, first: GridAxis, second: GridAxis, turned: bool) -> Float32Array:
        light = np.empty((3, len(first), len(second)), np.float32)
        high = min(len(first), BLOCK // min(len(second), 64))
        wide = max(64, BLOCK // high)
        for i in range(0, len(first), high):
            some = first.part(i, min(i + high, len(first)))
            for j in range(0, len(second), wide):
                other = second.part(j, min(j + wide, len(second)))
                light[:, i : i + len(some), j : j + len(other)] = self.grid(some, other, turned)
        return light


def longest_piece_m(first_m: float, second_m: float) -> float:
    """Length of the longest piece of a footprint that is shaded at once; infinite if none is."""
    short_m, long_m = sorted((first_m, second_m))
    far = short_m >= OVERVIEW_STEP_M or (short_m >= FAR_M[0] and long_m >= FAR_M[1])
    return inf if far else max(5.0, 10 * short_m)


@lru_cache(maxsize=1)
def country_of(seed: int) -> Country:
    """The country of a seed, kept for the next clip of a set."""
    return Country(seed)
