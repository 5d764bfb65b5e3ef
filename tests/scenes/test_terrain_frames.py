"""Frames of flights: against brute force, motion by phase correlation, loop, determinism."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import cos, radians, sin

import numpy as np
import pytest
from skimage.registration import phase_cross_correlation

from patterns.clip import Clip
from patterns.picture.arrays import Float32Array, FloatArray, UInt8Array
from patterns.picture.planes import Planes, codes_of_light
from patterns.scenes.ground.country import Country
from patterns.scenes.ground.field import GridAxis
from patterns.scenes.ground.palette import hazed, transmittance
from patterns.scenes.motion import focal_px
from patterns.scenes.terrain.levels import APERTURE, Band, LineLevel, LinePlane, bands
from patterns.scenes.terrain.motion import Rays, TerrainMotion
from patterns.scenes.terrain.renderer import VISIBLE, TerrainRenderer
from patterns.scenes.terrain.rows import RowLevel, RowPlane
from patterns.scenes.terrain.texels import box_blur, box_margin
from tests.scenes.interrupted import interrupt, same

WIDTH, HEIGHT = 480, 270
SMALL = (192, 108)  # where frames are only compared with each other


def clip(motion: TerrainMotion, rate: Fraction = Fraction(24), angle: int = 180) -> Clip:
    return Clip(motion, rate, Fraction(angle, 360) / rate, WIDTH, HEIGHT, strip="none")


def frame(renderer: TerrainRenderer, n: int, width: int = WIDTH, height: int = HEIGHT) -> Planes:
    picture = Planes.blank(width, height)
    renderer.draw(n, picture)
    return picture


@pytest.fixture(scope="module")
def country() -> Country:
    return Country(1)


def brute(samples: Float32Array, places: FloatArray) -> Float32Array:
    """Mean of light (3, n) at places between its samples, linear between them."""
    whole = np.floor(places).astype(int)
    part = (places - whole).astype(np.float32)
    light = samples[:, whole] * (1 - part) + samples[:, whole + 1] * part
    return np.asarray(light.mean(-1))


def moments(exposure: float, aperture: float) -> FloatArray:
    """Offsets of 320 sub-frames times 8 places in a pixel's aperture, in samples."""
    sub_frames = exposure * ((np.arange(320) + 0.5) / 320 - 0.5)
    inside = aperture * ((np.arange(8) + 0.5) / 8 - 0.5)
    return np.asarray((sub_frames[:, None] + inside[None, :]).ravel())


def codes_through_air(light: Float32Array, rays: Rays, row: int) -> Float32Array:
    through = float(transmittance(rays.range_m[row : row + 1])[0])
    return np.asarray(codes_of_light(hazed(light, through), colour=False)[0])


def both_rays(motion: TerrainMotion) -> tuple[Rays, Rays]:
    """Rays of luma and of chroma."""
    return Rays(motion, WIDTH, HEIGHT, 1), Rays(motion, WIDTH, HEIGHT, 2)


def assert_close(off: list[Float32Array]) -> None:
    """Within 2 codes, but for 6 % of the samples, and nearly all of these within 7; no bias."""
    signed = np.concatenate(off)
    error = np.abs(signed)
    assert abs(signed.mean()) < 0.1
    assert error.mean() < 0.75  # of which rounding alone is 0.25
    assert (error > 2).mean() <= 0.06
    assert np.quantile(error, 0.999) < 7


def levels_of(rays: Rays, chroma: Rays) -> list[tuple[int, int]]:
    """Rows of chroma of each level, the farthest first, as the renderer has them."""
    seen = transmittance(rays.range_m) > VISIBLE
    return bands(chroma.sample_ahead_m, np.flatnonzero(seen[::2] & seen[1::2]))


@pytest.mark.parametrize("angle", [0, 180, 360])
@pytest.mark.parametrize(
    ("flight", "which"),
    [("forward", 6), ("forward", -9), ("forward", -5), ("forward", -2), ("down", 0)],
)
def test_level_against_averaged_sub_frames(
    country: Country, flight: str, which: int, angle: int
) -> None:
    """320 sub-frames of the country, four times as fine along the flight as a pixel.

    A few samples differ by more than 2 codes, at the edges of materials: noise makes them ragged,
    more finely than the two lines a pixel that are drawn far away (one a pixel near the camera)
    can follow. How many depends on the place: 0.1 to 7 % in three levels at twelve places.
    """
    motion = TerrainMotion(flight)  # type: ignore[arg-type]
    rays, chroma = both_rays(motion)
    blur_m = 10 / 24 * angle / 360
    top, bottom = levels_of(rays, chroma)[which]
    level = LineLevel(Band(country, rays, chroma, (top, bottom), blur_m))
    travel = 37.123
    level.ensure(travel)
    drawn = np.zeros((HEIGHT, WIDTH), np.uint8)
    LinePlane([level], 0).draw([travel], [[drawn]])
    step = level.step_m / 4
    off = []
    for row in range(2 * top, 2 * bottom, max(1, (bottom - top) // 4)):
        place = (rays.ahead_m[row] + travel) / step
        offsets = moments(blur_m / step, 4 * APERTURE)
        first = int(np.floor(place + offsets.min())) - 2
        count = int(np.ptp(offsets)) + 8
        along = GridAxis.even(first * step, step, count, level.step_m)
        light = country.view(along, level._across)
        columns = level.columns[0][row - 2 * top]
        light = (light[..., columns // 2] + light[..., (columns + 1) // 2]) * np.float32(0.5)
        mean = np.stack(
            [brute(light[..., k], place - first + offsets) for k in range(0, WIDTH, 3)], -1
        )
        off.append(codes_through_air(mean, rays, row) - drawn[row, ::3])
    assert_close(off)


@pytest.mark.parametrize("angle", [0, 180, 360])
def test_sideways_rows_against_averaged_sub_frames(country: Country, angle: int) -> None:
    """As above; rows take their texels from a grid 0.7 pixels fine."""
    motion = TerrainMotion("sideways")
    rays, chroma = both_rays(motion)
    blur_m = 10 / 24 * angle / 360
    level = RowLevel(Band(country, rays, chroma, (100, 103), blur_m))
    travel = 37.123
    level.ensure(travel)
    drawn = np.zeros((HEIGHT, WIDTH), np.uint8)
    RowPlane([level], 0).draw([travel], [[drawn]])
    step = level.step_m / 4
    chosen = np.arange(5, WIDTH, 9)
    low = np.floor((rays.across[0] * rays.depth_m[200] + travel - blur_m) / step) - 12
    count = int((WIDTH * rays.sample_across_m[200] + 2 * blur_m) / step) + 40
    sample = float(rays.sample_across_m[205])
    along = GridAxis((low + np.arange(count)) * step, sample)
    surface = country.view(level._heading, along, turned=True)
    off = []
    for row in range(200, 206):
        places = (rays.across * rays.depth_m[row] + travel - along.places[0]) / step
        offsets = moments(blur_m / step, sample / step)
        light = surface[:, row - 200]
        mean = np.stack([brute(light, places[k] + offsets) for k in chosen], -1)
        off.append(codes_through_air(mean, rays, row) - drawn[row, chosen])
    assert_close(off)


def windowed(plane: UInt8Array) -> FloatArray:
    """Plane less its mean, faded at its edges, as phase correlation wants it."""
    fade = np.outer(np.hanning(plane.shape[0]), np.hanning(plane.shape[1]))
    return np.asarray((plane - plane.mean()) * fade)


RATES = ["24000/1001", "24", "25", "30000/1001", "30", "50", "60000/1001", "60", "120"]


@pytest.mark.parametrize(
    ("flight", "rate"),
    [*(("down", rate) for rate in RATES), *(("sideways", rate) for rate in (RATES[0], "60"))],
)
def test_motion_between_frames_by_phase_correlation(flight: str, rate: str) -> None:
    """scikit-image finds speed / rate (pinhole: focal length / height pixels a metre).

    Unnormalised: whitening would weigh the finest detail, which a pixel grid cannot hold
    without aliasing, as much as the coarse.
    """
    motion = TerrainMotion(flight, Fraction(4), pitch_deg=Fraction(90))  # type: ignore[arg-type]
    renderer = TerrainRenderer(clip(motion, Fraction(rate), 90), WIDTH, HEIGHT)
    want = 4 / float(Fraction(rate)) * focal_px(motion.hfov_deg, WIDTH) / 40
    frames = [windowed(frame(renderer, n).y) for n in (20, 21)]
    shift, _, _ = phase_cross_correlation(
        frames[1], frames[0], upsample_factor=200, normalization=None
    )
    expected = (want, 0.0) if flight == "down" else (0.0, -want)
    assert np.abs(shift - expected).max() < 0.05


def test_camera_geometry_against_the_pinhole_formula() -> None:
    """Depression of a row's ray from first principles: pitch + atan((y - cy) / f)."""
    motion = TerrainMotion(pitch_deg=Fraction(20))
    rays = Rays(motion, WIDTH, HEIGHT, 1)
    focal = focal_px(motion.hfov_deg, WIDTH)
    for row in (100, 180, 269):
        depression = radians(20) + np.arctan((row + 0.5 - HEIGHT / 2) / focal)
        assert rays.ahead_m[row] == pytest.approx(40 / np.tan(depression))
        assert rays.range_m[row] == pytest.approx(40 / sin(depression))
        along_axis = rays.ahead_m[row] * cos(radians(20)) + 40 * sin(radians(20))
        assert rays.depth_m[row] == pytest.approx(along_axis)
        step = rays.ahead_m[row - 1] - rays.ahead_m[row]
        assert rays.sample_ahead_m[row] == pytest.approx(step, rel=0.02)


def test_any_order_gives_the_same_frames() -> None:
    motion = TerrainMotion("forward", Fraction(30))
    first = TerrainRenderer(clip(motion), WIDTH, HEIGHT)
    ordered = [frame(first, n) for n in range(12)]
    other = TerrainRenderer(clip(motion), WIDTH, HEIGHT)
    for n in (11, 0, 500, 5, 3, 11):
        picture = frame(other, n)
        if n < 12:
            for name in ("y", "cb", "cr"):
                assert (getattr(picture, name) == getattr(ordered[n], name)).all()


def flight_of(name: str) -> Clip:
    """Flights that differ in how their ground is kept, and in how fast it is used up."""
    motion, rate, angle = {
        "forward": (TerrainMotion(), 24, 180),
        "down": (TerrainMotion("down", pitch_deg=Fraction(90)), 24, 180),
        "sideways": (TerrainMotion("sideways"), 24, 180),
        "still": (TerrainMotion("forward", Fraction(0)), 24, 180),
        "fast": (TerrainMotion("forward", Fraction(300), Fraction(2)), 10, 0),
        "fast down": (TerrainMotion("down", Fraction(300), Fraction(2)), 10, 0),
        "fast sideways": (TerrainMotion("sideways", Fraction(300), Fraction(2)), 10, 0),
    }[name]
    return clip(motion, Fraction(rate), angle)


@pytest.mark.parametrize(
    "name", ["forward", "down", "sideways", "still", "fast", "fast down", "fast sideways"]
)
def test_a_frame_is_the_same_after_any_others(name: str) -> None:
    """Also over the seam where the country begins again."""
    flight = flight_of(name)
    assert isinstance(flight.motion, TerrainMotion)
    going = TerrainRenderer(flight, *SMALL)
    speed = flight.motion.ground_speed_m_s
    seam = int(Country.PERIOD_M * flight.rate / speed) if speed else 1000
    for numbers in ((0, 1, 5), (seam - 2, seam + 1), (7,)):
        pictures = [frame(going, n, *SMALL) for n in numbers]
        alone = TerrainRenderer(flight, *SMALL)
        assert same(pictures[-1], frame(alone, numbers[-1], *SMALL)), numbers


@pytest.mark.parametrize("flight", ["forward", "sideways", "down"])
@pytest.mark.parametrize("speed_m_s", [10, 250])
def test_frames_in_order_are_those_drawn_alone(flight: str, speed_m_s: int) -> None:
    """In order they are drawn some at a time, if what they see fits, and across the period too."""
    motion = TerrainMotion(flight, Fraction(speed_m_s))  # type: ignore[arg-type]
    again = int(Country.PERIOD_M) * 24 // speed_m_s  # about the first frame of the next period
    shot = replace(clip(motion), frames=again + 9)
    followed, alone = (TerrainRenderer(shot, *SMALL) for _ in range(2))
    order = (*range(14), *range(again - 9, again + 12))
    shown = [frame(followed, n, *SMALL) for n in order]
    for n, picture in reversed(list(zip(order, shown, strict=True))):
        assert same(frame(alone, n, *SMALL), picture), n
    assert not same(shown[1], shown[2])


@pytest.mark.parametrize("flight", ["forward", "sideways", "down"])
def test_a_loop_closes_at_the_period(flight: str) -> None:
    motion = TerrainMotion(flight, Fraction(64))  # type: ignore[arg-type]
    renderer = TerrainRenderer(clip(motion, Fraction(32)), WIDTH, HEIGHT)
    last = int(Country.PERIOD_M) // 2
    start, end = frame(renderer, 0), frame(renderer, last)
    assert (start.y == end.y).all()
    step = np.abs(frame(renderer, last - 1).y.astype(int) - start.y).mean()
    usual = np.abs(frame(renderer, 1).y.astype(int) - start.y).mean()
    assert step < 1.5 * usual


def test_memory_does_not_grow_with_travel() -> None:
    renderer = TerrainRenderer(clip(TerrainMotion(), Fraction(2)), *SMALL)
    frame(renderer, 0, *SMALL)

    def held() -> int:
        return sum(words.nbytes for level in renderer._levels for words in level.words)

    before = held()
    for n in range(1, 30):
        frame(renderer, n, *SMALL)
    assert held() == before


@pytest.mark.parametrize(
    "motion",
    [
        TerrainMotion("forward", Fraction(300), Fraction(2), Fraction(0), 120.0),
        TerrainMotion("forward", Fraction(10), Fraction(1000), Fraction(90), 5.0),
        TerrainMotion("sideways", Fraction(300), Fraction(2), Fraction(45), 73.0),
        TerrainMotion("down", Fraction(0), Fraction(2), Fraction(0), 5.0),
    ],
)
def test_the_limits_of_a_flight_can_be_drawn(motion: TerrainMotion) -> None:
    width, height = 180, 320
    renderer = TerrainRenderer(clip(motion), width, height)
    picture = frame(renderer, 3, width, height)
    assert picture.y.min() >= 16
    assert picture.y.max() <= 235
    assert picture.y.std() > 1


def test_default_look_is_no_field_of_stripes() -> None:
    """No row of the picture is dominated by one spatial frequency (guard for stripes)."""
    picture = frame(TerrainRenderer(clip(TerrainMotion()), WIDTH, HEIGHT), 0)
    ground = picture.y[40:].astype(float)
    power = np.abs(np.fft.rfft(ground - ground.mean(1, keepdims=True), axis=1)) ** 2
    assert (power[:, 6:].max(1) / power.sum(1)).max() < 0.5


@pytest.mark.parametrize("width", [0.0, 0.4, 1.0, 2.7, 6.0])
def test_box_blur_against_dense_sampling(width: float) -> None:
    samples = np.random.default_rng(1).random(40).astype(np.float32)
    margin = box_margin(width)
    blurred = box_blur(samples, width)
    assert len(blurred) == 40 - 2 * margin
    moments = width * ((np.arange(4000) + 0.5) / 4000 - 0.5)
    for k, value in enumerate(blurred):
        dense = np.interp(k + margin + moments, np.arange(40), samples).mean()
        assert value == pytest.approx(dense, abs=1e-4)


@pytest.mark.parametrize(
    ("name", "after"), [("forward", False), ("forward", True), ("fast sideways", False)]
)
def test_ctrl_c_while_painting_leaves_no_wrong_texel(
    monkeypatch: pytest.MonkeyPatch, name: str, after: bool
) -> None:
    """Nor for a frame before it, whose texels were written over."""
    flight = flight_of(name)
    broken, whole = (TerrainRenderer(flight, *SMALL) for _ in range(2))
    until = interrupt(monkeypatch, broken._levels[-1], "_paint", after=after)
    stopped = 0
    for n in range(0, 36, 3):
        picture = Planes.blank(*SMALL)
        until[0] = 1
        try:
            broken.draw(n, picture)
        except KeyboardInterrupt:
            stopped += 1
        until[0] = 0
        for number in (max(0, n - 3), n):
            broken.draw(number, picture)
            assert same(frame(whole, number, *SMALL), picture), (number, n)
    assert stopped >= 2
