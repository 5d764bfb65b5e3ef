"""Which frames passed, from the brightness of the number cells."""

from __future__ import annotations

import numpy as np
import pytest

from patterns.picture.arrays import FloatArray
from patterns.strip.code import number_word, word_bits
from patterns.strip.photo import find_run


def photographed(times: dict[int, float], cells: int) -> tuple[FloatArray, FloatArray]:
    """Shares of hold and number cells for frames that were lit for these times."""
    share, level = np.zeros(cells), np.zeros(28)
    whole = sum(times.values())
    for number, time in times.items():
        share[number % cells] += time / whole
        level += time / whole * word_bits(number_word(number))
    return share, level


@pytest.mark.parametrize("cells", [24, 25])
def test_the_run_is_found_anywhere_in_a_clip(cells: int) -> None:
    rng = np.random.default_rng(cells)
    for frames in (9, cells, cells + 7, 4 * cells):
        first = int(rng.integers(0, 65000))
        # the same holds in each round of the row, as most rates have them
        holds = rng.choice([2.0, 3.0], cells)
        times = {n: float(holds[n % cells]) for n in range(first, first + frames)}
        share, level = photographed(times, cells)
        noise = 0.005 * rng.standard_normal(28)
        run = find_run(share, level + noise, np.full(28, 0.005))
        assert run is not None
        assert abs(run.first - first) <= 1
        assert run.fewest - 1 <= frames <= run.most + 1
        assert run.misfit < 1


def test_a_frame_that_was_lost_does_not_end_the_run() -> None:
    times = {n: 2.5 for n in range(5000, 5024) if n != 5010} | {5009: 5.0}
    run = find_run(*photographed(times, 24), np.full(28, 0.003))
    assert run is not None
    assert (run.first, run.frames) == (5000, 24)


@pytest.mark.parametrize("jump", [3, 40, 777, 20000])
def test_a_jump_fits_no_run(jump: int) -> None:
    """Half of a second from one place and half from another, as in a seek."""
    times = {n if n < 30012 else n + jump: 2.5 for n in range(30000, 30024)}
    share, level = photographed(times, 24)
    run = find_run(share, level, np.full(28, 0.003))
    assert run is not None
    due = abs(run.frames - 24) <= 1
    assert run.misfit > 1.2 or not due or share.max() > 1.5 * np.median(share)


def test_nothing_is_found_in_cells_that_were_not_measured() -> None:
    assert find_run(np.full(24, 1 / 24), np.empty(0), np.empty(0)) is None
    assert find_run(np.zeros(24), np.full(28, 0.5), np.full(28, 0.01)) is None
