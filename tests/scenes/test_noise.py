"""Scattered crowns against one crown at a time, written out."""

from __future__ import annotations

import numpy as np
import pytest

from patterns.scenes.ground.noise import crowns


@pytest.mark.parametrize(("size", "spacing", "radius"), [(96, 13.75, 9.1), (64, 5.0, 3.3)])
def test_each_sample_has_the_highest_dome_over_it(size: int, spacing: float, radius: float) -> None:
    """Distances to a centre are the shortest round the edges of the periodic square."""
    for seed in range(3):
        found = crowns(np.random.default_rng(seed), size, spacing, radius)
        rng = np.random.default_rng(seed)
        cells = round(size / spacing)
        jitter, draws = rng.random((cells * cells, 2)), rng.random(cells * cells)
        highest = np.zeros((size, size))
        for number, (jitter_x, jitter_y) in enumerate(jitter):
            row, column = divmod(number, cells)
            scale = 0.33 + 0.67 * draws[number] ** 1.5
            x, y = (row + jitter_x) * size / cells, (column + jitter_y) * size / cells
            away_x, away_y = (
                (np.arange(size) - centre + size / 2) % size - size / 2 for centre in (x, y)
            )
            squared = away_x[:, None] ** 2 + away_y[None, :] ** 2
            dome = scale * (1 - squared / (radius * scale) ** 2)
            highest = np.maximum(highest, dome)
        assert np.abs(found - highest).max() < 1e-5
        assert found.max() > 0.7


def test_fields_depend_on_the_generator_alone() -> None:
    first, again, other = (
        crowns(np.random.default_rng(seed), 64, 5.0, 3.3).tobytes() for seed in (7, 7, 8)
    )
    assert first == again
    assert first != other
