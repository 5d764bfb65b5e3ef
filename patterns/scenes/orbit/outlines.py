"""Solids of revolution by their outlines: where rays meet them, and the orbit's subjects.

The subjects, a valve tower, a survey monument and a water tank, belong to the invented Tarn
Hollow reservoir. Their heights agree with `SUBJECT_HEIGHT_M`; corners run from the ground up
and in to the axis.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import FloatingArray
from patterns.scenes.orbit.motion import Subject


@dataclass(frozen=True)
class Profile:
    """Outline of a solid about the z axis, from the ground up and in to the axis."""

    # (radius, height) in metres of the outline's corners. Neighbours are joined by straight lines:
    # walls, cones and level rings.
    points: tuple[tuple[float, float], ...]

    @property
    def base_radius_m(self) -> float:
        """Radius of the solid where it is widest."""
        return max(radius for radius, _ in self.points)

    @property
    def corners_m(self) -> FloatingArray:
        """Way along the outline to each corner, metres, from 0 at the ground."""
        steps = np.diff(np.array(self.points), axis=0)
        return np.concatenate([[0.0], np.cumsum(np.hypot(steps[:, 0], steps[:, 1]))])

    def at(self, way_m: npt.ArrayLike) -> tuple[FloatingArray, FloatingArray]:
        """Radius and height in metres at ways along the outline in metres, any shape."""
        corners, outline = self.corners_m, np.array(self.points)
        way = np.asarray(way_m, np.float64)
        return np.interp(way, corners, outline[:, 0]), np.interp(way, corners, outline[:, 1])

    def normals(self, way_m: npt.ArrayLike) -> tuple[FloatingArray, FloatingArray]:
        """Outward normal (radial, upward) of the outline's piece at each way in metres."""
        corners, outline = self.corners_m, np.array(self.points)
        piece = np.clip(np.searchsorted(corners, way_m, side="right") - 1, 0, len(corners) - 2)
        steps = np.diff(outline, axis=0)
        lengths = np.hypot(steps[:, 0], steps[:, 1])
        return steps[piece, 1] / lengths[piece], -steps[piece, 0] / lengths[piece]

    def pieces(self) -> Iterator[tuple[float, float, float, float, float]]:
        """Radius, height, their change, and the way at the foot, of each piece."""
        for (r0, z0), (r1, z1), way in zip(
            self.points, self.points[1:], self.corners_m, strict=False
        ):
            yield r0, z0, r1 - r0, z1 - z0, float(way)


@dataclass
class SolidHits:
    """Nearest meeting of each ray with a solid; `distance` is infinite where there is none.

    `distance` counts in lengths of the ray's direction; `piece` numbers the outline's
    pieces; `way` is metres along the outline; `radial` and `upward` are the normal.
    """

    distance: FloatingArray
    piece: npt.NDArray[np.int16]
    way: FloatingArray
    radial: FloatingArray
    upward: FloatingArray


def _parameter(
    r0: float, z0: float, dr: float, dz: float, eye: tuple[float, float], d: list[FloatingArray]
) -> Iterator[tuple[FloatingArray, FloatingArray]]:
    """Ray lengths at which a piece may be met, with the place 0 to 1 along the piece."""
    back, up = eye
    if dz == 0:
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (z0 - up) / d[2]
            yield t, (np.hypot(t * d[0], t * d[1] - back) - r0) / dr
        return
    slope = dr / dz
    # (x^2 + y^2) = (a + b t)^2 on the cone through the piece
    a, b = r0 + slope * (up - z0), slope * d[2]
    qa = d[0] ** 2 + d[1] ** 2 - b * b
    qb = -back * d[1] - a * b
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt(qb * qb - qa * (back * back - a * a))
        # a plain wall shows its near side; one that faces the axis shows its far side
        for sign in (-1, 1) if dr else (-1,) if dz > 0 else (1,):
            t = (-qb + sign * root) / qa
            place = (up + t * d[2] - z0) / dz
            # the other half of the cone is not ours
            yield np.where(a + b * t >= 0, t, np.nan), place


def _heights(
    profile: Profile, back_m: float, up_m: float, directions: list[FloatingArray]
) -> tuple[float, float]:
    """Least and greatest height at which rays can pass through the solid's widest cylinder."""
    if not directions[0].size:
        return np.inf, -np.inf
    climb = directions[2] / np.maximum(np.hypot(directions[0], directions[1]), 1e-9)
    ends = [up_m + climb * (back_m + side * profile.base_radius_m) for side in (-1.0, 1.0)]
    return float(min(e.min() for e in ends)), float(max(e.max() for e in ends))


def meet(
    profile: Profile, back_m: float, up_m: float, directions: list[FloatingArray]
) -> SolidHits:
    """Where rays from (0, -back_m, up_m) with `directions` (flat x, y, z) meet the solid."""
    count = directions[0].shape
    hits = SolidHits(
        np.full(count, np.inf),
        np.zeros(count, np.int16),
        np.zeros(count),
        np.zeros(count),
        np.zeros(count),
    )
    low, high = _heights(profile, back_m, up_m, directions)
    # How far each ray passes from the axis: it can meet nothing that is nearer.
    miss = back_m * np.abs(directions[0]) / np.maximum(np.hypot(*directions[:2]), 1e-9)
    for number, (r0, z0, dr, dz, way) in enumerate(profile.pieces()):
        if max(z0, z0 + dz) < low or min(z0, z0 + dz) > high:
            continue
        length = float(np.hypot(dr, dz))
        some = np.flatnonzero(miss <= max(r0, r0 + dr) + 1e-6)
        d = [component[some] for component in directions]
        for t, place in _parameter(r0, z0, dr, dz, (back_m, up_m), d):
            with np.errstate(invalid="ignore"):
                x, y = t * d[0], t * d[1] - back_m
                radius = np.maximum(np.hypot(x, y), 1e-9)
                facing = (x * d[0] + y * d[1]) / radius * dz - d[2] * dr
                nearer = (t > 0) & (t < hits.distance[some])
                good = nearer & (place >= 0) & (place <= 1) & (facing < 0)
            met = some[good]
            hits.distance[met] = t[good]
            hits.piece[met] = number
            hits.way[met] = way + length * place[good]
            hits.radial[met] = dz / length
            hits.upward[met] = -dr / length
    return hits


@dataclass(frozen=True)
class Outline:
    """A subject's profile, and the height in metres up to which each material goes.

    `materials` are (top of the part, name) from the ground up.
    """

    profile: Profile
    materials: tuple[tuple[float, str], ...]


def _outline(corners: str, materials: tuple[tuple[float, str], ...]) -> Outline:
    """Outline through corners written as "radius height", metres, with commas between."""
    pairs = (corner.split() for corner in corners.split(","))
    return Outline(
        Profile(tuple((float(radius), float(height)) for radius, height in pairs)), materials
    )


TOWER = _outline(
    """
    6.6 0, 6.6 0.5, 5.5 0.5, 5.5 1, 4.4 1, 4 3.2, 4.15 3.25, 4.15 3.6, 3.8 3.75, 3.5 14,
    3.65 14.05, 3.65 14.4, 3.45 14.5, 3.2 24, 3.95 25.3, 3.95 26.6, 3.65 26.6, 3.65 25.6,
    2.7 25.6, 2.7 29.3, 3.1 29.35, 3.1 29.7, 2.75 30.4, 2.1 31.5, 1.2 32.6, 0.3 33.25,
    0.16 33.5, 0.3 33.7, 0.1 34, 0 34
    """,
    ((3.7, "base"), (25.45, "masonry"), (29.25, "dressed"), (34.0, "copper")),
)

MONUMENT = _outline(
    """
    9 0, 9 0.5, 8.2 0.5, 8.2 1, 7.4 1, 7.4 1.5, 6.6 1.5, 6.6 2, 5.8 2, 5.8 2.6, 4 2.6, 4 3,
    3.6 3.2, 3.5 6.4, 3.85 6.6, 3.85 7.1, 2.45 7.3, 2.45 7.7, 2.2 8, 1.75 20, 1.85 20.2,
    2.5 21, 2.5 21.5, 1.55 21.5, 1.5 23.5, 1.75 23.6, 1.75 23.9, 1.5 24.5, 1.05 25.3,
    0.5 25.8, 0 26
    """,
    ((2.55, "steps"), (7.75, "dressed"), (19.95, "column"), (23.5, "dressed"), (26.0, "bronze")),
)

TANK = _outline(
    """
    12 0, 12 0.6, 11.3 0.65, 11 0.9, 11 14.5, 11.5 14.8, 11.5 15.4, 11.3 15.5, 11.3 16.4,
    11.15 16.4, 11.15 15.5, 10.3 15.5, 9.8 15.9, 8 16.6, 5.5 17.2, 3 17.5, 1.1 17.6,
    1.1 17.9, 1.25 17.9, 0.9 18, 0 18
    """,
    ((0.7, "steps"), (14.6, "panels"), (15.5, "concrete"), (16.45, "rail"), (18.0, "roof")),
)

OUTLINES: dict[Subject, Outline] = {"tower": TOWER, "monument": MONUMENT, "tank": TANK}
