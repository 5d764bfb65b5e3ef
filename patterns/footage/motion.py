"""Motion of the picture in each shot: how fast, which way, how steadily, and how sure that is."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import atan2, degrees, hypot

import numpy as np

from patterns.footage.flow import LARGE, SMALL, Flow, flow
from patterns.picture.arrays import BoolArray, FloatArray, UInt8Array

LOOKS_HZ = 6  # times a second that motion is measured
LEAST_LOOKS, MOST_LOOKS = 10, 1200  # in a file
FARTHEST = 8  # pictures apart that are compared, where motion is slow
FOLLOWED_PX = 12.0  # that the fastest part may go between compared pictures
FEWEST = 3  # looks in a shot
MOMENTS = 90  # percentile of the looks, for the map
FAST = 95  # percentile of all blocks that move, the fastest of which may be mistakes
STILL_PX = 0.03  # pixels a frame of the working picture, below which nothing moves
EDGES_ALONE = 0.06  # of the blocks: where fewer hold more than an edge, edges are taken
TEXTURED = 0.08  # of the blocks that must hold something to follow
FOLLOWED = 0.5  # of the textured blocks that must be followed to speak of motion
MOST_LOST = 0.25  # of them that may be lost for the fastest to be more than a lower bound
ONE_WAY = 0.8  # length of the mean of directions, from which all goes one way
STEADY, NEARLY = 0.15, 0.4  # spread of the speed, 10th to 90th percentile, over its median
LEAST_PLANE, ON_THE_PLANE = 16, 0.8  # places, and the share of them that a plane must explain
PLANE_PX, PLANE = 0.08, 0.08  # pixels a frame, and of the speed, to which it must
WAYS = ("right", "lower right", "down", "lower left", "left", "upper left", "up", "upper right")


@dataclass(frozen=True)
class Look:
    """Motion from picture `first` to picture `last`."""

    first: int
    last: int
    flow: Flow


class MotionLooks:
    """Takes working pictures in their order, and follows some into later ones."""

    def __init__(self, rate: Fraction, pictures: int) -> None:
        often = min(round(rate / LOOKS_HZ), pictures // LEAST_LOOKS)
        self._every = max(1, often, pictures // MOST_LOOKS)
        self._kept: deque[UInt8Array] = deque(maxlen=FARTHEST + 1)
        self._speeds: deque[float] = deque([FOLLOWED_PX] * 2, maxlen=2)
        self._count = 0
        self.looks: list[Look] = []

    def take(self, picture: UInt8Array) -> None:
        """Add the next one, uint8 (height, width)."""
        self._kept.append(picture)
        if self._count and self._count % self._every == 0 and min(picture.shape) >= LARGE:
            self._look(self._count)
        self._count += 1

    def _look(self, now: int) -> None:
        apart = int(np.clip(FOLLOWED_PX / max(*self._speeds, 1e-6), 1, len(self._kept) - 1))
        before = self._kept[-1 - apart]
        if before.shape != self._kept[-1].shape:
            return
        found = flow(before, self._kept[-1])
        self.looks.append(Look(now - apart, now, found))
        speed = np.hypot(found.dx, found.dy)[found.sure]
        lost = (found.textured & ~found.sure).sum() > found.sure.sum()
        # what was lost may go faster than what was not
        self._speeds.append(FOLLOWED_PX if lost else float(np.percentile(speed, FAST)) / apart
                            if speed.size else 0.0)  # fmt: skip


@dataclass(frozen=True)
class Shot:
    """Motion between two cuts, in pixels a second of the whole picture.

    Attributes
    ----------
    first, last
        Pictures.
    why
        Why nothing is known; '' where something is.
    typical_px_s, fastest_px_s
        Median, and nearly the fastest, of the places that move; 0 where nothing does.
    fastest_xy
        Where it is fastest, shares of width and height.
    lower_bound
        Whether parts go too fast, or change too much, to be followed.
    way
        'left', 'outwards' and so on; '' where it is many ways.
    unsteady
        Spread of the typical speed, 10th to 90th percentile, over its median.
    moving, sure
        Shares: of the known places that move, of places with something to follow that is known.
    speeds
        Speeds that each place reaches in one look of ten, float64 (rows, columns), NaN where not
        known.
    """

    first: int
    last: int
    why: str = ""
    typical_px_s: float = 0.0
    fastest_px_s: float = 0.0
    fastest_xy: tuple[float, float] = (0.5, 0.5)
    lower_bound: bool = False
    way: str = ""
    unsteady: float = 0.0
    moving: float = 0.0
    sure: float = 0.0
    speeds: FloatArray | None = None

    @property
    def steadiness(self) -> str:
        """In words."""
        if self.unsteady <= STEADY:
            return "steady"
        return "nearly steady" if self.unsteady <= NEARLY else "unsteady"


def shots_of(
    looks: Sequence[Look],
    cuts: Sequence[int],
    frames: FloatArray,
    rate: Fraction,
    scale: float,
    size: tuple[int, int],
) -> tuple[Shot, ...]:
    """Motion of each shot.

    Parameters
    ----------
    looks
        All of a file.
    cuts
        First pictures of shots, without the file's first.
    frames
        Frame that each picture shows: a repeat has that of the one before.
    rate
        Those frames a second.
    scale
        Pixels of the whole picture to one of the working picture.
    size
        Width and height of the working picture.
    """
    starts = [0, *cuts]
    ends = [*(cut - 1 for cut in cuts), len(frames) - 1]
    shots = []
    for first, last in zip(starts, ends, strict=True):
        own = [
            look for look in looks
            if first <= look.first and look.last <= last and frames[look.last] > frames[look.first]
        ]  # fmt: skip
        passed = np.array([frames[look.last] - frames[look.first] for look in own])
        shots.append(_shot(first, last, [look.flow for look in own], passed, rate, scale, size))
    return tuple(shots)


def _shot(
    first: int,
    last: int,
    flows: Sequence[Flow],
    passed: FloatArray,
    rate: Fraction,
    scale: float,
    size: tuple[int, int],
) -> Shot:
    if len(flows) < FEWEST:
        return Shot(first, last, "too short")
    textured = np.stack([f.textured for f in flows])
    known = _known(flows)
    if textured.mean() < TEXTURED:
        return Shot(first, last, "too flat or too dark to follow anything")
    sure = float((known & textured).sum() / textured.sum())
    if sure < FOLLOWED:
        return Shot(first, last, "too fast, or it changes too much, to be followed", sure=sure)
    dx, dy = (
        np.stack([getattr(f, n) for f in flows]) / passed[:, None, None] for n in ("dx", "dy")
    )
    speed = np.where(known, np.hypot(dx, dy), np.nan)
    moves = np.nan_to_num(speed) > STILL_PX
    to_px_s = scale * float(rate)
    places = _fast_moments(speed, np.maximum(2, len(flows) // 4))
    moving = float(moves.sum() / known.sum())
    found = Shot(first, last, sure=sure, moving=moving, speeds=places * to_px_s)
    if not moves.any() or moving < 0.01:
        return found
    of_looks = [float(np.median(s[m])) for s, m in zip(speed, moves, strict=True) if m.any()]
    low, middle, high = np.percentile(of_looks, (10, 50, 90))
    fastest = int(np.nanargmax(np.where(np.isnan(places), -1.0, places)))
    x, y = (np.nanmean([getattr(f, n).ravel()[fastest] for f in flows]) for n in ("x", "y"))
    most, unsteady = float(np.percentile(speed[moves], FAST)), float((high - low) / middle)
    if unsteady <= STEADY:
        at_the_border = _at_the_border(flows, np.where(moves, dx, np.nan), dy, size)
        most, x, y = max((most, x, y), at_the_border)
    return Shot(
        first, last, "", float(np.median(speed[moves])) * to_px_s, most * to_px_s,
        (float(x / size[0]), float(y / size[1])), 1 - sure > MOST_LOST,
        _way(flows, dx, dy, moves, size), unsteady, moving, sure, found.speeds,
    )  # fmt: skip


def _at_the_border(
    flows: Sequence[Flow], dx: FloatArray, dy: FloatArray, size: tuple[int, int]
) -> tuple[float, float, float]:
    """Fastest motion on the picture's border and its place, where all moves as one plane.

    Blocks end within the picture, where what is near the camera goes slower than at its border.
    The image of a plane moves by a polynomial of eight numbers (Longuet-Higgins and Prazdny, *The
    Interpretation of a Moving Retinal Image*, Proc. R. Soc. Lond. B 208, 1980; from memory).
    """
    known = (~np.isnan(dx)).sum(axis=0) > len(flows) / 2
    if known.sum() < LEAST_PLANE:
        return 0.0, 0.0, 0.0
    middle = [np.nanmedian(part[:, known], axis=0) for part in (dx, dy)]
    at = [np.mean([getattr(f, n)[known] for f in flows], axis=0) for n in ("x", "y")]
    fitted, moved = _plane(at, size), np.concatenate(middle)
    used = np.ones(known.sum(), np.bool_)
    for _ in range(3):
        both = np.concatenate([used, used])
        numbers = np.linalg.lstsq(fitted[both], moved[both], rcond=None)[0]
        left = np.hypot(*(moved - fitted @ numbers).reshape(2, -1))
        allowed = PLANE_PX + PLANE * np.hypot(*middle)
        used = left < allowed
        if used.mean() < ON_THE_PLANE:
            return 0.0, 0.0, 0.0
    s, width, height = np.linspace(0, 1, 65), *size
    x = np.concatenate([s * width, s * width, 0 * s, 0 * s + width])
    y = np.concatenate([0 * s, 0 * s + height, s * height, s * height])
    apart = np.hypot(x[:, None] - at[0], y[:, None] - at[1]).min(axis=1)
    x, y = x[apart < SMALL], y[apart < SMALL]  # no farther than is known
    if not x.size:
        return 0.0, 0.0, 0.0
    speeds = np.hypot(*(_plane([x, y], size) @ numbers).reshape(2, -1))
    best = int(speeds.argmax())
    return float(speeds[best]), float(x[best]), float(y[best])


def _plane(at: Sequence[FloatArray], size: tuple[int, int]) -> FloatArray:
    """Rows whose products with eight numbers are displacements to the right, then down."""
    x, y = at[0] / size[0] - 0.5, at[1] / size[0] - 0.5
    one, none = np.ones_like(x), np.zeros_like(x)
    right = np.stack([one, x, y, none, none, none, x * x, x * y], axis=1)
    down = np.stack([none, none, none, one, x, y, x * y, y * y], axis=1)
    return np.concatenate([right, down])


def _known(flows: Sequence[Flow]) -> BoolArray:
    """Blocks whose motion is taken: those with an edge alone only where there are hardly others."""
    sure = np.stack([f.sure for f in flows])
    full = sure & ~np.stack([f.edge for f in flows])
    return full if full.mean() >= EDGES_ALONE else sure


def _fast_moments(speed: FloatArray, least: int) -> FloatArray:
    """What each place reaches in one look of ten, NaN where fewer than `least` know it."""
    enough = (~np.isnan(speed)).sum(axis=0) >= least
    reached = np.nanpercentile(np.where(enough, speed, 0.0), MOMENTS, axis=0)
    return np.asarray(np.where(enough, reached, np.nan), np.float64)


def _way(
    flows: Sequence[Flow], dx: FloatArray, dy: FloatArray, moves: BoolArray, size: tuple[int, int]
) -> str:
    """Which way most of the picture goes, or that it goes away from or towards its middle."""
    length = np.hypot(dx, dy)[moves]
    x, y = dx[moves] / length, dy[moves] / length
    mean = float(x.mean()), float(y.mean())
    if hypot(*mean) >= ONE_WAY:
        return WAYS[round(degrees(atan2(mean[1], mean[0])) / 45) % 8]
    right, down = (
        np.stack([getattr(f, n) for f in flows])[moves] - half
        for n, half in (("x", size[0] / 2), ("y", size[1] / 2))
    )
    outwards = float(((x * right + y * down) / np.maximum(1e-6, np.hypot(right, down))).mean())
    if abs(outwards) < ONE_WAY:
        return ""
    return "outwards" if outwards > 0 else "inwards"
