"""Box averages against sums over very fine steps."""

from __future__ import annotations

import numpy as np
import pytest

from patterns.rendering.boxes import across_boxes, trapezoid_integral, turn_boxes


@pytest.mark.parametrize(
    ("pixel", "exposure"), [(1.35, 0.0), (1.35, 2.8), (3.0, 1.0), (2.0, 2.0), (1.35, 140.3)]
)
def test_turn_boxes_are_the_mean_over_both_boxes(pixel: float, exposure: float) -> None:
    rng = np.random.default_rng(5)
    cells = rng.random((400, 6), dtype=np.float32)
    centres = np.linspace(100.3, 290.7, 60)
    found = turn_boxes(cells, centres, pixel, exposure)
    fine = (np.arange(600) + 0.5) / 600 - 0.5
    places = (fine[:, np.newaxis] * pixel + fine[np.newaxis, :] * exposure).ravel()
    for centre, row in zip(centres[::7], found[::7], strict=True):
        expected = cells[np.floor(centre + places).astype(int)].mean(axis=0, dtype=float)
        assert row == pytest.approx(expected, abs=2e-3)


def test_the_trapezoid_holds_one() -> None:
    ends = trapezoid_integral(np.array([-50.0, 0.0, 50.0]), 1.4, 7.3)
    assert ends == pytest.approx([0, 0.5, 1])


def test_across_boxes_are_exact_on_a_ramp() -> None:
    """The mean of a ramp over a box is its value at the middle (to the cells' steps)."""
    cells = np.arange(300, dtype=np.float32)[np.newaxis, :] + np.zeros((4, 1), np.float32)
    centres = np.sort(np.random.default_rng(2).uniform(15, 25, 90))
    found = across_boxes(cells, centres, np.full(90, 1.0), 10.0, 0.1)
    assert found[0] == pytest.approx((centres - 10) / 0.1 - 0.5, abs=0.06)
