"""Photos of the whole grid against their truth: python -m tests.simulation.photo_table COUNT."""

from __future__ import annotations

import sys
from itertools import cycle, islice, product

import numpy as np

from patterns.strip.hold import hold_row
from patterns.strip.photo import PhotoReading, read_photo
from tests.simulation.conditions import DISPLAYS, LEVELS, RATES
from tests.simulation.photo import cell_errors, photo_case, take

__all__ = ["photo_rows"]

EXPOSURES_S = (1.0, 0.5, 2.0)
BAR = 0.08


def photo_rows(level: str, count: int, seed: int = 1) -> str:
    """One row of the table: how far the holds of `count` photos are from the truth."""
    grid = list(product(RATES, DISPLAYS))
    order = islice(cycle(grid[::7] + grid[3::7] + grid[5::7]), count)
    errors, unread, worst = [], 0, []
    for i, ((rate, display), exposure_s) in enumerate(zip(order, cycle(EXPOSURES_S), strict=False)):
        case = photo_case(level, rate, display, seed * 1000 + i)
        picture, truth = take(case, exposure_s, hold_row(rate).cells)
        reading = read_photo(picture)
        if not isinstance(reading, PhotoReading):
            unread += 1
            continue
        found = cell_errors(np.array(reading.cells), truth)
        errors.append(found)
        worst.append(float(found.max()))
    every = np.concatenate(errors)
    return (
        f"| {level} | {count} | {unread} | {len(every)} | {100 * np.median(every):.1f} % | "
        f"{100 * np.percentile(every, 95):.1f} % | {100 * max(worst):.1f} % | "
        f"{100 * (every <= BAR).mean():.1f} % |"
    )


def main() -> None:
    """Print the table of both levels."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 24
    head = "photos | unread | cells | median error | 95 % below | worst | cells within 8 % |"
    sys.stdout.write(f"| level | {head}\n|---|" + "---|" * 7 + "\n")
    for level in LEVELS:
        sys.stdout.write(photo_rows(level, count) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
