"""Conversions told by the spectra of what was measured: a matched filter in coloured noise.

What comes again every P pictures is in each measure a few lines, at multiples of 1/P; all beside
them is what the motion and the coding do, and so the noise is taken from the file itself. A
conversion is claimed where its lines stand above that noise in the amplitudes and phases that it
foresees, over all pictures and measures together.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np

from patterns.footage.changes import WEIGHTS, Changes, Marks
from patterns.footage.conversion import MOST, Conversion
from patterns.picture.arrays import BoolArray, ComplexArray, FloatArray

USUAL = (
    *(Fraction(n) for n in (24, 25, 30, 48, 50, 60)),
    *(Fraction(n * 1000, 1001) for n in (24, 30, 60)),
)  # frames a second that footage is shot at
MOST_TIMES = 3  # times the timeline's rate, of footage that is thought of
PERIODS = (5, 6, 7, 9, 10, 11, 12)  # pictures: coding has 2, 4 and 8 of its own, longer ones
# 24 blended in 25 and the other way, 20 in 30 and 50 to 30: not claimed, as key pictures and
# coding come again so, too, but what shorter or longer rhythms explain of them is no claim either
RIVALS, FEWEST_OF_RIVALS = (3, 24, 25), 5  # pictures; periods
# Mixtures of lower rates than so much of the timeline's, or of higher ones than this, are rivals
# too: what 24 leaves, blended in 60, is explained better by 48
BLENDED, MOST_BLENDED = Fraction(7, 10), 30
CODED = (0.25, 0.5)  # lines that coding has
LEAST_ENERGY = 0.05  # codes squared, that quantising leaves
ADVANCES = -0.2, 2.2  # within which advance tells of rhythms
AROUND = 6  # pictures to each side that an energy is set off against
STEADY = 12  # the same of all measures
SPREADS = 3.0  # beyond which a single picture counts no more: a stop, a jerk, a keyframe
FAINT = 0.03  # spread of a measure that quantising alone gives
CLEAR, BESIDE = 2.0, 0.07  # from a line (bins; pictures to the power -1): noise lies between
FEWEST = 8  # periods: lines are far enough apart for what lies between, and come again
SURE = 6.5  # standard errors
SHAPED = 0.5  # of the power in the lines, that the conversion explains
SHAPED_RARE = 0.7  # the same of one mixed picture in so many: coarse coding draws such
AS_LARGE = 0.15  # of what it foresees of clean pictures
CLEARLY = 1.04  # times the next conversion
LONGER = (2, 3, 4, 5, 6, 10, 12)  # times the period: keyframes come again after so many pictures
PULSES = 0.6  # of what stands in the lines, that may stand beside them at such


def find_lines(
    changes: Changes, marks: Marks, timeline: Fraction, runs: Sequence[int] = ()
) -> Conversion | None:
    """Conversion with a period of 5 to 12 pictures, or None.

    `timeline`: pictures a second of the file.
    `runs`: place of each in a run of pictures coded from both sides: what all with the same place
    have in common is coding's, and is taken out.
    """
    rows, count = _rows(changes, marks, runs)
    if count < FEWEST * PERIODS[0]:
        return None
    lines = {p: _Lines(rows, count, p) for p in PERIODS if count >= FEWEST * p}
    lines |= {p: _Lines(rows, count, p) for p in RIVALS if count >= FEWEST_OF_RIVALS * p}
    tried = (one for one in _candidates(timeline, len(changes.step)) if one.period in lines)
    found = sorted(
        ((*lines[one.period].best(one), one.period) for one in tried), key=lambda entry: -entry[0]
    )
    if len(found) < 2:  # so few pictures that there is nothing to set one off against
        return None
    (sure, share, size, best, period), (next_sure, *_) = found[:2]
    rare = best.footage is None or best.kind == "telecine 2:3:3:2"
    shaped = share > (SHAPED_RARE if rare else SHAPED) and size > AS_LARGE
    told = shaped and not _is_rival(best) and sure > max(SURE, CLEARLY * next_sure)
    return best if told and not lines[period].pulses else None


def _is_rival(one: Conversion) -> bool:
    """Whether it is tried, but never claimed."""
    if one.kind == "blend" and one.footage is not None:
        usual = BLENDED * one.timeline < one.footage <= MOST_BLENDED
        return one.period in RIVALS or not usual
    return one.period in RIVALS or one.drops_often


def pulses(changes: Changes, marks: Marks, one: Conversion) -> bool:
    """Whether what a conversion explains comes less often, as key pictures do: then it is coding's.

    False where its period is none of `PERIODS` or came too seldom.
    """
    rows, count = _rows(changes, marks, ())
    known = one.period in PERIODS and count >= FEWEST * one.period
    return known and _Lines(rows, count, one.period).pulses


class _Lines:
    """Lines of one period in all measures, less noise."""

    def __init__(self, rows: FloatArray, count: int, period: int) -> None:
        self._rows, self._count, self._period = rows, count, period
        every = np.arange(1, period // 2 + 1) / period
        self._at = np.setdiff1d(every, CODED)
        padded = 8 * rows.shape[1]
        power = np.abs(np.fft.rfft(rows, padded)) ** 2
        where = np.arange(power.shape[1]) / padded
        free = np.abs(where[:, None] - every).min(axis=1) > CLEAR / count
        beside = [free & (np.abs(where - line) < BESIDE) for line in self._at]
        # of noise, power is spread exponentially: its mean is the median over ln 2
        noise = np.stack([np.median(power[:, near], axis=1) for near in beside], axis=1) / np.log(2)
        self._noise = noise + FAINT**2 * rows.shape[1]
        self._seen = _lines_at(rows, self._at) / np.sqrt(self._noise)
        self._weight = float(np.hanning(rows.shape[1] + 2).sum()) * count / rows.shape[1]

    @property
    def _power(self) -> float:
        return float((np.abs(self._seen) ** 2).sum())

    def best(self, one: Conversion) -> tuple[float, float, float, Conversion]:
        """Standard errors, share of the power and size at the phase that suits best; the last."""
        found = []
        for phase in range(one.period):
            foreseen = replace(one, phase=phase).foreseen()
            expected = _lines_at(foreseen, self._at) * self._weight / one.period
            expected /= np.sqrt(self._noise)
            both = float((expected.conj() * self._seen).real.sum())
            found.append((both, phase, max(1e-9, float((np.abs(expected) ** 2).sum()))))
        both, phase, energy = max(found)
        # where each picture has a place of its own in a run, nothing is left
        share = max(0.0, both) ** 2 / max(1e-9, energy * self._power)
        return both * (2 / energy) ** 0.5, share, both / energy, replace(one, phase=phase)

    @property
    def pulses(self) -> bool:
        """Whether what comes again does so less often: each so many periods, as keyframes do."""
        beside = [0.0]
        for times in LONGER:
            aside = 1 / (times * self._period)
            if aside * self._count > CLEAR:
                seen = [_lines_at(self._rows, self._at + by) for by in (-aside, aside)]
                beside.append(float((np.abs(np.stack(seen)) ** 2 / self._noise).mean()))
        return bool(max(beside) > PULSES * self._power / self._noise.size)


def _lines_at(rows: FloatArray, at: FloatArray) -> ComplexArray:
    """Fourier sums of rows (measures, pictures) at frequencies of so much a picture."""
    turns = np.exp(-2j * np.pi * np.outer(np.arange(rows.shape[1]), at))
    return np.asarray(rows @ turns, np.complex128)


def _measures(changes: Changes, marks: Marks) -> tuple[FloatArray, BoolArray]:
    """Advance and logarithms of `Changes.apart`, set off, (measures, pictures); where known."""
    apart = np.nan_to_num(np.array(changes.apart)).T
    still, shot = (np.cumsum(np.r_[False, mark]) for mark in (~marks.moving, marks.cuts))
    known = np.zeros((len(WEIGHTS) + 1, len(changes.step)), np.bool_)
    known[0] = marks.steady
    for row, weights in zip(known[1:], WEIGHTS, strict=True):
        span = len(weights)
        if span > len(row):  # a file of so few pictures has none beside which so many lie
            continue
        moves = still[span:] == still[:-span]
        row[span - 1 :] = moves & (shot[span:] == shot[1 : len(shot) - span + 1])
    advance = np.clip(np.nan_to_num(np.array(changes.advance)), *ADVANCES)
    return np.vstack([advance, *(_set_off(row) for row in apart)]), known


def _rows(changes: Changes, marks: Marks, runs: Sequence[int]) -> tuple[FloatArray, int]:
    """Measures that spectra are taken of, (measures, pictures), and how many are known."""
    rows, known = _measures(changes, marks)
    place = np.zeros(rows.shape[1], np.int64)
    place[: len(runs)] = runs[: len(place)]
    for row, here in zip(rows, known, strict=True):
        for each in np.unique(place[here]):
            row[here & (place == each)] -= row[here & (place == each)].mean()
    tapered = [_tapered(row, here) for row, here in zip(rows, known, strict=True)]
    return np.stack(tapered), int(known[1].sum())


def _set_off(energy: FloatArray) -> FloatArray:
    """Logarithm of energies over their median nearby, kept within what a rhythm does."""
    windows = np.lib.stride_tricks.sliding_window_view(
        np.pad(energy, AROUND, mode="reflect"), 2 * AROUND + 1
    )
    middle = np.median(windows, axis=1)
    return np.clip(np.log((energy + LEAST_ENERGY) / (middle + LEAST_ENERGY)), -MOST, MOST)


def _tapered(row: FloatArray, known: BoolArray) -> FloatArray:
    """A measure less its mean nearby, without outliers, that fades towards both ends."""
    near = np.hanning(2 * STEADY + 3)[1:-1]
    mean, weight = (
        np.convolve(values, near)[STEADY:-STEADY] for values in (np.where(known, row, 0.0), known)
    )
    left = np.where(known, row - mean / np.maximum(weight, 1e-9), 0.0)
    most = SPREADS * (1.4826 * float(np.median(np.abs(left[known]))) + FAINT) if known.any() else 0
    return np.asarray(np.clip(left, -most, most) * np.hanning(len(row) + 2)[1:-1])


def _candidates(timeline: Fraction, count: int) -> Iterator[Conversion]:
    """Rates that repeat, weave, mix and leave out, and one mixture in so many pictures."""
    for rate in (Fraction(20), *USUAL):
        ratio = rate / timeline
        period = ratio.denominator
        # 48 in 30 is as telecine of 24, which is far commoner
        if period in (*PERIODS, 3) and 1 / 3 < ratio < MOST_TIMES and ratio != Fraction(8, 5):
            yield Conversion("repeat" if ratio < 1 else "drop", rate, timeline, 0, count)
        if period in (*PERIODS, 24, 25) and 1 / 3 < ratio < 1.5:
            yield Conversion("blend", rate, timeline, 0, count)
    if (woven := timeline * Fraction(4, 5)) in USUAL:
        yield Conversion("telecine", woven, timeline, 0, count)
        yield Conversion("telecine 2:3:3:2", woven, timeline, 0, count)
    for every in (5, 7):  # six would pass for what comes again in threes
        yield Conversion("blend", None, timeline, 0, count, every)
