"""Two frames that are no neighbours in one picture: what a drop looks like while it passes."""

from __future__ import annotations

import numpy as np
import pytest

from patterns.strip.camera_decode import Cells, decode, hold_lit
from patterns.strip.code import NUMBER_CELLS, Word, number_word, word_bits

HOLD = 24


def cells(shares: dict[int, float], *, gain: float = 1.0, noise: float = 0.0) -> Cells:
    """Cells of a picture in which each frame gives its share of the light."""
    rng = np.random.default_rng([*shares, int(100 * noise)])
    number, hold = np.zeros(NUMBER_CELLS), np.zeros(HOLD)
    for n, share in shares.items():
        number += share * word_bits(number_word(n))
        hold[n % HOLD] += share
    number, hold = np.minimum(gain * number, 1), np.minimum(gain * hold, 1)
    return Cells(
        number + noise * rng.standard_normal(NUMBER_CELLS),
        np.full(NUMBER_CELLS, 100.0),
        hold + noise * rng.standard_normal(HOLD),
        np.full(HOLD, 90.0),
    )


@pytest.mark.parametrize("step", range(2, 9))
@pytest.mark.parametrize("share", [0.35, 0.5, 0.65])
def test_two_distant_frames_are_read(step: int, share: float) -> None:
    for number in (0, 7, 500, 4095, 60001):
        found = decode(cells({number: 1 - share, number + step: share}, noise=0.02), number)
        assert isinstance(found, Word)
        assert (found.number, found.later) == (number, number + step)
        assert found.share == pytest.approx(share, abs=0.05)


def test_they_are_read_where_white_is_clipped() -> None:
    for number in range(100, 140):
        found = decode(cells({number: 0.35, number + 2: 0.65}, gain=1.7, noise=0.02), number)
        assert isinstance(found, Word)
        assert (found.number, found.later) == (number, number + 2)


def test_without_a_number_before_they_are_not_guessed() -> None:
    assert isinstance(decode(cells({500: 0.5, 502: 0.5})), str)
    assert isinstance(decode(cells({500: 0.5, 502: 0.5}), 900), str)


def test_a_frame_between_that_gives_light_is_never_left_out() -> None:
    """Three frames in a row are never read as the outer two without the middle one."""
    rng = np.random.default_rng(5)
    for _ in range(3000):
        number = int(rng.integers(0, 60000))
        middle = float(rng.uniform(0.16, 0.6))
        first = float(rng.uniform(0.1, 0.9)) * (1 - middle)
        shares = {number: first, number + 1: middle, number + 2: 1 - middle - first}
        found = decode(cells(shares, noise=0.02), number)
        if isinstance(found, Word):
            assert found.later != number + 2 or found.number == number + 1


def test_a_hold_row_tells_what_was_on_only_if_all_other_cells_are_dark() -> None:
    assert hold_lit(cells({500: 0.4, 502: 0.6})) == (500 % HOLD, 502 % HOLD)
    assert hold_lit(cells({500: 0.4, 501: 0.15, 502: 0.45})) == ()
    assert hold_lit(cells({500: 0.2, 502: 0.2})) == ()  # too dark to tell
