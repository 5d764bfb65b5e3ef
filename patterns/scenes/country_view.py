"""Light of the country over oblong footprints, by the cheapest way that is good enough."""

from __future__ import annotations

from math import ceil

import numpy as np

from patterns.scenes.country import OVERVIEW_STEP_M, Country
from patterns.scenes.country_sampling import GridAxis, GridSampler
from patterns.scenes.noise import FloatMap

__all__ = ["view"]

BLOCK = 8192  # places that are shaded together: they stay in cache, and may skip materials
MANY = 16  # pieces into which a long box may be cut


def view(country: Country, along: GridAxis, across: GridAxis) -> FloatMap:
    """Linear light (3, x, y) of a grid of boxes `width_m` of each axis long and wide.

    Far views read the overview, which is exact for any box. Nearer, a box that is long
    for the materials' own edges is drawn as several shorter ones and averaged.
    """
    short_m, long_m = sorted((along.width_m, across.width_m))
    if short_m >= OVERVIEW_STEP_M or (long_m >= 12 and short_m >= OVERVIEW_STEP_M / 4):
        sampler = GridSampler(along, across)
        return np.stack([sampler.read(channel) for channel in country.overview])
    piece_m = max(2.0, 2 * short_m)
    total = None
    count = 0
    for some in along.pieces(min(MANY, ceil(along.width_m / piece_m))):
        for other in across.pieces(min(MANY, ceil(across.width_m / piece_m))):
            light = _in_blocks(country, some, other)
            total = light if total is None else np.add(total, light, total)
            count += 1
    assert total is not None
    if count > 1:
        total *= np.float32(1 / count)
    return total


def _in_blocks(country: Country, along: GridAxis, across: GridAxis) -> FloatMap:
    light = np.empty((3, len(along), len(across)), np.float32)
    high = min(len(along), BLOCK // min(len(across), 64))
    wide = max(64, BLOCK // high)
    for x in range(0, len(along), high):
        some = along.part(x, min(x + high, len(along)))
        for y in range(0, len(across), wide):
            other = across.part(y, min(y + wide, len(across)))
            light[:, x : x + len(some), y : y + len(other)] = country.grid(some, other)
    return light
