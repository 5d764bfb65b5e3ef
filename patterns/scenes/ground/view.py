"""Light of the country over oblong footprints, by the cheapest way that is good enough."""

from __future__ import annotations

from math import ceil, prod

import numpy as np

from patterns.picture.arrays import Float32Array
from patterns.scenes.ground.country import OVERVIEW_STEP_M, Country
from patterns.scenes.ground.field import GridAxis
from patterns.scenes.ground.sampling import GridSampler

__all__ = ["view"]

BLOCK = 16384  # places that are shaded together: they stay in cache, and may skip materials
MANY = 16  # pieces into which a long box may be cut


def _shadings(first_m: float, second_m: float) -> tuple[int, int]:
    """In how many pieces along each axis boxes of such widths are shaded; 0 if not at all."""
    short_m, long_m = sorted((first_m, second_m))
    if short_m >= OVERVIEW_STEP_M or (long_m >= 12 and short_m >= OVERVIEW_STEP_M / 4):
        return 0, 0
    piece_m = max(5.0, 10 * short_m)
    return min(MANY, ceil(first_m / piece_m)), min(MANY, ceil(second_m / piece_m))


def view(country: Country, first: GridAxis, second: GridAxis, turned: bool = False) -> Float32Array:
    """Linear light (3, first, second) of a grid of boxes `width_m` of each axis long and wide.

    Far views read the overview, which is exact for any box. Nearer, a box that is long
    for the materials' own edges is drawn as several shorter ones and averaged.
    """
    pieces = _shadings(first.width_m, second.width_m)
    if not all(pieces):
        sampler = GridSampler(first, second, turned)
        return np.stack([sampler.read(channel) for channel in country.overview])
    total = None
    for some in first.pieces(pieces[0]):
        for other in second.pieces(pieces[1]):
            light = _in_blocks(country, some, other, turned)
            total = light if total is None else np.add(total, light, total)
    assert total is not None
    if prod(pieces) > 1:
        total *= np.float32(1 / prod(pieces))
    return total


def _in_blocks(country: Country, first: GridAxis, second: GridAxis, turned: bool) -> Float32Array:
    light = np.empty((3, len(first), len(second)), np.float32)
    high = min(len(first), BLOCK // min(len(second), 64))
    wide = max(64, BLOCK // high)
    for i in range(0, len(first), high):
        some = first.part(i, min(i + high, len(first)))
        for j in range(0, len(second), wide):
            other = second.part(j, min(j + wide, len(second)))
            light[:, i : i + len(some), j : j + len(other)] = country.grid(some, other, turned)
    return light
