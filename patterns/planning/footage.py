"""What a plan takes from files of footage: their rates, and the move of the first that has one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction

from patterns.footage.measure import Facts
from patterns.footage.seen import Row, rows

TOLD = ("times", "motion", "fastest")  # rows on what is taken, said while the plan is made


@dataclass(frozen=True)
class ShotMove:
    """Move that was shot, as one across the picture at its fastest speed."""

    cross_s: Fraction  # in which the width is crossed
    size: tuple[int, int]  # width and height of the picture, even, pixels


def move_of(files: Iterable[Facts]) -> ShotMove | None:
    """Move of the first file whose motion is known; None where no motion is."""
    for facts in files:
        if facts.cross_s is not None:
            size = (facts.info.width // 2 * 2, facts.info.height // 2 * 2)
            return ShotMove(facts.cross_s, size)
    return None


def taken(facts: Facts) -> Iterator[Row]:
    """What is said of a file from which a plan takes rate and motion."""
    return (row for row in rows(facts) if row[0] in TOLD)
