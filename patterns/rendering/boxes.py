"""Exact averages of cells over boxes of fractional width and place, as weights.

A pixel's footprint along the turn is one box, the shutter another; the two together are
a trapezoid. Cells have constant light, so the share of each cell is the difference of
the trapezoid's integral at the cell's ends: nothing is sampled.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["across_boxes", "box_weights", "trapezoid_integral", "turn_boxes"]

Floats = npt.NDArray[np.floating]
Light = npt.NDArray[np.float32]

# Products of at most this many multiplications are done by the calling thread alone: the
# library's own threads wait in a loop, which on a busy machine costs more than they bring.
LARGEST_PRODUCT = 250_000
CENTRES_TOGETHER = 48
ROWS_TOGETHER = 24


def trapezoid_integral(x: Floats, first: float, second: float) -> Floats:
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


def turn_boxes(cells: Light, centres: Floats, pixel: float, exposure: float) -> Light:
    """Mean of `cells` along axis 0 over a pixel and an exposure about each of `centres`.

    Parameters
    ----------
    cells
        float32 (cells, anything); cell i covers i to i + 1.
    centres
        Ascending, in cells; boxes must stay inside the cells.
    pixel, exposure
        Widths in cells; `exposure` may be 0.

    Returns
    -------
    float32 (centres, anything)
    """
    out = np.empty((len(centres), cells.shape[1]), np.float32)
    reach = (pixel + exposure) / 2
    for begin in range(0, len(centres), CENTRES_TOGETHER):
        some = centres[begin : begin + CENTRES_TOGETHER]
        low = max(int(np.floor(some[0] - reach)), 0)
        high = min(int(np.ceil(some[-1] + reach)) + 1, len(cells))
        edges = np.arange(low, high + 1) - some[:, np.newaxis]
        weights = np.diff(trapezoid_integral(edges, pixel, exposure), axis=1).astype(np.float32)
        _multiply(weights, cells[low:high], out[begin : begin + len(some)])
    return out


def _multiply(left: Light, right: Light, out: Light) -> None:
    """Matrix product in pieces small enough for one thread."""
    rows, inner = left.shape
    wide = max(1, LARGEST_PRODUCT // max(1, rows * inner))
    for begin in range(0, right.shape[1], wide):
        part = slice(begin, begin + wide)
        np.matmul(left, right[:, part], out=out[:, part])


def across_boxes(cells: Light, centres: Floats, widths: Floats, low: float, pitch: float) -> Light:
    """Mean of `cells` (anything, cells) over the box of each row: float32 (anything, rows).

    `centres` ascend; the other arguments are those of `box_weights`.
    """
    count = cells.shape[1]
    out = np.empty((len(cells), len(centres)), np.float32)
    for begin in range(0, len(centres), ROWS_TOGETHER):
        part = slice(begin, begin + ROWS_TOGETHER)
        half = widths[part] / 2
        first = max(int(np.floor(((centres[part] - half).min() - low) / pitch)), 0)
        last = min(int(np.ceil(((centres[part] + half).max() - low) / pitch)) + 1, count)
        weights = box_weights(centres[part], widths[part], low + first * pitch, pitch, last - first)
        tall = max(1, LARGEST_PRODUCT // weights.size)
        for top in range(0, len(cells), tall):
            np.matmul(cells[top : top + tall, first:last], weights, out=out[top : top + tall, part])
    return out


def box_weights(centres: Floats, widths: Floats, low: float, pitch: float, count: int) -> Light:
    """Share of each cell (rows) in the box of each row (columns): float32 (count, rows).

    Cell i covers low + i pitch to low + (i + 1) pitch; each column adds up to 1.
    """
    edges = (low + np.arange(count + 1) * pitch)[:, np.newaxis]
    covered = np.clip(edges, centres - widths / 2, centres + widths / 2)
    shares = np.diff(covered, axis=0)
    return np.asarray(shares / shares.sum(axis=0), np.float32)
