"""The timeline mistake behind repeated, skipped or mixed pictures.

Footage at F on a timeline at T, left at its own speed, shows frame floor(j F/T + phase)
in picture j: pictures repeat where F < T, frames are skipped where F > T, and mixed
where an editor blends. Each usual F is tried at every phase against what was marked.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np

from patterns.picture.arrays import BoolArray, IntArray
from patterns.reading.picture_change import FootageMarks
from patterns.timing.rates import format_decimal

USUAL = (
    *(Fraction(n) for n in (12, 15, 16, 18, 20, 24, 25, 30, 48, 50, 60, 100, 120)),
    *(Fraction(n * 1000, 1001) for n in (24, 30, 60)),
)
PHASES = 60
AGREES = 0.8  # F1 of marks foreseen and found
MIX_SEEN = 0.27  # share of the lesser frame from which a mixture is seen
LEAST_STRETCHES = 3  # of marks, so that a rhythm has been seen to come again
MIXED_STRETCHES = 4  # the same of mixtures, which come many in a row
SAME_RATE = 0.005


@dataclass(frozen=True)
class Mistake:
    """What was done.

    Attributes
    ----------
    kind
        'repeat', 'drop' or 'blend'.
    footage
        Rate that was put on the timeline.
    agreement
        0 to 1: how well that foresees the marks (F1).
    text
        The explanation.
    """

    kind: Literal["repeat", "drop", "blend"]
    footage: Fraction | None
    agreement: float
    text: str


def ordinal(number: int) -> str:
    """'second', 'fourth', '11th'."""
    names = ("", "", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")
    return names[number] if 2 <= number < len(names) else f"{number}th"


def _foreseen(footage: Fraction, timeline: Fraction, count: int, phase: float) -> IntArray:
    """How many frames of footage each picture is ahead of the one before."""
    places = np.floor(np.arange(-1, count) * float(footage / timeline) + phase + 1e-9)
    return np.asarray(np.diff(places), np.int64)


def _mixtures(footage: Fraction, timeline: Fraction, count: int, phase: float) -> BoolArray:
    place = np.arange(count) * float(footage / timeline) + phase
    share = place - np.floor(place)
    return np.asarray(np.minimum(share, 1 - share) > MIX_SEEN, np.bool_)


def _agreement(found: BoolArray, foreseen: BoolArray, judged: BoolArray) -> float:
    hits = int((found & foreseen & judged).sum())
    total = int((found & judged).sum()) + int((foreseen & judged).sum())
    return 2 * hits / total if total else 0.0


def _best(
    kind: str, found: BoolArray, judged: BoolArray, timeline: Fraction
) -> tuple[Fraction, float] | None:
    """Footage rate that foresees the marks best; of equals the one in simplest proportion."""
    best: list[tuple[float, int, Fraction]] = []
    for footage in USUAL:
        ratio = float(footage / timeline)
        if abs(ratio - 1) < SAME_RATE or ((ratio < 1) != (kind == "repeat") and kind != "blend"):
            continue
        scores = []
        for phase in (np.arange(PHASES) + 0.5) / PHASES:
            if kind == "blend":
                foreseen = _mixtures(footage, timeline, len(found), float(phase))
            else:
                ahead = _foreseen(footage, timeline, len(found), float(phase))
                foreseen = ahead == 0 if kind == "repeat" else ahead > int(ratio)
            scores.append(_agreement(found, np.asarray(foreseen, np.bool_), judged))
        best.append((round(max(scores), 2), -(footage / timeline).denominator, footage))
    if not best:
        return None
    score, _, footage = max(best, key=lambda entry: (entry[0], entry[1]))
    return (footage, score) if score >= AGREES else None


def _every(found: BoolArray) -> int:
    """Usual distance of marks, 0 if it is not that of four in five, or they lie side by side."""
    gaps = np.diff(np.flatnonzero(found))
    usual = int(np.median(gaps)) if len(gaps) else 0
    if usual < 2:
        return 0
    return usual if (np.abs(gaps - usual) <= (usual > 8)).mean() >= 0.8 else 0


def _stretches(found: BoolArray) -> int:
    """How many runs of marks there are."""
    return int((found & ~np.r_[False, found[:-1]]).sum())


def _text(kind: str, footage: Fraction | None, timeline: Fraction | None, found: BoolArray) -> str:
    share = float(found.mean())
    every = _every(found)
    rhythm = f"every {ordinal(every)} picture" if every > 1 else f"{100 * share:.0f} % of pictures"
    done = {
        "repeat": f"{rhythm} repeats the one before",
        "drop": f"a frame is left out {_how_often(share, timeline)}",
        "blend": f"{rhythm} {'is' if every > 1 else 'are'} a mixture of two frames",
    }[kind]
    if footage is None or timeline is None:
        return f"{done[0].upper()}{done[1:]}, in an even rhythm, as conversions of the rate do."
    names = f"{format_decimal(footage)} put on a {format_decimal(timeline)} timeline"
    done_by = "blended" if kind == "blend" else "left at its own speed"
    return (
        f"As {names} and {done_by}: {done}. Edit on a timeline of {format_decimal(footage)}, or "
        f"conform the footage to {format_decimal(timeline)}."
    )


def _how_often(share: float, timeline: Fraction | None) -> str:
    if timeline is None:
        return f"every {1 / share:.0f} pictures"
    each = share * float(timeline)
    return "once a second" if 0.9 < each < 1.1 else f"{each:.1f} times a second"


def find_mistake(marks: FootageMarks, timeline: Fraction | None) -> Mistake | None:
    """Conversion of the rate that foresees one kind of the marks, or None.

    Parameters
    ----------
    marks
        Of all pictures.
    timeline
        Exact pictures a second of the file; None if they are not evenly timed.
    """
    moving = marks.moving
    kinds: tuple[tuple[Literal["repeat", "drop", "blend"], BoolArray], ...] = (
        ("repeat", marks.repeated),
        ("blend", marks.mixed),
        ("drop", marks.jumped),
    )
    for kind, found in kinds:
        if _stretches(found) < (MIXED_STRETCHES if kind == "blend" else LEAST_STRETCHES):
            continue
        best = None if timeline is None else _best(kind, found, moving, timeline)
        if best is not None:
            return Mistake(kind, best[0], best[1], _text(kind, best[0], timeline, found[moving]))
        if _every(found):
            return Mistake(kind, None, 0.0, _text(kind, None, timeline, found[moving]))
    return None
