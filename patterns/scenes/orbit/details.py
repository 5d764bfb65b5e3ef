"""What is fixed to the orbit's subjects: openings, ladders, ribs, plates and scales.

Marks on a turned surface are averaged over a cell in closed form, so that they never alias.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from patterns.picture.arrays import BoolArray, Float32Array, FloatingArray
from patterns.scenes.ground.palette import mixed
from patterns.scenes.orbit.motion import Subject


@dataclass(frozen=True)
class Patch:
    """Grid on a surface: bearings (rows of arrays) by ways along the outline (columns)."""

    bearing: FloatingArray  # radians, (m,)
    # radius, height, way: metres, (n,)
    radius: FloatingArray
    height: FloatingArray
    way: FloatingArray
    spans: tuple[float, float]  # radians and metres that a cell covers

    @property
    def width_m(self) -> FloatingArray:
        """Width of a cell along the turn in metres, (n,)."""
        return self.radius * self.spans[0]

    @property
    def pitch_m(self) -> float:
        """Height of a cell along the outline, metres."""
        return self.spans[1]

    def between(self, low_m: float, high_m: float) -> Float32Array:
        """Share of each cell that lies between two heights, (n,)."""
        tall = high_m - low_m
        return slot(self.height - low_m - tall / 2, tall, self.pitch_m)

    def columns(self, some: BoolArray | slice) -> Patch:
        """The part of the grid at some ways."""
        return Patch(self.bearing, self.radius[some], self.height[some], self.way[some], self.spans)

    def around_m(self, bearing: float, times: int = 1) -> FloatingArray:
        """Signed metres along the turn from the nearest of `times` places, one at `bearing`."""
        part = 2 * np.pi / times
        turn = np.mod(self.bearing - bearing + part / 2, part) - part / 2
        return np.asarray(turn.astype(np.float32)[:, np.newaxis] * self.radius)


def repeat(value: FloatingArray, period: float) -> FloatingArray:
    """Signed distance to the nearest multiple of `period`."""
    return np.asarray(value - np.rint(value / period) * period)


def joint(distance_m: FloatingArray, width_m: float, cell_m: FloatingArray | float) -> Float32Array:
    """Share of a cell that a line `width_m` wide at `distance_m` covers."""
    covered = (width_m / 2 + cell_m / 2 - np.abs(distance_m)) / cell_m
    return np.asarray(np.clip(covered, 0, np.minimum(width_m / cell_m, 1)), np.float32)


def slot(
    distance_m: FloatingArray, width_m: FloatingArray | float, cell_m: FloatingArray | float
) -> Float32Array:
    """Share of a cell inside a stretch `width_m` wide about 0; as `joint`, for wide things."""
    return np.asarray(
        np.clip((width_m / 2 - np.abs(distance_m)) / cell_m + 0.5, 0, 1)
        * np.minimum(width_m / cell_m, 1),
        np.float32,
    )


Colour = tuple[float, float, float]

GLASS: Colour = (38, 46, 52)
OAK: Colour = (74, 62, 50)
IRON: Colour = (66, 68, 68)
CREAM: Colour = (196, 190, 172)
RUST: Colour = (122, 68, 50)
SURROUND: Colour = (186, 177, 156)
METAL: Colour = (92, 92, 74)


def _lay(colour: Float32Array, paint: Colour, cover: Float32Array) -> None:
    """Paint over (bearings, 3, ways) by a share (bearings, ways): few bearings, as a rule."""
    some = np.flatnonzero(cover.any(axis=1))
    if not len(some):
        return
    few = slice(None) if 2 * len(some) > len(cover) else some
    part, cover = colour[few], cover[few]
    for channel, value in enumerate(mixed(*paint)):
        change = value - part[:, channel]
        change *= cover
        part[:, channel] += change
    colour[few] = part


def _dim(colour: Float32Array, left: FloatingArray) -> None:
    """Leave a share (bearings, ways) of the light."""
    colour *= left[:, np.newaxis].astype(np.float32, copy=False)


@dataclass(frozen=True)
class Openings:
    """Windows or doors, `times` round the turn, with a dressed surround and glazing bars."""

    bearing: float
    times: int
    width_m: float
    low_m: float
    high_m: float
    paint: Colour = GLASS
    surround_m: float = 0.16
    bars_m: float = 0.0
    radii_m: tuple[float, float] = (0.0, 99.0)

    def fit(self, patch: Patch, wall: BoolArray, colour: Float32Array, tilt: Float32Array) -> None:  # noqa: ARG002
        """Surround, then opening with a shaded head, then bars."""
        wall = wall & (patch.radius > self.radii_m[0]) & (patch.radius < self.radii_m[1])
        if not wall.any():
            return
        aside = patch.around_m(self.bearing, self.times)
        middle, tall = (self.low_m + self.high_m) / 2, self.high_m - self.low_m
        up = patch.height - middle
        for grow, paint in ((self.surround_m, SURROUND), (0.0, self.paint)):
            across = slot(aside, self.width_m + 2 * grow, patch.width_m)
            along = slot(up, tall + 2 * grow, patch.pitch_m) * wall
            _lay(colour, paint, across * along)
        inside = slot(aside, self.width_m, patch.width_m) * slot(up, tall, patch.pitch_m) * wall
        if self.bars_m:
            bars = np.maximum(
                joint(aside, 0.05, patch.width_m),
                joint(repeat(patch.height - self.low_m, self.bars_m), 0.05, patch.pitch_m),
            )
            _lay(colour, CREAM, bars * inside * np.float32(0.8))
        # the reveal's shadow at the head
        head = joint(patch.height - self.high_m + 0.12, 0.24, patch.pitch_m) * inside
        _dim(colour, 1 - 0.6 * head)


@dataclass(frozen=True)
class Ladder:
    """Iron ladder with its shadow beside it."""

    bearing: float
    low_m: float
    high_m: float

    def fit(self, patch: Patch, wall: BoolArray, colour: Float32Array, tilt: Float32Array) -> None:  # noqa: ARG002
        """Two rails and rungs."""
        aside = patch.around_m(self.bearing)
        run = patch.between(self.low_m, self.high_m) * wall
        for offset, dark in ((0.12, 0.4), (0.0, 1.0)):
            rails = joint(np.abs(aside - offset) - 0.26, 0.07, patch.width_m)
            rungs = joint(repeat(patch.height - offset, 0.32), 0.05, patch.pitch_m)
            rungs = rungs * slot(aside - offset, 0.52, patch.width_m)
            _lay(colour, IRON, np.maximum(rails, rungs) * run * np.float32(dark))


@dataclass(frozen=True)
class Scale:
    """Gauge board: metres in two colours."""

    bearing: float
    width_m: float
    low_m: float
    high_m: float

    def fit(self, patch: Patch, wall: BoolArray, colour: Float32Array, tilt: Float32Array) -> None:  # noqa: ARG002
        """Cream board with every second half metre in rust, and fine marks."""
        aside = patch.around_m(self.bearing)
        run = patch.between(self.low_m, self.high_m) * wall
        board = slot(aside, self.width_m, patch.width_m) * run
        _lay(colour, CREAM, board)
        half = slot(repeat(patch.height - self.low_m - 0.25, 1.0), 0.5, patch.pitch_m)
        _lay(colour, RUST, half * slot(aside, self.width_m * 0.55, patch.width_m) * run)
        fine = joint(repeat(patch.height - self.low_m, 0.1), 0.03, patch.pitch_m)
        _lay(colour, IRON, fine * board * np.float32(0.5))


@dataclass(frozen=True)
class Ribs:
    """Pilasters or flutes: the wall turns aside at their flanks."""

    times: int
    width_m: float
    low_m: float
    high_m: float
    turn: float
    round_section: bool = False

    def fit(self, patch: Patch, wall: BoolArray, colour: Float32Array, tilt: Float32Array) -> None:
        """Tilt of the flanks; a rib's face is a little lighter than the panel behind."""
        aside = patch.around_m(0.0, self.times)
        run = patch.between(self.low_m, self.high_m) * wall
        if self.round_section:
            period = 2 * np.pi * patch.radius / self.times
            seen = np.clip(period / patch.width_m / 2 - 1, 0, 1)
            wave = np.sin(2 * np.pi * aside / period)
            tilt += (self.turn * wave * run * seen).astype(np.float32)
            hollow = 0.5 + 0.5 * np.cos(2 * np.pi * aside / period)
            _dim(colour, 1 - 0.22 * hollow * run * seen)
            return
        flank = 0.14
        right = joint(aside - self.width_m / 2, flank, patch.width_m)
        left = joint(aside + self.width_m / 2, flank, patch.width_m)
        tilt += np.float32(self.turn) * (right - left) * run
        face = slot(aside, self.width_m, patch.width_m) * run
        _dim(colour, 1 + 0.07 * face)


@dataclass(frozen=True)
class Stair:
    """Steel stair that winds up the wall, with its rail and shadow."""

    bearing: float
    per_m: float
    low_m: float
    high_m: float

    def fit(self, patch: Patch, wall: BoolArray, colour: Float32Array, tilt: Float32Array) -> None:  # noqa: ARG002
        """Stringer, treads and hand-rail follow the slope."""
        climb = (patch.bearing[:, np.newaxis] - self.bearing) % (2 * np.pi) / self.per_m
        above = patch.height - self.low_m - climb
        run = patch.between(self.low_m, self.high_m) * wall * (climb < self.high_m - self.low_m)
        slope = np.hypot(patch.pitch_m, patch.width_m / (self.per_m * patch.radius))
        _lay(colour, IRON, slot(above + 0.55, 0.8, slope) * run * np.float32(0.45))
        _lay(colour, METAL, slot(above, 0.30, slope) * run)
        _lay(colour, IRON, joint(above - 1.0, 0.06, slope) * run)
        posts = joint(patch.around_m(0.0, 96), 0.05, patch.width_m)
        _lay(colour, IRON, posts * slot(above - 0.55, 0.9, slope) * run)


@dataclass(frozen=True)
class Plates:
    """Bronze plates with rows of lettering too small to read."""

    bearing: float
    times: int
    width_m: float
    low_m: float
    high_m: float

    def fit(self, patch: Patch, wall: BoolArray, colour: Float32Array, tilt: Float32Array) -> None:  # noqa: ARG002
        """A frame, a field, and lines."""
        aside = patch.around_m(self.bearing, self.times)
        middle, tall = (self.low_m + self.high_m) / 2, self.high_m - self.low_m
        for grow, paint in ((0.14, SURROUND), (0.0, METAL), (-0.12, (70, 72, 58))):
            across = slot(aside, self.width_m + 2 * grow, patch.width_m)
            along = slot(patch.height - middle, tall + 2 * grow, patch.pitch_m) * wall
            _lay(colour, paint, across * along)
        lines = joint(repeat(patch.height - middle, 0.3), 0.12, patch.pitch_m) * wall
        lines = lines * slot(patch.height - middle, tall - 0.6, patch.pitch_m)
        words = np.abs(np.sin(aside * 9.0) + 0.6 * np.sin(aside * 23.0)) > 0.35
        text = lines * slot(aside, self.width_m - 0.6, patch.width_m) * words
        _lay(colour, CREAM, np.asarray(text * 0.5, np.float32))


# Something on the walls of a subject between two heights; `fit` changes colour (m, 3, n), and tilt
# (m, n): radians by which the wall turns aside.
Fitting = Openings | Ladder | Scale | Ribs | Stair | Plates

FITTINGS: dict[Subject, tuple[Fitting, ...]] = {
    "tower": (
        Openings(0.35, 1, 1.3, 1.0, 3.0, OAK, 0.24),
        Openings(0.35, 6, 0.62, 5.0, 7.2, bars_m=0.55),
        Openings(0.87, 6, 0.62, 9.6, 11.8, bars_m=0.55),
        Openings(0.35, 6, 0.62, 16.0, 18.2, bars_m=0.55),
        Openings(0.87, 6, 0.62, 20.2, 22.4, bars_m=0.55),
        Openings(0.1, 10, 0.95, 26.2, 28.6, bars_m=0.6, surround_m=0.12, radii_m=(0, 3)),
        Openings(0.2, 16, 0.42, 25.75, 26.3, IRON, 0.06, radii_m=(3.8, 9)),
        Ladder(2.35, 1.0, 24.0),
        Scale(4.1, 0.75, 1.2, 13.5),
    ),
    "monument": (
        Plates(0.5, 6, 1.9, 3.7, 6.0),
        Ribs(18, 0.0, 8.2, 19.7, 0.75, round_section=True),
        Openings(0.5, 8, 0.62, 21.9, 23.2, surround_m=0.1),
    ),
    "tank": (
        Ribs(24, 0.75, 0.9, 14.5, 0.9),
        Openings(0.3, 1, 1.5, 0.9, 3.1, OAK, 0.2),
        Openings(0.13, 12, 0.8, 12.6, 13.5, surround_m=0.12),
        Stair(0.9, 0.145, 0.9, 14.6),
        Scale(5.4, 0.9, 1.0, 14.0),
        Ribs(96, 0.08, 15.5, 16.4, 1.0),
    ),
}
