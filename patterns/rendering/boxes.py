"""Exact box averages of cells, at fractional widths and places, by prefix sums."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["box_weights", "turn_box"]

Floats = npt.NDArray[np.float64]
Light = npt.NDArray[np.float32]


def _read(prefix: Floats, places: Floats) -> Floats:
    """Prefix sum of constant cells at fractional places (in cells), linear in between."""
    places = np.clip(places, 0, len(prefix) - 1)
    whole = np.minimum(places.astype(np.int64), len(prefix) - 2)
    part = (places - whole)[:, np.newaxis]
    below = prefix[whole]
    return np.asarray(below + part * (prefix[whole + 1] - below), np.float64)


def turn_box(cells: Light, width: float, centres: Floats) -> Light:
    """Mean of `cells` along axis 0 over boxes of `width` cells about `centres`.

    Parameters
    ----------
    cells
        (cells, anything); cell i covers i to i + 1.
    width
        More than 0, in cells; a fraction is exact.
    centres
        Middles of the boxes, in cells. Boxes are cut at the first and last cell.

    Returns
    -------
    float32 (centres, anything)
    """
    # Sums of differences from the first cell, in 64 bits: a mean of one cell among ten
    # thousand must come out to less than a hundredth of a code.
    prefix = np.zeros((len(cells) + 1, cells.shape[1]))
    np.cumsum(cells, axis=0, dtype=np.float64, out=prefix[1:])
    upper = _read(prefix, centres + width / 2)
    upper -= _read(prefix, centres - width / 2)
    upper *= 1 / width
    return upper.astype(np.float32)


def box_weights(centres: Floats, widths: Floats, low: float, pitch: float, count: int) -> Light:
    """Share of each cell (rows) in the box of each row (columns): float32 (count, rows).

    Cell i covers low + i pitch to low + (i + 1) pitch; each column adds up to 1.
    """
    edges = (low + np.arange(count + 1) * pitch)[:, np.newaxis]
    covered = np.clip(edges, centres - widths / 2, centres + widths / 2)
    shares = np.diff(covered, axis=0)
    return np.asarray(shares / shares.sum(axis=0), np.float32)
