"""Which holds of a photo may be told as numbers.

A hold is told if it is right to 8 % (of itself, or of the mean hold where that is longer)
but for a small risk. The risk follows from the cell's own uncertainty and from its like:
frames are held in a few lengths, so that a value amid those of many other cells is
less likely to be off by chance than one that stands alone. The other cells' lengths are
estimated from the photo itself by maximum likelihood of a mixture (Laird, JASA 73, 1978;
from memory), each place as wide as its few supporters leave it; a part of all holds
counts as being of any length whatever. The cell itself has no say in what it is compared
with, and the value that is told is always the measured one: likeness never moves it.
"""

from __future__ import annotations

from math import ceil, log

import numpy as np
import numpy.typing as npt

__all__ = ["RIGHT_TO", "risks", "told"]

FloatArray = npt.NDArray[np.float64]
RIGHT_TO = 0.08
RISK = 0.01  # of a told hold being further off
ODD = 0.3  # share of holds that may be of any length
LONGEST = 3.0  # mean holds, that such a hold may last if none does longer
STEP = 0.01  # mean holds, between the lengths on trial; beyond `LONGEST` a part of each
ROUNDS = 60
REACH = 1.5  # standard uncertainties: cells so near support the same length
SHARPEST = 0.005


def _lengths(longest: float) -> FloatArray:
    """Lengths on trial in mean holds, from 0 to beyond the longest that was measured."""
    beyond = max(0, ceil(log(1.3 * longest / LONGEST) / log(1 + STEP))) if longest > 0 else 0
    return np.append(np.arange(0, LONGEST, STEP), LONGEST * (1 + STEP) ** np.arange(beyond))


def _others_lengths(likely: FloatArray) -> FloatArray:
    """Most likely lengths of the other cells, (cells, lengths), for each cell (EM)."""
    count = len(likely)
    others = 1 - np.eye(count)
    lengths = np.full(likely.shape, 1 / likely.shape[1])
    for _ in range(ROUNDS):
        seen = np.maximum(lengths @ likely.T, 1e-300)
        lengths = lengths * ((others / seen) @ likely) / (count - 1)
    return lengths


def _widened(lengths: FloatArray, grid: FloatArray, sigma: float, others: int) -> FloatArray:
    """Lengths as uncertain as their supporters leave them."""
    apart = np.abs(grid[:, None] - grid)
    support = np.maximum(others * (lengths @ (apart <= REACH * sigma)), 1)
    width = np.hypot(sigma / np.sqrt(support), SHARPEST)
    wide = np.exp(-0.5 * (apart[None] / width[:, None, :]) ** 2) / width[:, None, :]
    spread = np.einsum("igk,ik->ig", wide, lengths)
    return np.asarray(spread / spread.sum(axis=1, keepdims=True), np.float64)


def risks(relative: FloatArray, sigma: FloatArray) -> FloatArray:
    """Risk that each hold is further than `RIGHT_TO` from the truth.

    Parameters
    ----------
    relative, sigma
        Measured holds and their standard uncertainties, in mean holds, (cells,).
    """
    held = np.maximum(relative, 0)
    grid = _lengths(float(held.max()))
    off = (relative[:, None] - grid) / sigma[:, None]
    # in units of each row's best, so that a cell far from all lengths does not vanish
    likely = np.exp(-0.5 * (off**2 - (off**2).min(axis=1, keepdims=True))) / sigma[:, None]
    lengths = _others_lengths(likely)
    like = _widened(lengths, grid, float(np.median(sigma)), len(held) - 1)
    after = ((1 - ODD) * like + ODD / len(grid)) * likely
    wrong = np.abs(grid - held[:, None]) > RIGHT_TO * np.maximum(grid, 1)
    return np.asarray((after * wrong).sum(axis=1) / after.sum(axis=1), np.float64)


def told(relative: FloatArray, sigma: FloatArray) -> npt.NDArray[np.bool_]:
    """Whether each hold may be told as a number."""
    return np.asarray(risks(relative, sigma) < RISK, np.bool_)
