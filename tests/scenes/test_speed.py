"""Image speeds against finite differences of a projection that is written independently here."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from math import cos, inf, isnan, radians, sin, tan

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from patterns.picture.arrays import FloatArray
from patterns.scenes.bars.motion import BarsMotion
from patterns.scenes.motion import (
    RING_RADIUS_M,
    crossing_time_s,
    hfov_of_focal_length,
    image_motion,
    speed_at,
    speed_map,
)
from patterns.scenes.orbit.motion import RING_TOP_M, OrbitMotion
from patterns.scenes.terrain.motion import Flight, TerrainMotion

W, H = 1920, 1080
HFOV_24 = hfov_of_focal_length(24)


class Eye:
    """World (x along the look, y right, z up) to picture, by a rotation matrix and a division."""

    def __init__(
        self, position: tuple[float, float, float], yaw: float, pitch_deg: float, hfov_deg: float
    ) -> None:
        p = radians(pitch_deg)
        forward = np.array([cos(yaw) * cos(p), sin(yaw) * cos(p), -sin(p)])
        right = np.array([-sin(yaw), cos(yaw), 0.0])
        self.axes = np.stack([right, np.cross(right, forward), forward])
        self.position = np.asarray(position, float)
        self.f = (W / 2) / tan(radians(hfov_deg / 2))

    def see(self, point: FloatArray) -> FloatArray:
        x, y, z = self.axes @ (np.asarray(point) - self.position)
        return np.array([W / 2 + self.f * x / z, H / 2 + self.f * y / z])

    def ray(self, x: float, y: float) -> FloatArray:
        return np.asarray(self.axes.T @ np.array([x - W / 2, y - H / 2, self.f]), np.float64)


def eye_of_flight(m: TerrainMotion, t: float) -> Eye:
    along = float(m.ground_speed_m_s) * t
    place = (
        (0, along, float(m.height_m)) if m.flight == "sideways" else (along, 0, float(m.height_m))
    )
    return Eye(place, 0.0, 90.0 if m.flight == "down" else float(m.pitch_deg), m.hfov_deg)


def eye_of_orbit(m: OrbitMotion, t: float) -> Eye:
    turn = radians(float(m.turn_deg_s)) * t
    r = float(m.radius_m)
    place = (-r * cos(turn), -r * sin(turn), float(m.height_m))
    pitch = np.degrees(np.arctan2(float(m.height_m) - m.aim_height_m, r))
    return Eye(place, turn, pitch, m.hfov_deg)


def difference(eye_at: Callable[[float], Eye], point: FloatArray, dt: float = 1e-4) -> float:
    """Speed of a fixed world point in the picture, central difference, px/s."""
    return float(np.linalg.norm(eye_at(dt).see(point) - eye_at(-dt).see(point)) / (2 * dt))


def ground_point(eye: Eye, x: float, y: float) -> FloatArray | None:
    ray = eye.ray(x, y)
    return eye.position - ray * eye.position[2] / ray[2] if ray[2] < 0 else None


def ring_point(eye: Eye, x: float, y: float) -> FloatArray:
    """Where a ray leaves the ring, by marching and bisecting rather than by a formula."""
    ray = eye.ray(x, y)
    low, high = 0.0, 4 * RING_RADIUS_M / float(np.linalg.norm(ray[:2]))
    for _ in range(100):
        middle = (low + high) / 2
        inside = np.linalg.norm((eye.position + middle * ray)[:2]) < RING_RADIUS_M
        low, high = (middle, high) if inside else (low, middle)
    return eye.position + low * ray


places = st.tuples(st.floats(0, W), st.floats(0, H))


flights = st.builds(
    TerrainMotion,
    st.sampled_from(["forward", "sideways", "down"]),
    st.integers(1, 30).map(Fraction),
    st.integers(5, 300).map(Fraction),
    st.integers(0, 90).map(Fraction),
    st.floats(20, 110),
)
orbits = st.builds(
    OrbitMotion,
    st.sampled_from(["tower", "monument", "tank"]),
    st.integers(-40, 40).map(Fraction),
    st.integers(20, 400).map(Fraction),
    st.integers(2, 200).map(Fraction),
    st.floats(20, 110),
)


@given(flights, places)
def test_flight_is_the_difference_quotient_of_the_projection(
    m: TerrainMotion, place: tuple[float, float]
) -> None:
    point = ground_point(eye_of_flight(m, 0.0), *place)
    found = float(speed_at(m, W, H, *place))
    if point is None:
        assert isnan(found)
        return
    # differences lose their digits near the horizon
    assume(np.linalg.norm(point) < 100 * float(m.height_m))
    expected = difference(lambda t: eye_of_flight(m, t), point)
    assert found == pytest.approx(expected, rel=1e-4, abs=1e-3)


@given(orbits, places)
def test_orbit_is_the_difference_quotient_of_the_projection(
    m: OrbitMotion, place: tuple[float, float]
) -> None:
    eye = eye_of_orbit(m, 0.0)
    point = ground_point(eye, *place)
    if point is None or np.linalg.norm(point[:2]) > RING_RADIUS_M:
        point = ring_point(eye, *place)
    assume(abs(point[2] - RING_TOP_M) > 0.01)
    found = float(speed_at(m, W, H, *place))
    if point[2] > RING_TOP_M:
        assert isnan(found)
    else:
        expected = difference(lambda t: eye_of_orbit(m, t), point)
        assert found == pytest.approx(expected, rel=1e-4, abs=1e-3)


@pytest.mark.parametrize(("height_m", "fastest_m_s"), [(30, 6.43), (60, 12.86), (120, 25.71)])
def test_straight_down_meets_the_handbook_seven_seconds(height_m: int, fastest_m_s: float) -> None:
    # 24 mm equivalent at 24 fps: v = 2 H tan(hfov/2)/7, computed from the seven-second
    # limit that Chapiro et al. (2019) quote from the American Cinematographer Manual (2007).
    m = TerrainMotion("down", Fraction(str(fastest_m_s)), Fraction(height_m), hfov_deg=HFOV_24)
    assert crossing_time_s(image_motion(m, W, H).fastest_px_s, W) == pytest.approx(7, rel=1e-3)


@pytest.mark.parametrize("flight", ["forward", "sideways", "down"])
@pytest.mark.parametrize("pitch", [0, 20, 60, 90])
def test_fastest_is_the_largest_of_a_dense_map(flight: Flight, pitch: int) -> None:
    m = TerrainMotion(flight, pitch_deg=Fraction(pitch))
    found = image_motion(m, W, H)
    x, y = np.linspace(0, W, 401), np.linspace(0, H, 301)
    dense = speed_at(m, W, H, x[None, :], y[:, None])
    assert found.fastest_px_s == pytest.approx(np.nanmax(dense), rel=1e-9)
    at = speed_at(m, W, H, found.fastest_xy[0] * W, found.fastest_xy[1] * H)
    assert float(at) == pytest.approx(found.fastest_px_s)


@pytest.mark.parametrize(
    ("r", "h", "hfov"), [(80, 30, 74), (20, 2, 110), (40, 120, 60), (400, 20, 20)]
)
def test_fastest_of_an_orbit_is_the_largest_of_a_dense_map(r: int, h: int, hfov: float) -> None:
    m = OrbitMotion("tower", Fraction(6), Fraction(r), Fraction(h), hfov)
    x, y = np.linspace(0, W, 801), np.linspace(0, H, 2001)
    dense = float(np.nanmax(speed_at(m, W, H, x[None, :], y[:, None])))
    found = image_motion(m, W, H).fastest_px_s
    assert dense <= found * (1 + 1e-4)  # the end of a skyline lies between two places of the border
    assert found == pytest.approx(dense, rel=2e-3)


def test_a_forward_flight_is_fastest_in_the_lower_corners_and_an_orbit_on_the_skyline() -> None:
    # Common practice, no source: judder shows in the lower corners of a fly-by and on the
    # skyline of an orbit.
    x, y = image_motion(TerrainMotion(), W, H).fastest_xy
    assert x in (0.0, 1.0)
    assert y == 1.0
    m = OrbitMotion()
    x, y = image_motion(m, W, H).fastest_xy
    assert isnan(float(speed_at(m, W, H, x * W, y * H - 1)))
    assert not isnan(float(speed_at(m, W, H, x * W, y * H + 1)))


def test_speed_is_proportional_to_the_motion_and_independent_of_its_sign() -> None:
    m = OrbitMotion()
    twice = replace(m, turn_deg_s=-2 * m.turn_deg_s)
    one, two = image_motion(m, W, H), image_motion(twice, W, H)
    assert two.fastest_px_s == pytest.approx(2 * one.fastest_px_s)
    assert two.typical_px_s == pytest.approx(2 * one.typical_px_s)


def test_the_place_that_an_orbit_turns_about_rests() -> None:
    m = OrbitMotion("tower", Fraction(6), Fraction(80), Fraction(30))
    eye = eye_of_orbit(m, 0.0)
    x, y = eye.see(np.zeros(3))
    assert float(speed_at(m, W, H, x, y)) == pytest.approx(0, abs=1e-6)


def test_bars_move_as_one_and_rest_takes_for_ever() -> None:
    m = BarsMotion(Fraction(-300), Fraction(200), Fraction(40))
    assert image_motion(m, W, H).fastest_px_s == 300
    assert crossing_time_s(300, W) == 6.4
    assert crossing_time_s(0, W) == inf


def test_the_map_has_the_picture_s_shape_and_nan_for_sky() -> None:
    found = speed_map(TerrainMotion(pitch_deg=Fraction(10)), W, H, grid=64)
    assert found.dtype == np.float32
    assert found.shape == (36, 64)
    assert np.isnan(found[0]).all()
    assert np.isfinite(found[-1]).all()
    assert speed_map(TerrainMotion(), 1080, 2340, grid=12).shape == (26, 12)
