"""The country: deterministic, without seams, and the same whatever the footprint."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from patterns.picture.arrays import Float32Array, FloatingArray
from patterns.scenes.ground.country import Country
from patterns.scenes.ground.field import Field, GridAxis, GridSampler
from patterns.scenes.ground.noise import between, fractal, shifted


@pytest.fixture(scope="module")
def country() -> Country:
    return Country(1)


def light(country: Country, x_m: FloatingArray, y_m: FloatingArray, texel_m: float) -> Float32Array:
    """Light (3, x, y) over squares."""
    first, second = (GridAxis(np.asarray(m, np.float64), texel_m) for m in (x_m, y_m))
    return country.view(first, second)


def test_light_is_linear_rgb_of_every_place(country: Country) -> None:
    drawn = light(country, np.arange(5.0), np.arange(7.0), 0.1)
    assert drawn.shape == (3, 5, 7)
    assert drawn.dtype == np.float32
    assert (drawn > 0).all()
    assert (drawn < 1).all()


def test_one_seed_is_one_country_and_another_seed_another(country: Country) -> None:
    places = np.linspace(0, 900, 60)
    here = light(country, places, places, 0.5)
    assert (light(Country(1), places, places, 0.5) == here).all()
    assert np.abs(light(Country(2), places, places, 0.5) - here).mean() > 0.02


@pytest.mark.parametrize("texel_m", [0.02, 0.5, 8.0])
def test_the_country_repeats_after_its_period_both_ways(country: Country, texel_m: float) -> None:
    for x, y in np.random.default_rng(3).uniform(0, 2048, (8, 2)):
        xs, ys = (at + texel_m * np.arange(20) for at in (x, y))
        here = light(country, xs, ys, texel_m)
        for dx, dy in ((2048, 0), (0, -2048), (4096, 2048)):
            # Drilled rows are reckoned in float32: a rounding of 1e-4 m is allowed to show.
            there = light(country, xs + dx, ys + dy, texel_m)
            assert np.abs(there - here).max() < 0.02


def test_no_seam_where_the_period_closes(country: Country) -> None:
    step = 0.5
    green = light(country, 2048 + np.arange(-40, 40) * step, np.arange(600) * step, step)[1]
    jumps = np.abs(np.diff(green, axis=0)).mean(1)
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
        wide = light(country, x0 + coarse, y0 + coarse, texel_m)
        close = light(country, x0 + fine, y0 + fine, texel_m / 4)
        assert np.allclose(wide.mean((1, 2)), close.mean((1, 2)), rtol=0.08)


def test_a_grid_reads_a_field_as_scipy_interpolates_it() -> None:
    """Footprints smaller than a sample: `map_coordinates` of SciPy, linear, periodic."""
    fields = np.stack([fractal(np.random.default_rng(k), 64, 32, 4, 1.0) for k in (5, 6)])
    field = Field(fields, 0.5)
    first = GridAxis.even(-3.3, 0.13, 40, 0.13)
    second = GridAxis.even(61.0, 0.17, 30, 0.17)
    places = np.meshgrid(first.places / 0.5, second.places / 0.5, indexing="ij")
    for values, tile in zip(GridSampler(first, second).read(field), fields, strict=True):
        want = map_coordinates(tile, places, order=1, mode="grid-wrap")
        assert np.allclose(values, want, atol=1e-5)
        assert np.allclose(between(tile, *places), want, atol=1e-5)
    turned = GridSampler(second, first, turned=True).read(field)
    assert np.allclose(np.swapaxes(turned, 1, 2), GridSampler(first, second).read(field), atol=1e-5)


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
