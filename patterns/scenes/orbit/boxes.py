"""Exact averages of cells over boxes of fractional width and place, as weights.

A pixel's footprint along the turn is one box, the shutter another; the two together are
a trapezoid. Cells have constant light, so the share of each cell is the difference of
the trapezoid's integral at the cell's ends: nothing is sampled.
"""

from __future__ import annotations

from functools import lru_cache
from math import gcd

import numpy as np

from patterns.picture.arrays import Float32Array, FloatingArray

TEXELS_TOGETHER = 16


def trapezoid_integral(x: FloatingArray, first: float, second: float) -> FloatingArray:
    """Integral up to `x` of the unit trapezoid that two boxes about 0 make together.

    `first` > 0 and `second` >= 0 are the boxes' widths.
    """
    narrow, wide = min(first, second), max(first, second)
    if narrow < 1e-6 * wide:
        return np.asarray(np.clip(x / wide + 0.5, 0, 1), np.float64)
    outer, inner = (wide + narrow) / 2, (wide - narrow) / 2
    ramp = np.clip(x + outer, 0, narrow) ** 2
    fall = np.clip(x - inner, 0, narrow) ** 2
    flat = np.clip(x + inner, 0, 2 * inner) * narrow
    # the last part of the fall counts what is left below the flat top
    falling = np.clip(x - inner, 0, narrow) * narrow - fall / 2
    return np.asarray((ramp / 2 + flat + falling) / (wide * narrow), np.float64)


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
    wide = weights.shape[1] - 2 * reach
    pieces = (len(cells) - 2 * reach) // wide
    assert len(cells) == pieces * wide + 2 * reach
    cells = np.ascontiguousarray(cells)
    line, item = cells.strides
    windows = np.lib.stride_tricks.as_strided(
        cells,
        (pieces, wide + 2 * reach, cells.shape[1]),
        (wide * line, line, item),
        writeable=False,
    )
    return np.asarray(np.matmul(weights, windows), np.float32)


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
