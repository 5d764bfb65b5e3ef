"""The country: deterministic, without seams, and the same whatever the footprint."""

from __future__ import annotations

import numpy as np
import pytest

from patterns.scenes.ground.country import Country
from patterns.scenes.ground.field import Field, GridAxis
from patterns.scenes.ground.noise import fractal, shifted
from patterns.scenes.ground.sampling import GridSampler, PointSampler


@pytest.fixture(scope="module")
def country() -> Country:
    return Country(1)


def test_light_is_linear_rgb_of_the_broadcast_shape(country: Country) -> None:
    light = country.light(np.arange(5.0)[:, None], np.arange(7.0)[None, :], 0.1)
    assert light.shape == (5, 7, 3)
    assert light.dtype == np.float32
    assert (light > 0).all()
    assert (light < 1).all()


def test_one_seed_is_one_country_and_another_seed_another(country: Country) -> None:
    x, y = np.meshgrid(np.linspace(0, 900, 60), np.linspace(0, 900, 60))
    here = country.light(x, y, 0.5)
    assert (Country(1).light(x, y, 0.5) == here).all()
    assert np.abs(Country(2).light(x, y, 0.5) - here).mean() > 0.02


@pytest.mark.parametrize("texel_m", [0.02, 0.5, 8.0])
def test_the_country_repeats_after_its_period_both_ways(country: Country, texel_m: float) -> None:
    rng = np.random.default_rng(3)
    x, y = rng.uniform(0, 4096, (2, 800))
    here = country.light(x, y, texel_m)
    for dx, dy in ((4096, 0), (0, -4096), (8192, 4096)):
        # Drilled rows are reckoned in float32: a rounding of 1e-4 m is allowed to show.
        there = country.light(x + dx, y + dy, texel_m)
        assert np.abs(there - here).max() < 0.02


def test_no_seam_where_the_period_closes(country: Country) -> None:
    step = 0.5
    x = 4096 + np.arange(-40, 40) * step
    y = np.arange(600) * step
    light = country.light(x[:, None], y[None, :], step)[..., 1]
    jumps = np.abs(np.diff(light, axis=0)).mean(1)
    assert jumps[39] < 3 * np.median(jumps)


@pytest.mark.parametrize("texel_m", [0.25, 1.0])
def test_a_footprint_holds_the_mean_of_the_finer_light_in_it(
    country: Country, texel_m: float
) -> None:
    """Averaged over footprints the light must not drift with their size (no source: ours)."""
    side = 64.0
    coarse = texel_m * (np.arange(round(side / texel_m)) + 0.5)
    fine = texel_m / 4 * (np.arange(round(4 * side / texel_m)) + 0.5)
    for x0, y0 in ((700, 450), (60, 1000)):
        wide = country.light(x0 + coarse[:, None], y0 + coarse[None, :], texel_m)
        close = country.light(x0 + fine[:, None], y0 + fine[None, :], texel_m / 4)
        assert np.allclose(wide.mean((0, 1)), close.mean((0, 1)), rtol=0.08)


def test_grid_and_points_read_the_same_field() -> None:
    field = Field(fractal(np.random.default_rng(5), 64, 32, 4, 1.0), 0.5)
    first = GridAxis.even(-3.3, 0.13, 40, 0.13)
    second = GridAxis.even(61.0, 0.17, 30, 0.17)
    points = PointSampler(first.places[:, None], second.places[None, :], 0.1).read(field)
    assert np.allclose(GridSampler(first, second).read(field), points, atol=1e-5)
    turned = GridSampler(second, first, turned=True).read(field)
    assert np.allclose(turned.T, points, atol=1e-5)


def test_wide_boxes_are_exact_averages_across_the_edge() -> None:
    rng = np.random.default_rng(6)
    values = rng.standard_normal((16, 16)).astype(np.float32)
    axis = GridAxis(np.array([14.5, 15.5]), 5.0)
    point = GridAxis(np.array([3.0]), 1.0)
    read = GridSampler(axis, point).read(Field(values, 1.0))[:, 0]
    # Five whole cells about 14.5: half of 12, all of 13 to 16 (that is 0), half of 17 (1).
    ring = values[:, 3]
    want = (ring[12] / 2 + ring[13] + ring[14] + ring[15] + ring[0] + ring[1] / 2) / 5
    assert read[0] == pytest.approx(want, abs=1e-5)


def test_a_whole_shift_is_a_roll() -> None:
    field = np.random.default_rng(7).random((8, 8)).astype(np.float32)
    assert (shifted(field, 3, -2) == np.roll(field, (3, -2), (0, 1))).all()
    half = shifted(field, 0.5, 0)
    assert np.allclose(half, (field + np.roll(field, 1, 0)) / 2)
