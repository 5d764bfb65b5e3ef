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
from patterns.reading.clocks import USUAL_HZ
from patterns.reading.hold_cadence import HeldFrame
from patterns.strip.photo import RIGHT_TO, PhotoReading, Run
from patterns.timing.cadence import Display, frame_starts

PHASES = 48
LIKELY = 3.5  # standard uncertainties, within which light is as predicted
ALWAYS = 0.12  # of a refresh, which is let pass whatever the uncertainty
FARTHEST = 0.4  # of a refresh: light so far from what is predicted is another number of refreshes
DECISIVE = 0.13  # of a refresh: the median uncertainty beyond which refreshes are not counted
MOST_ODD = 0.2  # of the cells may be off by frames lost or late
LEAST_SEEN = 8  # cells that must be predicted
LEAST_KNOWN = 0.5  # of the cells
EXACT = 0.03  # by which an exposure may differ from what a camera writes
SAME_TURN = 0.1  # of a refresh, by which a round of the row may shift the cadence
FLOOR = 0.015  # of a frame's time: standard uncertainty that every cell has
PERCENT = round(100 * RIGHT_TO)  # to which cells must be known
NOT_PREDICTED = (
    "the cells are not what this rate gives on one known refresh: the display is another, frames "
    "are held otherwise (a stall, a converted rate), or reflections, a filter or a pause make the "
    "light doubtful. Give --display, darken the room, and expose once for one second, or film "
    "the screen in slow motion"
)


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


@dataclass(frozen=True)
class Predicted:
    """What is known where all is as the arithmetic predicts on one refresh, or on several."""

    seen: Cells
    matches: tuple[Match, ...]
    known: BoolArray  # cells whose frames' holds are given
    never_due: tuple[int, ...]  # cells of frames that the refresh has no time for
    repeats: bool  # whether a cell's frames are all held alike, so that their sum gives each

    @property
    def refresh_hz(self) -> Fraction | None:
        """The refresh, if it is one alone."""
        return self.matches[0].refresh_hz if len(self.matches) == 1 else None

    @property
    def right_to(self) -> float:
        """What the worst hold may be off, as a share of it."""
        best, cells = self.matches[0], len(self.seen.share)
        mean = float(best.refresh_hz) * best.exposure_s / cells
        off = float((np.abs(best.off) / np.maximum(best.expected, mean)).max())
        share = np.maximum(self.seen.share[self.known], 1 / cells)
        doubt = float((self.seen.sigma[self.known] / share).max(initial=0.0))
        return max(1.1 * off, 2 * doubt if self.known.any() else 1.0)

    def hold(self, cell: int) -> HeldFrame:
        """Hold of a cell's frames, which is their mean where it stands for several."""
        seen, best, refresh = self.seen, self.matches[0], self.refresh_hz
        times, cells = int(seen.showings[cell]), len(seen.share)
        light = float(seen.share[cell]) * best.exposure_s
        counts = None
        odd = {*best.lost, *best.late}
        if refresh is not None and times == 1:
            counts = round(light * float(refresh))
        elif refresh is not None and not odd & {cell, (cell + 1) % cells}:
            own = {h for i, h in enumerate(best.holds) if (seen.run.first + i) % cells == cell}
            counts = own.pop() if len(own) == 1 else None
        return HeldFrame(cell, None, light / times, counts, cell)


def cells_of(found: PhotoReading, run: Run, exposure_s: Fraction | None) -> Cells:
    """Cells with the exposure's bounds: what was said, or what the clip's own speed makes it."""
    rate = found.identity.rate
    share = np.maximum(np.array(found.cells), 0)
    total = max(float(share.sum()), 1e-9)
    sigma = np.hypot(np.array(found.uncertainty) / total, FLOOR / len(share))
    if exposure_s is None:
        seconds = ((run.fewest - 2) / float(rate), (run.most + 1) / float(rate))
    else:
        seconds = (float(exposure_s) * (1 - EXACT), float(exposure_s) * (1 + EXACT))
    return Cells(share / total, sigma, run, rate, seconds)


def predicted(
    found: PhotoReading, seen: Cells, display: Display | None, *, timed: bool
) -> Predicted | str:
    """Find the refreshes on which the cells are as predicted; why nothing is given if none is.

    `timed`: whether the exposure is known.
    """
    tried = [m for m in (match(seen, hz) for hz in _rates(display)) if m is not None]
    fewest = min((len(m.lost) + len(m.late) for m in tried), default=0)
    matches = tuple(m for m in tried if len(m.lost) + len(m.late) == fewest)
    known = np.array(found.known) & seen.whole
    if reason := _too_few(seen, int(known.sum())):
        return reason
    if not matches or (len(matches) > 1 and any(len(set(m.holds)) > 1 for m in matches)):
        return NOT_PREDICTED if timed else f"{NOT_PREDICTED}; use --exposure"
    best = matches[0]
    never_due = tuple(int(c) for c in np.flatnonzero(seen.whole & (best.expected == 0)))
    known[[*best.lost, *never_due]] = False
    turn = float(len(seen.share) / seen.rate * best.refresh_hz)
    repeats = seen.rounds == 1 or abs(turn - round(turn)) < SAME_TURN
    return Predicted(seen, matches, known, never_due, repeats)


def _rates(display: Display | None) -> tuple[Fraction, ...]:
    """Refreshes that may be; within a second 59.94 and 60 look the same."""
    if display is None or display.is_variable:
        return tuple(hz for hz in USUAL_HZ if hz.denominator == 1)
    return (display.highest_hz,)


def _too_few(seen: Cells, known: int) -> str:
    """Why nothing is said of all cells where only some can be known; '' if it may be."""
    if known >= LEAST_KNOWN * seen.whole.sum():
        return ""
    return (
        f"only {known} of {len(seen.share)} cells could be known to {PERCENT} %: go near, darken "
        "the room, lower the ISO, and expose so that the white marks are just below white"
    )
