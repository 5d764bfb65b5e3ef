"""Box averages against sums over very fine steps."""

from __future__ import annotations

import numpy as np
import pytest

from patterns.scenes.orbit.atlas import (
    trapezoid_integral,
    turn_boxes,
    turn_reach,
)


@pytest.mark.parametrize(
    ("pixel", "exposure"), [(1.35, 0.0), (1.35, 2.8), (3.0, 1.0), (2.0, 2.0), (1.35, 140.3)]
)
@pytest.mark.parametrize("per_texel", [1.0, 1.5, 4 / 3, 2.0])
def test_turn_boxes_are_the_mean_over_both_boxes(
    pixel: float, exposure: float, per_texel: float
) -> None:
    reach, part = turn_reach(pixel, exposure), 24
    cells = np.random.default_rng(5).random((round(5 * part * per_texel) + 2 * reach, 6))
    found = turn_boxes(cells.astype(np.float32), part, per_texel, pixel, exposure).reshape(-1, 6)
    assert len(found) == 5 * part
    fine = (np.arange(600) + 0.5) / 600 - 0.5
    places = (fine[:, np.newaxis] * pixel + fine[np.newaxis, :] * exposure).ravel()
    for k in range(0, len(found), 17):
        places_here = np.floor((k + 0.5) * per_texel + reach + places).astype(int)
        assert found[k] == pytest.approx(cells[places_here].mean(axis=0, dtype=float), abs=2e-3)


def test_texels_are_the_same_in_any_piece() -> None:
    cells = np.random.default_rng(6).random((96 + 6, 300), dtype=np.float32)
    whole = turn_boxes(cells, 24, 1.0, 1.35, 4.0).reshape(96, -1)
    piece = turn_boxes(cells[48:], 24, 1.0, 1.35, 4.0).reshape(48, -1)
    assert np.array_equal(whole[48:], piece)


def test_the_trapezoid_holds_one() -> None:
    ends = trapezoid_integral(np.array([-50.0, 0.0, 50.0]), 1.4, 7.3)
    assert ends == pytest.approx([0, 0.5, 1])
