"""Geometry of the orbit, against hand-derived cases and brute force on the rays."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from math import atan, hypot, pi, radians, tan

import numpy as np
import pytest

from patterns.errors import RequestError
from patterns.scenes.ground.hills import Wall
from patterns.scenes.motion import RING_RADIUS_M
from patterns.scenes.orbit.geometry import (
    FAR_GROUND,
    NEAR_GROUND,
    SUBJECT,
    WALL,
    OrbitCamera,
    look,
)
from patterns.scenes.orbit.motion import SUBJECT_HEIGHT_M, OrbitMotion, Subject
from patterns.scenes.orbit.outlines import OUTLINES, Profile, meet
from patterns.scenes.orbit.subjects import OrbitSubject

SUBJECTS: tuple[Subject, ...] = ("tower", "monument", "tank")


def camera(width: int = 320, height: int = 180, **motion: float) -> OrbitCamera:
    values = {name: Fraction(value) for name, value in motion.items() if name != "hfov_deg"}
    hfov = motion.get("hfov_deg", 73.7398)
    return OrbitCamera.of(
        OrbitMotion(hfov_deg=hfov, **values),  # type: ignore[arg-type]
        OUTLINES["tower"].profile,
        width,
        height,
    )


@pytest.mark.parametrize("subject", SUBJECTS)
def test_outlines_are_as_tall_as_the_motion_says(subject: Subject) -> None:
    points = OUTLINES[subject].profile.points
    assert max(z for _, z in points) == SUBJECT_HEIGHT_M[subject]
    assert points[0][1] == 0
    assert points[-1][0] == 0


def test_the_axis_of_the_lens_meets_the_subjects_axis_at_the_aim() -> None:
    """A cylinder of radius 3 about the axis is met 3 m before the axis, on the aiming line."""
    cam = camera()
    right, away, up = cam.directions(np.array([160.0]), np.array([90.0]))
    reach = cam.back_m / away
    assert right[0] == 0
    assert cam.up_m + reach[0] * up[0] == pytest.approx(17.0)


def test_near_ground_is_where_similar_triangles_put_it() -> None:
    cam = camera(radius_m=100, height_m=17)  # aims level: rays drop by y / f
    seen = cam.see(np.array([160.0]), np.array([170.0]))
    distance = 17 * cam.focal_px / 80
    assert seen.surface[0] == NEAR_GROUND
    assert seen.across[0] == pytest.approx(100 - distance)
    assert seen.azimuth[0] == pytest.approx(pi)
    # one pixel: distance / f to the side, distance^2 / (f h) away (first order)
    assert seen.azimuth_span[0] * seen.across[0] == pytest.approx(distance / cam.focal_px)
    assert seen.across_span[0] == pytest.approx(distance**2 / (cam.focal_px * 17))


def test_the_wall_is_a_cylinder_about_the_axis() -> None:
    cam = camera(radius_m=500, height_m=17)
    x = np.array([0.0, 80.0, 160.0, 320.0])
    seen = cam.see(x, np.array([40.0]))
    assert set(seen.surface) == {WALL}
    # brute force: walk along each ray until it is RING_RADIUS_M from the axis
    for k, direction in enumerate(np.stack(cam.directions(x, np.array([40.0])), -1)):
        steps = np.linspace(0, 2 * RING_RADIUS_M, 2_000_001)
        path = np.array([0.0, -500.0, 17.0]) + steps[:, np.newaxis] * direction
        end = path[np.argmax(np.hypot(path[:, 0], path[:, 1]) >= RING_RADIUS_M)]
        assert seen.azimuth[k] == pytest.approx(np.arctan2(end[0], end[1]), abs=1e-5)
        assert tan(seen.across[k]) * RING_RADIUS_M == pytest.approx(end[2], abs=0.02)


def _inside(profile: Profile, points: np.ndarray) -> np.ndarray:
    """Whether points lie in the solid: even-odd rule on the outline, closed along the axis."""
    radius, height = np.hypot(points[..., 0], points[..., 1]), points[..., 2]
    crossings = np.zeros(radius.shape, int)
    corners = [*profile.points, (0.0, 0.0)]
    for (r0, z0), (r1, z1) in pairwise(corners):
        if z0 == z1:
            continue
        between = (height >= min(z0, z1)) & (height < max(z0, z1))
        crossings += between & (r0 + (height - z0) / (z1 - z0) * (r1 - r0) > radius)
    return np.asarray(crossings % 2 == 1)


RAYS = 150  # of each subject from each height: 1,350 in all


@pytest.mark.parametrize("subject", SUBJECTS)
@pytest.mark.parametrize("up", [4.0, 30.0, 120.0])
def test_rays_meet_the_solid_where_walking_along_them_does(subject: Subject, up: float) -> None:
    profile = OUTLINES[subject].profile
    rng = np.random.default_rng(1)
    back = 60.0
    aims = np.stack(
        [
            rng.uniform(-14, 14, RAYS),
            np.zeros(RAYS),
            rng.uniform(0, SUBJECT_HEIGHT_M[subject], RAYS),
        ]
    )
    directions = [aims[0], aims[1] + back, aims[2] - up]
    hits = meet(profile, back, up, directions)
    steps = np.linspace(0.5, 1.5, 12001)
    for k in range(RAYS):
        step = np.array([d[k] for d in directions])
        path = np.array([0, -back, up]) + steps[:, np.newaxis] * step
        inside = _inside(profile, path)
        pitch = float(np.linalg.norm(step)) / 12000
        if not inside.any():
            # a ray may graze an edge between two steps
            assert not np.isfinite(hits.distance[k]) or _grazes(profile, hits.way[k], pitch)
        else:
            first = steps[int(np.argmax(inside))]
            assert hits.distance[k] <= first + 1e-9
            if abs(first - hits.distance[k]) > 2 / 12000:
                assert _grazes(profile, hits.way[k], 60 * pitch)


def _grazes(profile: Profile, way: float, near_m: float) -> bool:
    return bool(np.abs(profile.corners_m - way).min() < near_m)


def test_azimuth_at_the_centre_moves_as_the_ring_of_hills_should() -> None:
    """At the centre, the wall's azimuth grows by (D + R) / (f D) a pixel."""
    cam = camera(height_m=17, radius_m=80)
    seen = cam.see(np.array([160.0, 160.01]), np.array([20.0]))
    # the ray's level length per unit of the lens axis is 1: it aims level
    slope = (seen.azimuth[1] - seen.azimuth[0]) / 0.01
    assert slope == pytest.approx((RING_RADIUS_M + 80) / (cam.focal_px * RING_RADIUS_M), rel=1e-5)


@pytest.mark.parametrize(
    ("radius", "height", "hfov"),
    [(20, 2, 120), (20, 500, 5), (1000, 500, 5), (1000, 2, 120), (20, 2, 5), (300, 120, 40)],
)
@pytest.mark.parametrize("size", [(320, 180), (90, 160)])
def test_every_point_sees_something_finite(
    radius: float, height: float, hfov: float, size: tuple[int, int]
) -> None:
    cam = camera(*size, radius_m=radius, height_m=height, hfov_deg=hfov)
    x, y = np.arange(size[0]) + 0.5, np.arange(size[1]) + 0.5
    seen = cam.see(x[np.newaxis, :], y[:, np.newaxis])
    for values in (seen.azimuth, seen.across, seen.azimuth_span, seen.across_span):
        assert np.isfinite(values).all()
    assert (seen.azimuth_span > 0).all()
    assert (seen.across_span > 0).all()
    assert (seen.distance_m > 0).all()
    ground = np.isin(seen.surface, (NEAR_GROUND, FAR_GROUND))
    assert (seen.across[ground] <= RING_RADIUS_M).all()
    if 6.4 * cam.focal_px / radius > 2:  # pixels that the tower's shaft is wide
        assert (seen.surface == SUBJECT).any()


def test_distance_is_the_length_of_the_line_of_sight() -> None:
    cam = camera(radius_m=100, height_m=17)
    seen = cam.see(np.array([200.0]), np.array([170.0]))
    x = seen.across[0] * np.sin(seen.azimuth[0])
    y = seen.across[0] * np.cos(seen.azimuth[0])
    assert seen.distance_m[0] == pytest.approx(hypot(x, y + 100, 17))


def test_the_left_half_is_the_mirror_image_of_the_right() -> None:
    """All samples of luma, looked at one by one, see what half of them and its mirror tell."""
    cam = camera()
    found = look(cam, 1)
    numbers = np.arange(cam.width * cam.height)
    alone = cam.see(numbers % cam.width + 0.5, numbers // cam.width + 0.5)
    azimuths = np.concatenate([found.azimuths(some) for some in found.seen])
    assert azimuths.ravel() == pytest.approx(alone.azimuth, abs=2e-5)
    rows = [found.rows(some, np.rint(some.across * 1000).astype(np.int64)) for some in found.seen]
    across = np.concatenate(rows).ravel() / 1000
    assert across == pytest.approx(alone.across, rel=1e-3, abs=2e-3)
    part = alone.part.reshape(cam.height, cam.width)
    differ = np.zeros(part.shape, bool)
    for axis in (0, 1):
        for step in (-1, 1):
            other = np.roll(part, step, axis)
            differ |= (part != other) & (np.maximum(part, other) >= 2)
    assert sorted(found.edges.tolist()) == np.flatnonzero(differ).tolist()


def test_finer_samples_of_an_edge_belong_to_its_pixel() -> None:
    cam = camera()
    found = look(cam, 1)
    assert len(found.edges) > 100
    for down, some in zip((-0.375, -0.125, 0.125, 0.375), found.edge_seen, strict=True):
        x = found.edges % cam.width + 0.5 + np.array([[-0.375], [-0.125], [0.125], [0.375]])
        alone = cam.see(x, found.edges // cam.width + 0.5 + down)
        # mirrored, the finer samples of a pixel stand in the reverse order
        left = found.edges % cam.width < cam.width // 2
        expected = np.where(left, alone.azimuth[::-1], alone.azimuth)
        apart = np.abs(found.azimuths(some) - expected)
        assert (apart < 1e-3).mean() > 0.99  # in 32 bits a few fall on the other side of an edge


def test_a_circle_through_the_subject_is_refused() -> None:
    wide = Profile(((25.0, 0.0), (25.0, 3.0), (0.0, 3.0)))
    with pytest.raises(RequestError, match="radius 20 m runs into the tower: give at least 27 m"):
        OrbitCamera.of(OrbitMotion(radius_m=Fraction(20)), wide, 320, 180)


def test_the_tilt_is_the_angle_to_the_aim() -> None:
    assert camera(radius_m=80, height_m=30).pitch == pytest.approx(atan(13 / 80))
    assert radians(OrbitMotion().pitch_deg) == pytest.approx(atan(13 / 80))


@pytest.mark.parametrize("subject", SUBJECTS)
def test_a_piece_of_the_subject_has_the_light_of_the_whole(subject: Subject) -> None:
    """Pieces that are painted apart must meet without a seam: stones, marks, and sun."""
    skin = OrbitSubject(subject, 1)
    bearings = np.linspace(0.3, 2.6, 90)
    ways = np.arange(0.03, skin.profile.corners_m[-1], 0.06)
    spans = (2 * pi / 512, 0.06)
    whole = skin.light(bearings, ways, spans)
    assert whole.shape == (len(bearings), 3, len(ways))
    third = len(ways) // 3
    for part in (slice(0, third), slice(third, 2 * third), slice(2 * third, None)):
        piece = skin.light(bearings[20:50], ways[part], spans)
        assert piece == pytest.approx(whole[20:50, :, part], abs=1e-6)


def test_the_wall_is_the_same_in_whatever_piece_it_is_painted() -> None:
    """Nearer ranges hide other rows in one piece than in another: not a bit may show of that."""
    wall = Wall(1, 60.0)
    cell = 2 * np.pi / 4096
    bearings, ways = (np.arange(256) + 0.5) * cell, np.linspace(-0.05, 0.4, 120)
    spans = (cell, float(ways[1] - ways[0]))
    whole = wall.light(bearings, ways, spans)
    for first, last in ((0, 64), (64, 80), (80, 256)):
        assert np.array_equal(wall.light(bearings[first:last], ways, spans), whole[first:last])
