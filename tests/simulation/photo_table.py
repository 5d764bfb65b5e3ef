"""Photos of the whole grid against their truth: python -m tests.simulation.photo_table COUNT SEED.

A seed that was not used for tuning says more: the constants of the reader were found with
seeds 1 to 6.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import cycle, islice, product

import numpy as np
import numpy.typing as npt

from patterns.strip.hold import hold_row
from patterns.strip.photo import PhotoReading, read_photo
from tests.simulation.conditions import DISPLAYS, LEVELS, RATES
from tests.simulation.photo import cell_errors, photo_case, take

__all__ = ["BAR", "Judged", "judge", "photo_rows"]

FloatArray = npt.NDArray[np.float64]
EXPOSURES_S = (1.0, 0.5, 2.0)
BAR = 0.08
HEAD = (
    "level", "photos", "unread", "cells", "reported", "of these within 8 %", "worst", "median",
    "good ones withheld", "wrong ones withheld", "true error / stated",
)  # fmt: skip


@dataclass(frozen=True)
class Judged:
    """Cells of some photos: error of the value, whether it is told, error in stated sigmas."""

    error: FloatArray
    told: npt.NDArray[np.bool_]
    sigmas: FloatArray
    unread: int

    @property
    def reported(self) -> float:
        """Share of cells whose hold is told."""
        return float(self.told.mean())

    @property
    def worst(self) -> float:
        """Largest error of a hold that is told."""
        return float(self.error[self.told].max())

    def row(self, level: str, photos: int) -> str:
        """Row of the table."""
        good, told = self.error <= BAR, self.told
        cells = len(told)
        return (
            f"| {level} | {photos} | {self.unread} | {cells} | {told.sum()} "
            f"({100 * self.reported:.1f} %) | {(good & told).sum()} "
            f"({100 * good[told].mean():.2f} %) | {100 * self.worst:.1f} % | "
            f"{100 * np.median(self.error[told]):.1f} % | "
            f"{(good & ~told).sum()} ({100 * (good & ~told).sum() / good.sum():.1f} %) | "
            f"{(~good & ~told).sum()} of {(~good).sum()} | "
            f"{np.sqrt((self.sigmas**2).mean()):.2f} RMS, "
            f"{100 * (np.abs(self.sigmas) > 3).mean():.1f} % beyond 3 |"
        )


def _photos(level: str, count: int, seed: int) -> Iterator[tuple[PhotoReading | None, FloatArray]]:
    grid = list(product(RATES, DISPLAYS))
    order = islice(cycle(grid[::7] + grid[3::7] + grid[5::7]), count)
    for i, ((rate, display), exposure_s) in enumerate(zip(order, cycle(EXPOSURES_S), strict=False)):
        case = photo_case(level, rate, display, seed * 1000 + i)
        picture, truth = take(case, exposure_s, hold_row(rate).cells)
        reading = read_photo(picture)
        yield (reading if isinstance(reading, PhotoReading) else None), truth


def judge(level: str, count: int, seed: int = 1) -> Judged:
    """Read `count` photos of a level and put their cells beside the truth."""
    errors, told, sigmas, unread = [], [], [], 0
    for reading, truth in _photos(level, count, seed):
        if reading is None:
            unread += 1
            continue
        cells = np.array(reading.cells)
        off = cells / cells.mean() - truth / truth.mean()
        errors.append(cell_errors(cells, truth))
        told.append(reading.told)
        sigmas.append(off / (np.array(reading.uncertainty) / cells.mean()))
    return Judged(np.concatenate(errors), np.concatenate(told), np.concatenate(sigmas), unread)


def photo_rows(level: str, count: int, seed: int = 1) -> str:
    """One row of the table: how far the holds of `count` photos are from the truth."""
    return judge(level, count, seed).row(level, count)


def main() -> None:
    """Print the table of both levels."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 24
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    sys.stdout.write(f"| {' | '.join(HEAD)} |\n|{'---|' * len(HEAD)}\n")
    for level in LEVELS:
        sys.stdout.write(photo_rows(level, count, seed) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
