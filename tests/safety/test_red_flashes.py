"""Red flashes by the current and by the older rule, just below and just above the limits."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.color import rgb2xyz

from patterns.picture.arrays import Float32Array
from patterns.picture.planes import srgb_to_light
from patterns.safety.flashes import (
    SATURATED,
    OlderRedSwings,
    RedSwings,
    chromaticity,
    may_be_saturated,
    red_ratio,
)
from tests.safety.sequences import (
    BT1702,
    BT1702_RED,
    OLDER,
    WCAG,
    WCAG_RED,
    alternate,
    flash,
    flat,
    run,
)


def test_chromaticity_of_red_and_white() -> None:
    """Computed: red (0.4507, 0.5229), D65 (0.1978, 0.4683), 0.2587 apart."""
    red, white = (np.hstack(chromaticity(np.array([c]))) for c in ([1, 0, 0], [1, 1, 1]))
    assert red == pytest.approx([0.4507, 0.5229], abs=1e-4)
    assert white == pytest.approx([0.1978, 0.4683], abs=1e-4)
    assert np.hypot(*(red - white)) == pytest.approx(0.2587, abs=1e-4)


def test_chromaticity_agrees_with_a_reference_library() -> None:
    rng = np.random.default_rng(5)
    codes = rng.integers(40, 256, (50, 3))
    x, y, z = rgb2xyz((codes / 255)[np.newaxis])[0].T
    bottom = x + 15 * y + 3 * z
    u, v = chromaticity(srgb_to_light(codes / 255))
    assert u == pytest.approx(4 * x / bottom, abs=2e-4)
    assert v == pytest.approx(9 * y / bottom, abs=2e-4)


def test_the_quick_look_misses_no_saturated_red_and_passes_over_black() -> None:
    light = np.random.default_rng(6).random((20_000, 3)).astype(np.float32) ** 6
    light[::2] *= np.float32(0.01)
    red = red_ratio(light) >= SATURATED
    assert 100 < red.sum() < len(light) / 2
    assert all(may_be_saturated(place) for place in light[red][:, np.newaxis])
    darkest_red = light[red & (light.sum(axis=1) < 0.01)]
    assert len(darkest_red)
    assert not may_be_saturated(np.array([[0.0039, 0, 0], [0.0005, 0, 0]], np.float32))


def test_ratio_of_black_is_zero() -> None:
    assert red_ratio(np.array([[0.0, 0, 0], [1, 0, 0], [0.8, 0.1, 0.1]])) == pytest.approx(
        [0, 1, 0.8]
    )


def _count(colours: list[tuple[float, float, float]], swings: RedSwings | OlderRedSwings) -> int:
    total = 0
    for colour in colours:
        to_red, from_red = swings.see(np.array(colour, np.float32).reshape(1, 1, 3))
        total += int(to_red[0, 0]) + int(from_red[0, 0])
    return total


WHITE, RED, BLACK = (1.0, 1.0, 1.0), (1.0, 0.0, 0.0), (0.0, 0.0, 0.0)


@pytest.mark.parametrize(
    ("colours", "changes"),
    [
        ([WHITE, RED, WHITE, RED], 3),
        ([BLACK, RED, BLACK], 2),
        # R / (R + G + B) of 0.805 and 0.795, from cyan: far more than 0.2 apart
        ([(0, 1, 1), (0.805, 0.0975, 0.0975), (0, 1, 1)], 2),
        ([(0, 1, 1), (0.795, 0.1025, 0.1025), (0, 1, 1)], 0),
        # the same red from a colour less than 0.2 away in u'v'
        ([(0.7, 0.3, 0.0), RED, (0.7, 0.3, 0.0)], 0),
        # a slow change adds up
        ([(1.0, 1 - k / 40, 1 - k / 40) for k in range(41)], 1),
    ],
)
def test_current_rule(colours: list[tuple[float, float, float]], changes: int) -> None:
    assert _count(colours, RedSwings()) == changes


def _uv(colour: tuple[float, float, float]) -> Float32Array:
    return np.hstack(chromaticity(np.array([colour])))


@pytest.mark.parametrize(("distance", "changes"), [(0.199, 0), (0.201, 2)])
def test_the_step_in_chromaticity(distance: float, changes: int) -> None:
    """From red towards white until just below and just above 0.2 in u'v' (WCAG 2.2)."""
    mixes = [(1.0, m, m) for m in np.linspace(0, 1, 20_001)]
    apart = [np.hypot(*(_uv(m) - _uv(RED))) for m in mixes[::20]]
    other = mixes[20 * int(np.searchsorted(apart, distance))]
    assert red_ratio([other])[0] < 0.8
    assert _count([other, RED, other], RedSwings()) == changes


@pytest.mark.parametrize(
    ("colours", "changes"),
    [
        # (R - G - B) x 320 of 20.2 and 19.8, from black; the ratio is 1
        ([BLACK, (20.2 / 320, 0, 0), BLACK], 2),
        ([BLACK, (19.8 / 320, 0, 0), BLACK], 0),
        # ratio 0.81 and 0.79 at full strength
        ([BLACK, (0.81, 0.19, 0), BLACK], 2),
        ([BLACK, (0.79, 0.21, 0), BLACK], 0),
        # negative values are zero: from cyan it is as from black
        ([(0, 1, 1), (19.8 / 320, 0, 0), (0, 1, 1)], 0),
    ],
)
def test_older_rule(colours: list[tuple[float, float, float]], changes: int) -> None:
    """Text of WCAG 2.0 to an earlier 2.2 draft (an older commit of its source)."""
    assert _count(colours, OlderRedSwings()) == changes


@pytest.mark.parametrize(("hold", "fails"), [(3, True), (4, False)])
def test_red_and_grey_of_one_luminance(hold: int, fails: bool) -> None:
    """Red of relative luminance 0.2126 and its grey, code 127: no general flash, but a red one."""
    report = run(alternate(flat((255, 0, 0)), flat(127), hold, 48), 24)
    for word in (WCAG, BT1702):
        assert not flash(report, word).exceeds
        assert flash(report, word).flashes_per_s == 0
    for word in (WCAG_RED, BT1702_RED, OLDER):
        assert flash(report, word).exceeds == fails
    assert report.passes != fails


def test_the_older_rule_is_an_extra() -> None:
    """Strong red and weak red have one chromaticity: only the older rule minds."""
    report = run(alternate(flat((255, 0, 0)), flat((150, 0, 0)), 3, 48), 24)
    assert flash(report, OLDER).exceeds
    assert flash(report, OLDER).extra
    assert not flash(report, WCAG_RED).exceeds
    assert "older" not in " ".join(report.exceeded)


def test_grey_between_reds_is_seen() -> None:
    """Grey frames take a shorter way through the check; it must not lose a change."""
    red, white = flat((255, 0, 0)), flat((255, 255, 255))
    for frames, changes in (([red, white, white, red, white], 3), ([white, white, red, white], 2)):
        assert flash(run(frames, 24), WCAG_RED).flashes_per_s == changes / 2
