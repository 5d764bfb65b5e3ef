"""Geometry of the orbit: which place of the turning world each point of the picture sees.

The camera stands at (0, -radius, height) and looks at the axis; the world turns under
it. Every surface is one of revolution: the ground disc, the subject, and a wall of
`RING_RADIUS_M` that bears hills and sky. So a picture point sees the same (surface, way across)
for ever, and only its azimuth grows: bearing seen = azimuth + turn rate x time.
Azimuths are like bearings, from the far centre (0) to the right.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, radians, sin
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from patterns.errors import RequestError
from patterns.picture.arrays import Float32Array, FloatingArray, IntArray
from patterns.scenes.motion import RING_RADIUS_M, focal_px
from patterns.scenes.orbit.motion import OrbitMotion
from patterns.scenes.orbit.outlines import Profile, meet

# The ground before and behind the axis is kept apart: one row of the atlas serves a short span of
# azimuth.
WALL, SUBJECT, FAR_GROUND, NEAR_GROUND = range(4)
MIDDLES = (0.0, pi, 0.0, pi)  # azimuth about which each of them is seen

WIDEST_AZIMUTH = 0.3  # radians; where a surface is seen edge on, a pixel spans more than is of use
FINEST_M = 0.008  # nothing in the country is finer


@dataclass
class Seen:
    """What points of the picture see; all arrays have the points' shape."""

    # surface, part: surface seen, and a number that changes where the picture has an edge
    surface: npt.NDArray[np.int8]
    part: npt.NDArray[np.int16]
    azimuth: FloatingArray  # radians
    # way across the turn: metres from the axis (ground), metres along the outline (subject),
    # elevation in radians as seen from the foot of the axis (wall)
    across: FloatingArray
    # azimuth_span, across_span: what one pixel covers of both
    azimuth_span: FloatingArray
    across_span: FloatingArray
    distance_m: FloatingArray  # from the camera

    @property
    def middle(self) -> Float32Array:
        """`MIDDLES` of what is seen."""
        return np.array(MIDDLES, np.float32).take(self.surface)


@dataclass(frozen=True)
class OrbitCamera:
    """Camera of an orbit: a pinhole whose axis meets the subject's at the aim height."""

    back_m: float
    up_m: float
    pitch: float
    focal_px: float
    width: int
    height: int
    profile: Profile

    @classmethod
    def of(cls, motion: OrbitMotion, profile: Profile, width: int, height: int) -> OrbitCamera:
        """Camera for a picture of `width` x `height` pixels.

        Raises `RequestError`: the circle runs through the subject.
        """
        back, need = float(motion.radius_m), profile.base_radius_m + 2
        if back < need:
            raise RequestError(
                f"radius {back:g} m runs into the {motion.subject}: give at least {need:g} m"
            )
        return cls(
            back,
            float(motion.height_m),
            radians(motion.pitch_deg),
            focal_px(motion.hfov_deg, width),
            width,
            height,
            profile,
        )

    def directions(self, x_px: FloatingArray, y_px: FloatingArray) -> list[FloatingArray]:
        """Ray directions (x right, y away, z up; 1 along the lens axis) at picture points."""
        right = (x_px - self.width / 2) / self.focal_px
        down = (y_px - self.height / 2) / self.focal_px
        c, s = cos(self.pitch), sin(self.pitch)
        right, down = np.broadcast_arrays(right, down)
        return [right, c - s * down, -s - c * down]

    def see(self, x_px: FloatingArray, y_px: FloatingArray, pixels: float = 1.0) -> Seen:
        """What picture points (pixels from the top left, broadcast) see.

        `pixels` is the side of the square that one sample stands for.
        """
        d = self.directions(x_px, y_px)
        seen = self._background(d, pixels)
        self._subject(d, pixels, seen)
        return seen

    def _background(self, d: list[FloatingArray], pixels: float) -> Seen:
        level = d[0] ** 2 + d[1] ** 2
        inner = self.back_m * d[1]
        t_wall = (inner + np.sqrt(inner**2 + level * (RING_RADIUS_M**2 - self.back_m**2))) / level
        with np.errstate(divide="ignore"):
            t_ground = np.where(d[2] < 0, -self.up_m / np.minimum(d[2], -1e-12), np.inf)
        ground = t_ground < t_wall
        t = np.where(ground, t_ground, t_wall)
        x, y = t * d[0], t * d[1] - self.back_m
        radius = np.maximum(np.hypot(x, y), 1e-6)
        azimuth = np.arctan2(x, y)
        near = ground & (y < 0)
        azimuth[near & (azimuth < 0)] += 2 * np.pi
        upward = ground.astype(level.dtype)
        span_u, span_v = self._spans(d, t, (x, y, radius), (upward - 1, upward), pixels)
        elevation = np.arctan((self.up_m + t * d[2]) / RING_RADIUS_M)
        surface = np.where(near, NEAR_GROUND, np.where(ground, FAR_GROUND, WALL))
        return Seen(
            surface.astype(np.int8),
            ground.astype(np.int16),
            azimuth,
            np.where(ground, radius, elevation),
            span_u,
            np.where(ground, span_v, span_v * np.cos(elevation) ** 2 / RING_RADIUS_M),
            t * np.sqrt(level + d[2] ** 2),
        )

    def _subject(self, d: list[FloatingArray], pixels: float, seen: Seen) -> None:
        # Only rays that pass the axis closely enough can meet the subject.
        level = np.hypot(d[0], d[1])
        close = np.abs(self.back_m * d[0]) < level * self.profile.base_radius_m
        rays = [component[close].astype(np.float64) for component in d]
        hits = meet(self.profile, self.back_m, self.up_m, rays)
        met = np.isfinite(hits.distance)
        rays = [component[met] for component in rays]
        t = hits.distance[met]
        x, y = t * rays[0], t * rays[1] - self.back_m
        radius = np.maximum(np.hypot(x, y), 1e-3)
        normal = (hits.radial[met], hits.upward[met])
        span_u, span_v = self._spans(rays, t, (x, y, radius), normal, pixels)
        where = np.zeros(close.shape, bool)
        where[close] = met
        seen.surface[where] = SUBJECT
        seen.part[where] = 2 + hits.piece[met]
        seen.azimuth[where] = np.mod(np.arctan2(x, y), 2 * np.pi)
        seen.across[where] = hits.way[met]
        seen.azimuth_span[where], seen.across_span[where] = span_u, span_v
        seen.distance_m[where] = t * np.sqrt(1 + (level[where] ** 2 + rays[2] ** 2 - 1))

    def _spans(
        self,
        d: list[FloatingArray],
        t: FloatingArray,
        place: tuple[FloatingArray, FloatingArray, FloatingArray],
        normal: tuple[FloatingArray, FloatingArray],
        pixels: float,
    ) -> tuple[FloatingArray, FloatingArray]:
        """Azimuth in radians and metres across that a pixel covers on a surface.

        A step e of the ray's direction moves the point met by t (e - d (n.e)/(n.d)),
        for a surface with normal n; steps to the right and down are added as squares.
        """
        x, y, radius = place
        sx, sy = x / radius, y / radius
        radial, upward = normal
        c, s = cos(self.pitch), sin(self.pitch)
        n = (radial * sx, radial * sy, upward)
        facing = n[0] * d[0] + n[1] * d[1] + n[2] * d[2]
        facing = np.where(np.abs(facing) < 1e-4, 1e-4, facing)
        along2: FloatingArray = np.zeros_like(facing)
        across2: FloatingArray = np.zeros_like(facing)
        for e in ((1.0, 0.0, 0.0), (0.0, -s, -c)):
            slide = (n[0] * e[0] + n[1] * e[1] + n[2] * e[2]) / facing
            px, py, pz = (t * (e[k] - d[k] * slide) for k in range(3))
            along2 = along2 + (px * sy - py * sx) ** 2
            # the way across a surface points along (upward, -radial) in (radius, z)
            across2 = across2 + ((px * sx + py * sy) * upward - pz * radial) ** 2
        scale = pixels / self.focal_px
        along_m = np.maximum(np.sqrt(along2) * scale, FINEST_M * pixels)
        across_m = np.sqrt(across2) * scale
        return (
            np.minimum(along_m / radius, WIDEST_AZIMUTH),
            np.clip(across_m, FINEST_M * pixels, 0.3 * np.maximum(radius, 1.0)),
        )


SAMPLES_TOGETHER = 32768  # looked at; up to twice as many are read: working arrays stay in cache
EDGE_GRID = 4  # a pixel on an edge is this many samples wide and high


@dataclass
class Samples:
    """Samples of one plane, or of its right half: the left one is its mirror image."""

    seen: list[Seen]  # what those at the pixels' centres see, some rows of pixels at a time
    edges: IntArray  # flat numbers of the plane's pixels that lie on an edge of the subject
    # what their finer samples see: `EDGE_GRID` squared times the pixels
    edge_seen: list[Seen]
    halved: bool

    def azimuths(self, seen: Seen) -> FloatingArray:
        """Azimuths of what was seen, in the left half too."""
        if not self.halved:
            return seen.azimuth
        return _beside(2 * seen.middle - seen.azimuth, seen.azimuth)

    def rows(self, seen: Seen, rows: IntArray) -> IntArray:
        """Row of the atlas of each sample, in the left half too, from those of what was seen."""
        right = rows.reshape(seen.azimuth.shape)
        return _beside(right, right) if self.halved else right


Values = TypeVar("Values", FloatingArray, IntArray)


def _beside(mirrored: Values, right: Values) -> Values:
    """A plane's values, or its edges', from its right half's and those of its mirror image."""
    return np.concatenate([mirrored[..., ::-1], right], axis=-1)


def _edges(part: npt.NDArray[np.int16]) -> IntArray:
    """Pixels whose neighbour sees another part, where one of the two is the subject's."""
    edge = np.zeros(part.shape, bool)
    for one, other in ((np.s_[:-1], np.s_[1:]), (np.s_[:, :-1], np.s_[:, 1:])):
        first, second = part[one], part[other]
        differ = (first != second) & (np.maximum(first, second) >= 2)
        edge[one] |= differ
        edge[other] |= differ
    return np.flatnonzero(edge)


def look(camera: OrbitCamera, pixels: int) -> Samples:
    """What the samples of luma (`pixels` 1) or of chroma (2) see.

    Chroma is sited with the even columns and between the rows, and stands for a square
    two pixels wide. Luma lies evenly about the axis: half of it is looked at.
    """
    # 32 bits place a sample to a thousandth of a texel.
    x = np.arange(0, camera.width, pixels, dtype=np.float32) + np.float32(0.5)
    y = np.arange(0, camera.height, pixels, dtype=np.float32) + np.float32(pixels / 2)
    across, halved = len(x), pixels == 1
    if halved:
        x = x[across // 2 :]
    high = max(1, SAMPLES_TOGETHER // len(x))
    bands = [y[k : k + high, np.newaxis] for k in range(0, len(y), high)]
    seen = [camera.see(x, band, pixels) for band in bands]
    edges = _edges(np.concatenate([some.part for some in seen]))
    fine = ((np.arange(EDGE_GRID, dtype=np.float32) + 0.5) / EDGE_GRID - 0.5) * pixels
    row, column = np.divmod(edges, len(x))
    edge_seen = [
        camera.see(x[column] + fine[:, np.newaxis], y[row] + down, pixels) for down in fine
    ]
    if halved:
        middle = row * across + across // 2
        edges = _beside(middle - 1 - column, middle + column)
    return Samples(seen, edges, edge_seen, halved)
