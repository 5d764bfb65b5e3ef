"""Which frames passed while a photo was exposed, from the number cells.

In a long exposure each number cell is as bright as the share of time in which it was lit.
How long each frame showed, the hold cells say but for whole rounds of their row; so for a
run of frames it is known how bright every number cell must be, and the run that fits is
looked for. A photo that no run fits shows a jump: the loop's seam, a seek, two clips; or
its light is not understood.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from patterns.picture.arrays import FloatArray
from patterns.strip.code import NUMBER_BITS, NUMBER_CELLS, number_words

__all__ = ["Run", "find_run"]

LAST = (1 << NUMBER_BITS) - 1
MOST_ROUNDS = 12
STRIDE = 3  # frames, from one first frame on trial to the next
CLUSTERS = 4  # of whole rounds that fit best, around which every run is tried
LEAST_DOUBT = 0.012  # of a number cell's share, beside what its pixels say
UNLIT = 0.1  # of a mean cell
AS_GOOD = 9.0  # chi-squared beyond the best, within which a run is as good


@dataclass(frozen=True)
class Run:
    """Frames that passed one after the other.

    Attributes
    ----------
    first, frames
        The first frame's number, and how many there were.
    fewest, most
        Numbers of frames that fit nearly as well.
    misfit
        RMS of what the number cells are off, in standard uncertainties.
    off
        What each of them is off, in shares of the exposure, (28,).
    """

    first: int
    frames: int
    fewest: int
    most: int
    misfit: float
    off: FloatArray


@cache
def _bits() -> FloatArray:
    """Cells of every number, (numbers, 28)."""
    shifts = np.arange(NUMBER_CELLS - 1, -1, -1, dtype=np.uint32)
    return np.asarray((number_words(np.arange(LAST + 1))[:, None] >> shifts) & 1, np.float32)


def _whole_rounds(cells: FloatArray, level: FloatArray, sigma: FloatArray) -> list[tuple[int, int]]:
    """First frame and number of whole rounds of the row that fit best, far from each other."""
    bits, count = _bits(), len(cells)
    own = cells[np.arange(len(bits) - count) % count, None].astype(np.float32)
    once = np.cumsum(own * (bits[count:] - bits[:-count]), axis=0)
    once = np.concatenate([np.zeros_like(once[:1]), once]) + cells @ bits[:count]
    total, found = np.zeros_like(once[::STRIDE]), list[tuple[float, int, int]]()
    apart = 2 * count // STRIDE  # of two rounds of the row the best: its neighbours say nothing new
    level, sigma = level.astype(np.float32), sigma.astype(np.float32)
    for rounds in range(MOST_ROUNDS):
        more = once[rounds * count :: STRIDE]
        total = total[: len(more)] + more
        off = (((total / (rounds + 1) - level) / sigma) ** 2).sum(axis=1)
        blocks = off[: len(off) // apart * apart].reshape(-1, apart)
        best = blocks.min(axis=1)
        found += [
            (float(best[i]), STRIDE * int(i * apart + blocks[i].argmin()), rounds + 1)
            for i in np.argpartition(best, CLUSTERS)[:CLUSTERS]
        ]
    return [(first, rounds) for _, first, rounds in sorted(found)[:CLUSTERS]]


def _around(
    cells: FloatArray, level: FloatArray, sigma: FloatArray, first: int, rounds: int
) -> list[tuple[float, int, int]]:
    """(chi-squared, first frame, frames) of every run near some whole rounds."""
    bits, count = _bits(), len(cells)
    firsts = np.arange(max(0, first - count), min(first + count, LAST - 1))
    rows, lit = np.arange(len(firsts)), cells > UNLIT / count
    shown = np.zeros((len(firsts), count, bits.shape[1]), np.float32)
    times = np.zeros((len(firsts), count), int)
    expected = np.zeros((len(firsts), bits.shape[1]))
    off = np.full(((rounds + 1) * count, len(firsts)), np.inf)
    for done in range(len(off)):
        numbers = np.minimum(firsts + done, LAST)
        own = numbers % count
        before = shown[rows, own] / np.maximum(times[rows, own], 1)[:, None]
        shown[rows, own] += bits[numbers]
        times[rows, own] += 1
        after = shown[rows, own] / times[rows, own][:, None]
        expected += cells[own][:, None] * (after - before)
        missing = 1 - (cells * (times > 0)).sum(axis=1)
        # a frame that was not lit did not pass: no run begins or ends with it
        ends = lit[own] & lit[firsts % count]
        cost = (((expected - level) / sigma) ** 2).sum(axis=1) + (missing / LEAST_DOUBT) ** 2
        off[done, ends] = cost[ends]
    near = np.argwhere(off < off.min() + AS_GOOD)
    return [(float(off[i, j]), int(firsts[j]), int(i) + 1) for i, j in near]


def _off(cells: FloatArray, level: FloatArray, first: int, frames: int) -> FloatArray:
    numbers = np.arange(first, min(first + frames, LAST + 1))
    own = numbers % len(cells)
    times = np.bincount(own, minlength=len(cells))
    return np.asarray(level - (cells / np.maximum(times, 1))[own] @ _bits()[numbers], np.float64)


def find_run(cells: FloatArray, level: FloatArray, sigma: FloatArray) -> Run | None:
    """Run of frames that fits the number cells best; None if they were not measured.

    Parameters
    ----------
    cells
        Shares of the exposure for which the hold cells were lit, (cells,).
    level, sigma
        The same of the number cells and their standard uncertainties, (28,).
    """
    lit = np.maximum(cells, 0)
    if not len(level) or lit.sum() <= 0:
        return None
    lit, doubt = lit / lit.sum(), np.hypot(sigma, LEAST_DOUBT)
    found = [
        run
        for first, rounds in _whole_rounds(lit, level, doubt)
        for run in _around(lit, level, doubt, first, rounds)
    ]
    best = min(found)[0]
    good = [(frames, off, first) for off, first, frames in found if off < best + AS_GOOD]
    # a frame that was hardly lit changes nothing: of those that fit as well, the fewest
    frames, _, first = min(run for run in good if run[1] < best + 1)
    lengths = [run[0] for run in good]
    rms = float(np.sqrt(best / len(level)))
    return Run(first, frames, min(lengths), max(lengths), rms, _off(lit, level, first, frames))
