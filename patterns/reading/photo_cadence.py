"""Light of the hold cells beside what the cadence arithmetic predicts of a run of frames.

But for the phase between clip and display the light of every cell is predicted; the exposure's
ends cut the first and the last frame, whose cells are left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import numpy as np

from patterns.picture.arrays import BoolArray, FloatArray, IntArray
from patterns.strip.photo import Run
from patterns.timing.cadence import frame_starts

PHASES = 48
LIKELY = 3.5  # standard uncertainties, within which light is as predicted
ALWAYS = 0.12  # of a refresh, which is let pass whatever the uncertainty
FARTHEST = 0.4  # of a refresh: light so far from what is predicted is another number of refreshes
DECISIVE = 0.13  # of a refresh: the median uncertainty beyond which refreshes are not counted
MOST_ODD = 0.2  # of the cells may be off by frames lost or late
LEAST_SEEN = 8  # cells that must be predicted


@dataclass(frozen=True)
class Cells:
    """What a photo's hold cells say."""

    share: FloatArray  # of the exposure, (cells,)
    sigma: FloatArray  # their standard uncertainties, (cells,)
    run: Run  # the frames that passed
    rate: Fraction  # the clip's frames a second
    seconds: tuple[float, float]  # least and greatest exposure

    @property
    def showings(self) -> IntArray:
        """How many frames of the run each cell stands for, (cells,)."""
        numbers = np.arange(self.run.first, self.run.first + self.run.frames)
        return np.bincount(numbers % len(self.share), minlength=len(self.share))

    @property
    def rounds(self) -> int:
        """Frames that stand behind a cell, of most cells."""
        whole = self.whole
        return int(np.median(self.showings[whole])) if whole.any() else 1

    @property
    def whole(self) -> BoolArray:
        """Cells all of whose frames showed wholly within the exposure, (cells,)."""
        first, last = self.run.first, self.run.first + self.run.frames - 1
        unsure = max(1, self.run.most - self.run.frames + 1)
        cut = {first, first - 1, *range(last - unsure + 1, last + unsure + 1)}
        kept = self.showings > 0
        kept[[number % len(kept) for number in cut if number >= first - 1]] = False
        return kept


@dataclass(frozen=True)
class Match:
    """A refresh on which the cells are as the arithmetic predicts."""

    refresh_hz: Fraction  # the refresh
    exposure_s: float  # exposure with which they agree best
    expected: FloatArray  # refreshes of each cell in all its showings, (cells,)
    holds: tuple[int, ...]  # refreshes of each frame of the run
    lost: tuple[int, ...]  # cells of frames of which one showing was lost
    late: tuple[int, ...]  # cells of frames that came on late in one showing or more
    off: FloatArray  # refreshes by which each whole cell's light is off, (cells,)


def match(seen: Cells, refresh_hz: Fraction) -> Match | None:
    """Match of the cells with a refresh; None if they are otherwise, or too uncertain."""
    rate, count, first = seen.rate, seen.run.frames + 1, seen.run.first
    phases = (Fraction(step, PHASES) for step in range(PHASES))
    starts = (frame_starts(rate, refresh_hz, count, phase=p, first=first) for p in phases)
    tried = dict.fromkeys(tuple(b - a for a, b in pairwise(own)) for own in starts)
    found = [m for holds in tried if (m := _compare(seen, refresh_hz, holds)) is not None]
    return min(found, key=lambda costed: costed[0])[1] if found else None


def _compare(
    seen: Cells, refresh_hz: Fraction, holds: tuple[int, ...]
) -> tuple[float, Match] | None:
    """How far the cells are from these holds, and the match if they are near enough."""
    cells, whole = len(seen.share), seen.whole
    numbers = np.arange(seen.run.first, seen.run.first + len(holds))
    expected = np.bincount(numbers % cells, np.array(holds, float), cells).astype(float)
    if whole.sum() < LEAST_SEEN or not (expected * seen.share)[whole].any():
        return None  # too few cells, or none that is lit is due
    refresh = float(refresh_hz)
    scale = _scale(seen, expected, whole)
    seconds = min(max(scale / refresh, seen.seconds[0]), seen.seconds[1])
    light, sigma = seen.share * seconds * refresh, seen.sigma * seconds * refresh
    if np.median(sigma[whole]) > DECISIVE:
        return None
    rounded = np.rint(light - expected)
    off = light - expected - rounded
    near = np.abs(off) <= np.clip(LIKELY * sigma, ALWAYS, FARTHEST)
    if not near[whole].all():
        return None
    explained = _explain(np.where(whole, rounded, 0).astype(int), holds, numbers, whole)
    if explained is None:
        return None
    lost, late = explained
    cost = float(((off / sigma)[whole] ** 2).sum()) + 12.0 * (len(lost) + len(late))
    return cost, Match(refresh_hz, seconds, expected, holds, lost, late, np.where(whole, off, 0))


def _scale(seen: Cells, expected: FloatArray, whole: BoolArray) -> float:
    """Refreshes of the exposure: weighted median over the cells, which odd ones do not move."""
    share, known = seen.share[whole], expected[whole]
    lit = (share > 0) & (known > 0)
    ratios, weights = known[lit] / share[lit], share[lit]
    order = np.argsort(ratios)
    total = np.cumsum(weights[order])
    middle = float(ratios[order][np.searchsorted(total, total[-1] / 2)])
    usual = np.abs(share * middle - known) < 0.5
    if usual.sum() < 3 or (share[usual] ** 2).sum() == 0:
        return middle
    return float((share[usual] @ known[usual]) / (share[usual] @ share[usual]))


def _explain(
    more: IntArray, holds: tuple[int, ...], numbers: IntArray, whole: BoolArray
) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
    """Lost and late cells that explain refreshes too many and too few; None if none do."""
    cells = len(more)
    order = (int(numbers[0]) + np.arange(cells)) % cells
    odd = order[more[order] != 0]
    if len(odd) > MOST_ODD * cells:
        return None
    left, lost, late = more.copy(), list[int](), list[int]()
    longest = {int(n) % cells: hold for n, hold in zip(numbers, holds, strict=True)}
    for cell in odd[more[odd] < 0]:
        before = (cell - 1) % cells
        while before in lost and before != cell:  # several in a row: the last one shown stood in
            before = (before - 1) % cells
        if not whole[before] or left[before] < -more[cell]:
            return None  # nothing is seen to have stood in: the exposure may begin or end here
        left[before] += more[cell]
        left[cell] = 0
        (lost if -more[cell] >= longest[int(cell)] > 0 else late).append(int(cell))
    if (left[whole] != 0).any():
        return None
    return tuple(lost), tuple(late)
