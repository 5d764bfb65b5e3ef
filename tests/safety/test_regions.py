"""Connected regions against SciPy; areas against WCAG technique G176."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from patterns.safety.luminance import Grid
from patterns.safety.regions import AreaRule, label, screen_rule, visual_field_rule
from patterns.safety.viewing import Viewing


@pytest.mark.parametrize("density", [0.05, 0.2, 0.4, 0.5, 0.6, 0.9])
def test_regions_are_those_of_scipy(density: float) -> None:
    rng = np.random.default_rng(round(density * 100))
    for _ in range(5):
        mask = rng.random((37, 53)) < density
        ours = label(mask)
        theirs, count = ndimage.label(mask, structure=np.ones((3, 3)))
        assert ours.max() == count
        pairs = {(a, b) for a, b in zip(ours.ravel(), theirs.ravel(), strict=True)}
        assert len(pairs) == count + 1  # one of ours for each of theirs, background included


def test_nothing_and_everything() -> None:
    assert label(np.zeros((4, 5), np.bool_)).max() == 0
    assert (label(np.ones((4, 5), np.bool_)) == 1).all()


# Distance at which the 10 degree block is 256 of 768 pixels high.
G176_DISTANCE = 256 / 768 / 0.1309


def test_g176_block_and_small_area() -> None:
    """WCAG technique G176: 341 x 256 pixels at 1024 x 768; a quarter of it, 21,824 pixels."""
    viewing = Viewing(distance_heights=G176_DISTANCE)
    width, height = (side * 768 for side in viewing.block_heights)
    assert (width, height) == pytest.approx((341, 256), abs=0.5)
    share = viewing.small_area_share(1024, 768)
    assert share * 1024 * 768 == pytest.approx(21_824, rel=1e-3)
    assert share == pytest.approx(0.02775, rel=1e-3)  # computed


def test_small_area_is_0_006_steradian() -> None:
    """WCAG 2.2: the quarter block is 0.006 sr; 0.1745 x 0.1309 / 4 is 0.0057."""
    for distance in (1.5, 3, 6):
        viewing = Viewing(distance_heights=distance)
        share = viewing.small_area_share(1920, 1080)
        assert viewing.solid_angle_sr(share, 1920, 1080) == pytest.approx(0.006, rel=0.05)


def test_a_region_is_measured_within_the_field() -> None:
    grid = Grid.of(1024, 768)
    rule = visual_field_rule(grid, Viewing(distance_heights=G176_DISTANCE))
    assert rule.window == (40, 53)  # 256 and 341 of 768 and 1024, in cells
    band = np.zeros((grid.rows, grid.columns), np.bool_)
    band[10:16] = True
    size, region = rule.largest(band)
    assert size == 6 * 53
    assert (region == band).all()


def test_the_screen_rule_is_a_quarter() -> None:
    assert screen_rule(Grid(90, 160)).limit_cells == 3600


def test_the_largest_region_wins_over_the_sum() -> None:
    mask = np.zeros((10, 20), np.bool_)
    mask[:, :6] = mask[:, 11:18] = True
    rule = AreaRule(50, None, 200)
    size, region = rule.largest(mask)
    assert size == 70
    assert region[:, 11:18].all()
    assert not region[:, :6].any()
    assert rule.combined(mask) == 130


@pytest.mark.parametrize(("gap", "size"), [(4, 40), (5, 20)])
def test_areas_a_few_cells_apart_are_one(gap: int, size: int) -> None:
    mask = np.zeros((10, 20), np.bool_)
    mask[:, :2] = mask[:, 2 + gap : 4 + gap] = True
    assert AreaRule(10, None, 200).largest(mask)[0] == size
