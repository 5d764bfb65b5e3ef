"""Sums of areas against SciPy; limits against WCAG technique G176."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from patterns.safety.flash_rule import screen_rule, visual_field_rule
from patterns.safety.viewing import Grid, Viewing

# Distance at which the 10 degree block is 256 of 768 pixels high.
G176_DISTANCE = 256 / 768 / 0.1309


def test_g176_block_and_small_area() -> None:
    """WCAG technique G176: 341 x 256 pixels at 1024 x 768; a quarter of it, 21,824 pixels."""
    viewing = Viewing(distance_heights=G176_DISTANCE)
    width, height = (side * 768 for side in viewing.block_heights)
    assert (width, height) == pytest.approx((341, 256), abs=0.5)
    share = visual_field_rule(Grid.of(1024, 768), viewing).limit_share
    assert share * 1024 * 768 == pytest.approx(21_824, rel=1e-3)
    assert share == pytest.approx(0.02775, rel=1e-3)  # computed


def test_small_area_is_0_006_steradian() -> None:
    """WCAG 2.2: the quarter block is 0.006 sr; 0.1745 x 0.1309 / 4 is 0.0057."""
    for distance in (1.5, 3, 6):
        viewing = Viewing(distance_heights=distance)
        share = visual_field_rule(Grid.of(1920, 1080), viewing).limit_share
        assert viewing.solid_angle_sr(share, 1920, 1080) == pytest.approx(0.006, rel=0.05)


def test_areas_are_summed_within_the_field() -> None:
    """Against SciPy's moving mean over the whole field."""
    grid = Grid.of(1024, 768)
    rule = visual_field_rule(grid, Viewing(distance_heights=G176_DISTANCE))
    assert rule.field == (40, 53)  # 256 and 341 of 768 and 1024, in cells
    rng = np.random.default_rng(5)
    for density in (0.05, 0.5, 0.95):
        mask = rng.random((grid.rows, grid.columns)) < density
        means = ndimage.uniform_filter(mask.astype(float), rule.field, mode="constant")
        assert rule.largest(mask) == round(means.max() * 40 * 53)
    band = np.zeros((grid.rows, grid.columns), np.bool_)
    band[10:20:2] = True
    assert rule.largest(band) == 5 * 53


def test_the_screen_rule_is_a_quarter_of_all_cells() -> None:
    rule = screen_rule(Grid(90, 160))
    assert rule.limit_cells == 3600
    mask = np.zeros((90, 160), np.bool_)
    mask[::2] = True
    assert rule.largest(mask) == mask.sum()
