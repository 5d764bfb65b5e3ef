"""Reduced luminance against published values and reference libraries."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.color import rgb2gray, rgb2xyz

from patterns.picture.planes import Planes, srgb_to_light
from patterns.safety.luminance import Reducer
from patterns.safety.viewing import Grid, Viewing
from tests.safety.sequences import reduced

# IEC 61966-2-1, as WCAG 2.2 quotes it; values computed from it.
SRGB = {10: 0.003035, 11: 0.003347, 89: 0.099899, 90: 0.102242, 128: 0.215861, 188: 0.502886}


@pytest.mark.parametrize(("code", "light"), SRGB.items())
def test_srgb_to_light_gives_the_published_values(code: int, light: float) -> None:
    assert float(srgb_to_light(code / 255)) == pytest.approx(light, abs=1e-6)


def test_relative_luminance_agrees_with_a_reference_library() -> None:
    """scikit-image's XYZ uses other digits of the same matrix: Y within 2e-4."""
    rng = np.random.default_rng(3)
    for code in rng.integers(0, 256, (20, 3)):
        picture = np.broadcast_to(code.astype(np.uint8), (90, 160, 3)).copy()
        small = reduced(Reducer(160, 90, Viewing()), picture)
        y = rgb2xyz(code.reshape(1, 1, 3) / 255)[0, 0, 1]
        assert float(small.relative[0, 0]) == pytest.approx(y, abs=2e-4)
    assert rgb2gray(np.ones((1, 1, 3)))[0, 0] == pytest.approx(1)


# BT.1886 with Lw = 100, Lb = 0 (computed): V = 0.25, 0.5, 0.75. Here Lw = 200.
@pytest.mark.parametrize(("signal", "cd"), [(0.25, 3.58968), (0.5, 18.94646), (0.75, 50.13569)])
def test_screen_luminance_is_that_of_bt1886(signal: float, cd: float) -> None:
    frame = Planes.blank(480, 270)
    code = 16 + round(219 * signal)
    frame.y[:] = code
    exact = 2 * cd * ((code - 16) / 219 / signal) ** 2.4
    small = reduced(Reducer(480, 270, Viewing()), frame)
    assert float(small.screen[3, 4]) == pytest.approx(exact, rel=2e-3)


# BT.709 colour bars, 8-bit Y, Cb, Cr (computed, and as in a test chart's 100 % table).
BARS = {
    (255, 255, 255): (235, 128, 128),
    (255, 255, 0): (219, 16, 138),
    (0, 255, 255): (188, 154, 16),
    (0, 255, 0): (173, 42, 26),
    (255, 0, 255): (78, 214, 230),
    (255, 0, 0): (63, 102, 240),
    (0, 0, 255): (32, 240, 118),
    (0, 0, 0): (16, 128, 128),
}


@pytest.mark.parametrize("quick", [False, True])
@pytest.mark.parametrize(("rgb", "codes"), BARS.items())
def test_planes_of_colour_bars_are_their_colours(
    rgb: tuple[int, int, int], codes: tuple[int, int, int], quick: bool
) -> None:
    frame = Planes.blank(960, 540)
    frame.y[:], frame.cb[:], frame.cr[:] = codes
    small = reduced(Reducer(960, 540, Viewing(), quick=quick), frame)
    assert np.abs(small.picture()[0, 0].astype(int) - rgb).max() <= 2  # eight bits
    light = srgb_to_light(np.array(rgb) / 255)
    expected = float(light @ [0.2126, 0.7152, 0.0722])
    assert float(small.relative[1, 1]) == pytest.approx(expected, abs=0.006)


def test_a_cell_holds_the_mean_of_light_not_of_signal() -> None:
    """Half white, half black within a cell is 0.5 of white's light, on fine cells."""
    picture = np.zeros((270, 480, 3), np.uint8)
    picture[:, 1::3] = 255
    relative = reduced(Reducer(480, 270, Viewing()), picture).relative
    assert relative == pytest.approx(np.full((90, 160), 1 / 3), abs=1e-5)


@pytest.mark.parametrize("quick", [False, True])
def test_a_frame_keeps_nothing_of_the_one_before(quick: bool) -> None:
    """A reducer works in the same memory for every frame, coloured, grey, planes or R'G'B'."""
    red, grey = Planes.blank(480, 270), Planes.blank(480, 270)
    red.y[:], red.cb[:], red.cr[:] = BARS[255, 0, 0]
    grey.y[:] = 126
    picture = np.full((270, 480, 3), (200, 100, 50), np.uint8)
    used = Reducer(480, 270, Viewing(), quick=quick)
    for frame in (red, grey, picture, picture[..., :1].repeat(3, 2), red, picture, grey):
        after = reduced(used, frame)
        alone = reduced(Reducer(480, 270, Viewing(), quick=quick), frame)
        assert (after.relative == alone.relative).all()
        assert (after.screen_fine == alone.screen_fine).all()
        assert (after.picture() == alone.picture()).all()


@pytest.mark.parametrize(
    ("size", "grid"),
    [((1920, 1080), (90, 160)), ((1080, 1920), (160, 90)), ((1024, 768), (120, 160))],
)
def test_cells_are_square(size: tuple[int, int], grid: tuple[int, int]) -> None:
    made = Grid.of(*size)
    assert (made.rows, made.columns) == grid
