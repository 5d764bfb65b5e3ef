# ruff: noqa: T201 - a command that prints its table
"""Rates of false alarm and of misses of the footage judgement, over patterns, grain and crf.

Run as a command it prints the table.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction as F
from pathlib import Path

import numpy as np

from patterns.picture.arrays import BoolArray
from patterns.reading.picture_change import FootageMarks, PictureChange, mark_footage
from patterns.reading.timeline_mistake import Mistake, find_mistake
from patterns.video.reader import read_luma
from tests.reading.edits import PATTERNS, blended_onto, encode, grainy, repeated_onto, shot

CASES: tuple[tuple[str, F, F], ...] = (
    ("as shot", F(24), F(24)),
    ("repeat", F(24), F(30)),
    ("repeat", F(24), F(25)),
    ("repeat", F(25), F(60)),
    ("drop", F(25), F(24)),
    ("drop", F(30), F(24)),
    ("blend", F(24), F(30)),
    ("blend", F(25), F(30)),
)


@dataclass(frozen=True)
class Judged:
    """Truth and finding of one file."""

    repeated: BoolArray
    mixed: BoolArray  # share of the lesser frame 0.3 or more
    pure: BoolArray  # less than 0.05
    marks: FootageMarks
    mistake: Mistake | None


def judged(
    pattern: str,
    kind: str,
    rate: F,
    timeline: F,
    folder: Path,
    *,
    seed: int,
    grain: float,
    crf: int,
) -> Judged:
    """Make a file of the edit and judge it."""
    source = shot(pattern, rate, 76)
    shares = np.zeros(0)
    if kind == "blend":
        pictures, told = blended_onto(source, rate, timeline)
        shares, indices = np.array(told), list(range(len(pictures)))
    else:
        pictures, indices = repeated_onto(source, rate, timeline, phase=0.1 + 0.17 * seed)
        shares = np.zeros(len(pictures))
    name = folder / f"{pattern}-{seed}.mp4"
    encode(grainy(pictures, grain, seed), timeline, name, crf)
    change = PictureChange()
    for _, luma in read_luma(name):
        change.take(luma)
    marks = mark_footage(change.changes)
    found = find_mistake(marks, timeline)
    repeated = np.r_[False, np.diff(indices) == 0]
    lesser = np.minimum(shares, 1 - shares)
    return Judged(repeated, lesser >= 0.3, lesser < 0.05, marks, found)


def sweep(
    folder: Path, seeds: Sequence[int], conditions: Sequence[tuple[float, int]]
) -> Iterator[tuple[str, str, F, F, float, int, Judged]]:
    """All files."""
    for pattern in PATTERNS:
        for kind, rate, timeline in CASES:
            for grain, crf in conditions:
                for seed in seeds:
                    result = judged(
                        pattern, kind, rate, timeline, folder, seed=seed, grain=grain, crf=crf
                    )
                    yield pattern, kind, rate, timeline, grain, crf, result


def main() -> None:
    """Print the table."""
    seeds = range(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
    conditions = ((0.0, 18), (2.0, 23), (4.0, 28))
    rows: dict[tuple[str, str, float], list[int]] = {}
    with tempfile.TemporaryDirectory() as folder:
        for pattern, kind, rate, timeline, grain, _, r in sweep(Path(folder), seeds, conditions):
            row = rows.setdefault((pattern, kind, grain), [0] * 10)
            r_moving = r.marks.moving
            row[9] += int((~r_moving).sum())
            true = r.repeated & r_moving
            row[0] += int(true.sum())
            row[1] += int((true & ~r.marks.repeated).sum())
            row[2] += int((~r.repeated & r_moving).sum())
            row[3] += int((~r.repeated & r.marks.repeated).sum())
            judged_mixed = r.mixed & r.marks.detailed
            row[4] += int(judged_mixed.sum())
            row[5] += int((judged_mixed & ~r.marks.mixed).sum())
            row[6] += int((r.pure & r.marks.detailed).sum())
            row[7] += int((r.pure & r.marks.mixed).sum())
            wanted = kind != "as shot"
            named = r.mistake is not None and r.mistake.footage == rate
            row[8] += int(named if wanted else r.mistake is None)
            if (named if wanted else r.mistake is None) is False:
                said = r.mistake and (r.mistake.kind, str(r.mistake.footage), r.mistake.agreement)
                print(pattern, kind, rate, timeline, grain, said, file=sys.stderr)
    print("pattern kind grain | repeats missed | others alarmed | mixtures missed | pure alarmed")
    for (pattern, kind, grain), row in rows.items():
        print(
            f"{pattern:8} {kind:8} {grain:4} | {row[1]}/{row[0]} | {row[3]}/{row[2]} | "
            f"{row[5]}/{row[4]} | {row[7]}/{row[6]} | explained {row[8]} | not told {row[9]}"
        )


if __name__ == "__main__":
    main()
