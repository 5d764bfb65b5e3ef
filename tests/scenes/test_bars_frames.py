"""Bars against brute force: an indicator function sampled in time and space."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from math import cos, radians, sin

import numpy as np
import pytest
from skimage.registration import phase_cross_correlation

from patterns.clip import Clip
from patterns.picture.arrays import FloatArray, UInt8Array
from patterns.picture.planes import Planes
from patterns.scenes.bars.motion import BarsMotion, Direction
from patterns.scenes.bars.pattern import BarsRenderer, edge_profile

RATES = ["24000/1001", "24", "25", "30000/1001", "30", "50", "60000/1001", "60", "120"]


def draw(clip: Clip, n: int) -> UInt8Array:
    picture = Planes.blank(clip.width, clip.height)
    BarsRenderer(clip, clip.width, clip.height).draw(n, picture)
    return picture.y


def brute_force(clip: Clip, n: int, *, times: int, places: int) -> FloatArray:
    """Luma by sampling: `times` moments of the exposure, `places` x `places` points of each pixel.

    Written from the description of the pattern alone: a point is lit by its distance
    from the middle of the nearest bar; light is averaged, then coded by BT.1886.
    """
    m = clip.motion
    assert isinstance(m, BarsMotion)
    angle = radians({"upright": 0, "level": 90, "slanted": float(m.slant_deg)}[m.direction])
    ux, uy = round(cos(angle), 15), round(sin(angle), 15)
    sub = (np.arange(places) + 0.5) / places
    x = (np.arange(clip.width)[:, None] + sub - clip.width / 2).ravel() * ux
    y = (np.arange(clip.height)[:, None] + sub - clip.height / 2).ravel() * uy
    still = y[:, None] + x[None, :] if ux and uy else (x[None, :] if ux else y[:, None])
    period, half, soft = float(m.period_px), float(m.width_px) / 2, float(m.softness_px)
    total = np.zeros(still.shape)
    for k in range(times):
        moment = n / clip.rate + clip.exposure_s * (F(2 * k + 1, 2 * times) - F(1, 2))
        along = still - float(m.speed_px_s * moment)
        away = np.abs((along + period / 2) % period - period / 2)
        total += np.clip((half - away) / soft + 0.5, 0, 1) if soft else away < half
    share = total / times
    rows, columns = (s // places if s > 1 else 1 for s in share.shape)
    share = share.reshape(rows, -1, columns, share.shape[1] // columns).mean(axis=(1, 3))
    light = m.dark + (m.light - m.dark) * share
    return np.broadcast_to(16 + 219 * light ** (1 / 2.4), (clip.height, clip.width))


def a_clip(motion: BarsMotion, rate: str = "24", shutter: int = 180) -> Clip:
    return Clip(motion, F(rate), F(shutter, 360) / F(rate), 192, 128)


@pytest.mark.parametrize("shutter", [0, 90, 180, 360])
@pytest.mark.parametrize("direction", ["upright", "level"])
@pytest.mark.parametrize("softness", [F(0), F(5, 2)])
def test_straight_bars_match_brute_force_within_one_code(
    shutter: int, direction: Direction, softness: F
) -> None:
    motion = BarsMotion(F(128), F(48), F(16), direction, softness_px=softness)
    clip = a_clip(motion, "24000/1001", shutter)
    places = 32 if shutter else 768  # a still edge has only the places to average over
    for n in (0, 23, 60_001):
        expected = brute_force(clip, n, times=256 if shutter else 1, places=places)
        difference = np.abs(draw(clip, n) - expected)
        assert difference.max() <= 1, (n, difference.max())


@pytest.mark.parametrize(("shutter", "slant"), [(0, "30"), (180, "-70"), (360, "45")])
def test_slanted_bars_match_brute_force_within_one_code(shutter: int, slant: str) -> None:
    motion = BarsMotion(F(300), F(40), F(14), direction="slanted", slant_deg=F(slant))
    clip = replace(a_clip(motion, "30", shutter), width=128, height=128)
    # Sampling a still edge leaves an error of its own: many points a pixel, one moment.
    expected = brute_force(clip, 5, times=256 if shutter else 1, places=4 if shutter else 40)
    difference = np.abs(draw(clip, 5) - expected)
    assert difference.max() <= (1.0 if shutter else 1.5)
    assert np.mean(difference > 1) < 0.001


def test_blur_longer_than_a_period_is_an_even_grey_where_it_holds_whole_periods() -> None:
    motion = BarsMotion(F(24 * 80), F(40), F(10), light=0.8, dark=0.0)
    codes = draw(a_clip(motion, "24", 360), 3)
    # A quarter of 0.8 is light 0.2: code 16 + 219 * 0.2^(1/2.4), by BT.1886.
    assert set(np.unique(codes)) == {round(16 + 219 * 0.2 ** (1 / 2.4))}


@pytest.mark.parametrize("rate", RATES)
def test_motion_between_frames_is_speed_over_rate(rate: str) -> None:
    """Measured by phase correlation (scikit-image), an independent method."""
    motion = BarsMotion(F(128), F(64), F(64, 3), softness_px=F(8))
    clip = replace(a_clip(motion, rate), width=256)
    # Four bars have few frequencies, so the correlation is not whitened (that would weigh
    # the rounding of the empty ones as much as the signal).
    moved, _, _ = phase_cross_correlation(
        draw(clip, 11)[:8].astype(float),
        draw(clip, 10)[:8].astype(float),
        upsample_factor=100,
        normalization=None,
    )
    assert moved[1] == pytest.approx(float(motion.speed_px_s / clip.rate), abs=0.05)


@pytest.mark.parametrize("rate", RATES)
def test_blur_width_is_speed_times_exposure(rate: str) -> None:
    """A sharp edge becomes a ramp, in light, of width speed x exposure (plus its pixel)."""
    motion = BarsMotion(F(600), F(192), F(96), light=1.0, dark=0.0)
    clip = a_clip(motion, rate, 180)
    light = ((draw(clip, 0)[0].astype(float) - 16) / 219) ** 2.4
    steepest = np.abs(np.diff(light)).max()
    blur_px = float(motion.speed_px_s * clip.exposure_s)
    # The slope is read in 8-bit codes: half a code at mid grey is about a hundredth of light.
    expected = 1 / max(blur_px, 1)
    assert steepest == pytest.approx(expected, abs=0.012 if blur_px > 2 else 0.05)


def test_edge_profile_is_the_distribution_of_a_sum_of_uniforms() -> None:
    """Against SciPy: the convolution of uniform densities, integrated numerically."""
    from scipy.stats import uniform  # takes a second to load

    step = 1e-3
    x = np.arange(-6, 6, step)
    density = uniform.pdf(x, -1.5, 3)
    for width in (2.0, 0.7, 1.0):
        density = np.convolve(density, uniform.pdf(x, -width / 2, width), "same") * step
    expected = np.cumsum(density) * step
    found = edge_profile(x, (3.0, 2.0, 0.7, 1.0))
    assert np.abs(found - expected).max() < 3e-3


def test_edge_profile_without_boxes_is_a_step() -> None:
    assert edge_profile([-0.1, 0.0, 0.1], ()).tolist() == [0, 1, 1]


@pytest.mark.parametrize("direction", ["upright", "level", "slanted"])
def test_whatever_a_picture_held_is_drawn_over(direction: str) -> None:
    motion = BarsMotion(F(300), F(40), F(14), direction=direction, slant_deg=F(30))  # type: ignore[arg-type]
    clip = a_clip(motion)
    renderer, picture = (
        BarsRenderer(clip, clip.width, clip.height),
        Planes.blank(clip.width, clip.height),
    )
    picture.cb[:] = picture.cr[:] = 0
    for n in (11, 12, 300):
        renderer.draw(n, picture)
        assert (picture.y == draw(clip, n)).all()
        assert set(np.unique([picture.cb, picture.cr])) == {128}
