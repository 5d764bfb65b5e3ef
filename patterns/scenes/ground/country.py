"""Synthetic country: the light of the ground at any place, averaged over a footprint."""

from __future__ import annotations

from functools import cached_property, lru_cache

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import Float32Array, FloatArray
from patterns.scenes.ground.field import Field, GridAxis
from patterns.scenes.ground.layout import MAP_STEP_M, PERIOD_M, TREE_HEIGHT_M, lay_out
from patterns.scenes.ground.noise import crowns, fractal, shifted
from patterns.scenes.ground.palette import shadow_offset
from patterns.scenes.ground.sampling import GridSampler, PointSampler
from patterns.scenes.ground.shading import Materials, shade

__all__ = ["Country", "country_of"]

TILE = 1024
COARSE_REPEATS, MIDDLE_REPEATS, FINE_REPEATS, CROWN_REPEATS = 13, 97, 751, 11
OVERVIEW_STEP_M = 4.0


class Country:
    """Fields, hedges, tracks, water, scrub and rock of one seed.

    Deterministic: the same seed gives the same light everywhere, on any machine to within
    float rounding. Periodic over PERIOD_M along x and along y.
    """

    PERIOD_M = PERIOD_M

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng([seed, 0x7A12])
        layout = lay_out(rng)
        coarse = PERIOD_M / COARSE_REPEATS / TILE
        crown = PERIOD_M / CROWN_REPEATS / TILE
        canopy = crowns(rng, TILE, 5.0 / crown, 3.3 / crown)
        tx, ty = (v / crown for v in shadow_offset(TREE_HEIGHT_M))
        lx, ly = (v / crown for v in shadow_offset(0.9))
        slope = canopy - shifted(canopy, lx, ly)
        self.materials = Materials(
            layout=layout,
            maps={
                name: Field(getattr(layout, name), MAP_STEP_M)
                for name in (
                    "border",
                    "border_sunward",
                    "hedge",
                    "water",
                    "track",
                    "wild",
                    "trees",
                    "trees_sunward",
                    "relief",
                    "bend_x",
                    "bend_y",
                )
            },
            coarse=Field(fractal(rng, TILE, 128, 4, 0.75), coarse),
            middle=Field(fractal(rng, TILE, 96, 3, 0.5), PERIOD_M / MIDDLE_REPEATS / TILE),
            fine=Field(fractal(rng, TILE, 64, 3, 0.5), PERIOD_M / FINE_REPEATS / TILE),
            crowns=Field(canopy, crown),
            crown_light=Field(np.clip(0.45 + 1.3 * slope, 0, 1), crown),
            crown_shade=Field(shifted(canopy, tx, ty), crown),
        )

    def light(self, x_m: npt.ArrayLike, y_m: npt.ArrayLike, texel_m: npt.ArrayLike) -> Float32Array:
        """Linear-light RGB of the ground.

        Parameters
        ----------
        x_m, y_m
            Places in metres, any broadcastable shapes.
        texel_m
            Side of the square over which the light is (roughly) averaged, metres, above 0;
            a number, or an array (then taken to the nearest half octave).

        Returns
        -------
        float32 (..., 3), linear light of the BT.709 primaries, 0 to 1.
        """
        x, y, texel = np.broadcast_arrays(
            np.asarray(x_m, float), np.asarray(y_m, float), np.asarray(texel_m, float)
        )
        if np.ndim(texel_m) == 0:
            return self._light(x, y, float(np.asarray(texel_m)))
        out = np.empty((*x.shape, 3), np.float32)
        octave = np.rint(2 * np.log2(texel)).astype(int)
        for step in np.unique(octave):
            here = octave == step
            out[here] = self._light(x[here], y[here], float(2 ** (step / 2)))
        return out

    def grid(self, first: GridAxis, second: GridAxis, turned: bool = False) -> Float32Array:
        """Linear light of every place of a grid, float32 (3, first, second), footprints oblong.

        The first axis lies along x and the second along y, or the reverse if `turned`.
        """
        return shade(self.materials, GridSampler(first, second, turned))

    @cached_property
    def overview(self) -> tuple[Field, Field, Field]:
        """Red, green and blue light of the whole country on a coarse grid, for far views."""
        count = round(PERIOD_M / OVERVIEW_STEP_M)
        across = GridAxis.even(0.0, OVERVIEW_STEP_M, count, OVERVIEW_STEP_M)
        light = np.empty((3, count, count), np.float32)
        for first in range(0, count, 16):  # what fits the cache
            along = GridAxis.even(first * OVERVIEW_STEP_M, OVERVIEW_STEP_M, 16, OVERVIEW_STEP_M)
            light[:, first : first + 16] = self.grid(along, across)
        red, green, blue = (Field(channel, OVERVIEW_STEP_M) for channel in light)
        return red, green, blue

    def _light(self, x: FloatArray, y: FloatArray, texel_m: float) -> Float32Array:
        sampler = PointSampler(x, y, texel_m)
        if texel_m >= OVERVIEW_STEP_M:
            return np.stack([sampler.read(channel) for channel in self.overview], -1)
        return np.moveaxis(shade(self.materials, sampler), 0, -1)


@lru_cache(maxsize=1)
def country_of(seed: int) -> Country:
    """The country of a seed, kept for the next clip of a set."""
    return Country(seed)
