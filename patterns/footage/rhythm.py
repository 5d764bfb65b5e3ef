"""Which conversion of the rate was done, by what each foresees of the pictures.

A single odd picture proves nothing, as things stop and start: a conversion is claimed where one
rate and phase foresees what is seen all through.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np

from patterns.footage.changes import Changes, Marks, beside
from patterns.footage.conversion import Conversion
from patterns.footage.spectrum import MOST_TIMES, PERIODS, USUAL, find_lines, pulses
from patterns.picture.arrays import BoolArray, FloatArray, IntArray

SHOT_AT = (*(Fraction(n) for n in (12, 15, 16, 18, 20)), *USUAL)
LITTLE = (0.25, 0.4, 0.55)  # of steps around, below which a step is a repeat's: grain leaves more
MOVING = 0.4  # codes of those steps, above what coding alone changes
FORESEEN = 0.65  # F1 of repeats: conversions 0.74 to 1, other footage to 0.3
AS_GOOD = 0.04  # of F1, within which a simpler rhythm is taken
JOINED, CLEARLY = 0.85, 0.15  # the same if each stretch has its own phase; so much more then
ALIKE = 0.4  # correlation of steps with those foreseen; other footage to 0.3
AS_LARGE = 0.1  # that, times how large it is; coding that skips gives other footage to 0.08
RIVAL = 0.12  # by which it must be more alike than others that come again; true ones: 0.13
SURE = 5.5  # standard errors
REPEATED, AFTER_A_GAP = 0.5, 1.2  # advance of odd pictures: 0 and 1.5, where others have 1
SHORTEST = 12  # pictures; longer rhythms come too rarely in a stretch to be known from chance
SEEN = 3  # of the odd pictures that are known, by themselves: a stop and a cut are two
FEWEST = 4  # odd pictures, so that a rhythm has been seen to come again
PHASES = 60  # that are tried of a rhythm at first, where it has more
STRETCH_S = 2  # in which a rhythm is looked for by itself, as shots may begin at any phase


def find_conversion(
    changes: Changes, marks: Marks, timeline: Fraction, runs: Sequence[int] = ()
) -> Conversion | None:
    """Conversion that explains what was measured of all pictures, or None.

    `runs`: as `VideoInfo.runs`, where known.
    """
    repeats = repeats_by_steps(np.nan_to_num(np.array(changes.step)), timeline)
    if repeats is not None and repeats.phase is None:
        return repeats
    told = find_lines(changes, marks, timeline, runs)
    if told is not None:
        return told
    found = _by_advance(changes, marks, timeline) or repeats
    return None if found is None or pulses(changes, marks, found) else found


def _by_advance(changes: Changes, marks: Marks, timeline: Fraction) -> Conversion | None:
    """The rate, phase and kind whose steps are most like those measured, if like enough."""
    seen = np.clip(np.nan_to_num(np.array(changes.advance)), -0.2, 2.2)
    known = np.flatnonzero(marks.steady)
    if known.size < 2 * SHORTEST:
        return None
    found: list[tuple[float, bool, Conversion | None]] = []
    for one in _stepping(timeline, len(seen)):
        like, large, best = _alike(one, known, seen[known])
        # 60 in 24 looks as coding does, and is not claimed, but what fits it is nothing else
        comes = not one.drops_often and _comes_again(best, seen, known)
        sure = like * np.sqrt(known.size / max(1e-9, 1 - like**2)) > SURE
        told = comes and sure and like > ALIKE and like * large > AS_LARGE
        found.append((like, comes, best if told else None))
    found.sort(key=lambda entry: -entry[0])
    rival = max((like for like, comes, _ in found[1:] if comes), default=0.0)
    return found[0][2] if found and found[0][0] > rival + RIVAL else None


def _alike(
    one: Conversion, known: IntArray, advance: FloatArray
) -> tuple[float, float, Conversion]:
    """Correlation with the steps foreseen and their size, at the phase that suits best; that.

    Pictures are added up by their place in the period, so that long files take no longer.
    """
    measured, place = advance - advance.mean(), known % one.period
    counts, sums = (np.bincount(place, weights, one.period) for weights in (None, measured))
    tried = [replace(one, phase=phase) for phase in range(one.period)]
    foreseen = np.stack([each.advance(one.period) for each in tried])
    foreseen -= (foreseen * counts).sum(axis=1, keepdims=True) / known.size
    energy = np.maximum((foreseen**2 * counts).sum(axis=1), 1e-9)
    both = (foreseen * sums).sum(axis=1)
    like = both / np.sqrt(energy * max(1e-9, float(measured @ measured)))
    at = int(like.argmax())
    return float(like[at]), float(both[at] / energy[at]), tried[at]


def _comes_again(one: Conversion, advance: FloatArray, known: IntArray) -> bool:
    """Whether most of the odd pictures that are known are so: a cut and a stop fit by chance."""
    odd = advance[known[one.marks()[known]]]
    seen = odd < REPEATED if one.kind == "repeat" else odd > AFTER_A_GAP
    return bool(2 * seen.sum() > seen.size and seen.sum() >= SEEN)


def _stepping(timeline: Fraction, count: int) -> Iterator[Conversion]:
    """Conversions that make steps uneven, with periods of which spectra tell nothing."""
    for rate in USUAL:
        ratio = rate / timeline
        one = Conversion("repeat" if ratio < 1 else "drop", rate, timeline, 0, count)
        usual = 1 / 3 < ratio < MOST_TIMES and 1 < ratio.denominator <= PHASES
        if usual and (one.period not in PERIODS or one.drops_often):
            yield one


def repeats_by_steps(step: FloatArray, timeline: Fraction) -> Conversion | None:
    """Repeats by the pictures' differences to the one before, at which the phase may change.

    Its phase is None where a rhythm starts anew on the way, as where shots were joined.
    """
    around = beside(step)
    judged = around > MOVING
    judged[:1] = False
    found: list[tuple[float, int, Fraction, int]] = []
    joined = (0.0, timeline)
    for little in LITTLE:
        seen = judged & (step < little * around)
        if seen.sum() < FEWEST:
            continue
        for rate in SHOT_AT:
            if not timeline / 5 <= rate < timeline * Fraction(99, 100):
                continue
            q = (rate / timeline).denominator
            coarse = max(1, q // PHASES)
            marks = _repeats(rate, timeline, range(0, q, coarse), judged)
            agrees = _agreement(marks, seen)
            found.append((float(agrees.max()), q, rate, coarse * int(agrees.argmax())))
            if q <= SHORTEST:
                joined = max(joined, (_by_stretches(marks, seen, timeline), rate))
    best = max((score for score, *_ in found), default=0.0)
    if joined[0] >= max(JOINED, best + CLEARLY):
        return Conversion("repeat", joined[1], timeline, None, len(step))
    if best >= FORESEEN:
        # rates that differ by 1000/1001 foresee the same in a short file: the simplest is named
        near = [one for one in found if one[0] > best - AS_GOOD]
        _, _, rate, phase = min(near, key=lambda one: (one[1], -one[0]))
        return _refined(rate, timeline, phase, step, judged)
    return None


def _repeats(rate: Fraction, timeline: Fraction, phases: range, judged: BoolArray) -> BoolArray:
    made = (Conversion("repeat", rate, timeline, phase, len(judged)) for phase in phases)
    return np.stack([one.marks() for one in made]) & judged


def _agreement(marks: BoolArray, seen: BoolArray) -> FloatArray:
    """F1 of each row of marks."""
    both, either = (marks & seen).sum(axis=-1), marks.sum(axis=-1) + seen.sum()
    return np.asarray(2 * both / np.maximum(1, either), np.float64)


def _by_stretches(marks: BoolArray, seen: BoolArray, timeline: Fraction) -> float:
    """F1 if every stretch may begin at the phase that suits it best."""
    hits = total = 0
    length = STRETCH_S * round(timeline)
    for start in range(0, len(seen), length):
        here = slice(start, start + length)
        row = marks[_agreement(marks[:, here], seen[here]).argmax(), here]
        hits += 2 * int((row & seen[here]).sum())
        total += int(row.sum() + seen[here].sum())
    return hits / max(1, total)


def _refined(
    rate: Fraction, timeline: Fraction, phase: int, step: FloatArray, judged: BoolArray
) -> Conversion:
    """The phase that suits all pictures best, of all those near the one found among a few."""
    q = (rate / timeline).denominator
    reach = max(1, q // PHASES)
    near = range(max(0, phase - reach), min(q, phase + reach + 1))
    seen = judged & (step < LITTLE[1] * beside(step))
    agrees = _agreement(_repeats(rate, timeline, near, judged), seen)
    return Conversion("repeat", rate, timeline, near[int(agrees.argmax())], len(step))
