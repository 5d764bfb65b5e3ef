"""Motion of the picture in each shot: how fast, which way, how steadily, and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import atan2, degrees, hypot

import numpy as np

from patterns.footage.flow import FAST, MOST_LOST, SMALL, Flow, Look
from patterns.picture.arrays import BoolArray, FloatArray

FEWEST = 3  # looks in a shot
EXACT = 0.05  # of a place's speed, its standard error, from which the place counts
TOLD = 0.03  # of the places, that must be known so exactly
MOMENTS = 90  # percentile of the looks, for the map
STILL = 0.001  # widths a second, below which nothing moves
EDGES_ALONE = 0.06  # of the blocks: where fewer hold more than an edge, edges are taken
TEXTURED = 0.08  # of the blocks that must hold something to follow
FOLLOWED = 0.5  # of the textured blocks that must be followed to speak of motion
ONE_WAY = 0.8  # length of the mean of directions, from which all goes one way
STEADY, NEARLY = 0.15, 0.4  # spread of the speed, 10th to 90th percentile, over its median
LEAST_PLANE, ON_THE_PLANE = 48, 0.6  # blocks, and the share of the fast ones that a plane explains
NEARLY_EXACT = 0.1  # of a block's speed, its standard error, from which it counts for a plane
LEAST_ERROR_PX = 0.05  # of any block
UNKNOWN = (0.0, 0.0, 0.0, 0.0)  # speed, error and place at the border
OFTEN = 0.25  # of the looks that must know a place
CLEARLY = 2  # standard errors, by which the border must go faster to be told
BEYOND = 1.5  # blocks from one on the plane, up to which the border is told
PLANE_PX, PLANE = 0.15, 0.06  # pixels, and share of the displacement, to which it must
WAYS = ("right", "lower right", "down", "lower left", "left", "upper left", "up", "upper right")


@dataclass(frozen=True)
class Shot:
    """Motion between two cuts, in pixels a second of the whole picture."""

    # first, last: pictures
    first: int
    last: int
    why: str = ""  # why nothing is known; '' where something is
    # typical_px_s, fastest_px_s: median, and nearly the fastest, of the places that move and are
    # known to a tenth; 0 where nothing moves
    typical_px_s: float = 0.0
    fastest_px_s: float = 0.0
    # standard error of the fastest where it is told for the border, which no block reaches
    fastest_error_px_s: float = 0.0
    fastest_xy: tuple[float, float] = (0.5, 0.5)  # where it is fastest, shares of width and height
    lower_bound: bool = False  # whether parts go too fast, or change too much, to be followed
    way: str = ""  # 'left', 'outwards' and so on; '' where it is many ways
    unsteady: float = 0.0  # spread of the typical speed, 10th to 90th percentile, over its median
    # moving, sure: shares: of the known places that move, of places with something to follow that
    # is known
    moving: float = 0.0
    sure: float = 0.0
    # speeds that each place reaches in one look of ten, float64 (rows, columns), NaN where not
    # known
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

    `looks`: all of a file.
    `cuts`: first pictures of shots, without the file's first.
    `frames`: frame that each picture shows: a repeat has that of the one before.
    `rate`: those frames a second.
    `scale`: pixels of the whole picture to one of the working picture.
    `size`: width and height of the working picture.
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
    frames = passed[:, None, None]
    dx, dy = (
        np.where(known, np.stack([getattr(f, n) for f in flows]) / frames, np.nan)
        for n in ("dx", "dy")
    )
    speed = np.hypot(dx, dy)
    error_px = np.stack([f.error for f in flows]) / frames
    speed[(error_px >= EXACT * speed) & (speed > STILL * size[0] / float(rate))] = np.nan
    of_places = _reached(speed, 50)
    with np.errstate(invalid="ignore"):
        moves = of_places > STILL * size[0] / float(rate)
    told = (~np.isnan(of_places)).sum()
    if told < TOLD * of_places.size:
        why = "too little beside grain and coding to be measured"
        return Shot(first, last, why, sure=sure)
    to_px_s, moving = scale * float(rate), float(moves.sum() / told)
    found = Shot(first, last, sure=sure, moving=moving, speeds=_reached(speed, MOMENTS) * to_px_s)
    if moving < 0.01:
        return found
    low, high = np.nanpercentile(_of_usual(speed[:, moves] / of_places[moves]), (10, 90))
    unsteady = float(high - low)
    fastest = int(np.nanargmax(np.where(moves, of_places, np.nan)))
    x, y = (np.nanmean([getattr(f, n).ravel()[fastest] for f in flows]) for n in ("x", "y"))
    most, error = float(np.nanpercentile(speed[:, moves], FAST)), 0.0
    if unsteady <= STEADY:
        most = float(np.percentile(of_places[moves], FAST))
        counts = known & (known.mean(axis=0) > OFTEN) & (error_px < NEARLY_EXACT * np.hypot(dx, dy))
        at_the_border = _at_the_border(flows, passed, counts, size)
        if at_the_border[0] - CLEARLY * at_the_border[1] > most:
            most, error, x, y = at_the_border
    return Shot(
        first, last, "", float(np.median(of_places[moves])) * to_px_s, most * to_px_s,
        error * to_px_s, (float(x / size[0]), float(y / size[1])), 1 - sure > MOST_LOST,
        _way(flows, dx, dy, known & moves, size), unsteady, moving, sure, found.speeds,
    )  # fmt: skip


def _of_usual(ratios: FloatArray) -> FloatArray:
    """Median of each row, NaN where nothing is known."""
    known = ~np.isnan(ratios).all(axis=1)
    return np.asarray(np.nanmedian(ratios[known], axis=1), np.float64)


def _at_the_border(
    flows: Sequence[Flow], passed: FloatArray, used: BoolArray, size: tuple[int, int]
) -> tuple[float, float, float, float]:
    """Fastest motion on the picture's border, pixels a frame, its error, and its place.

    Where all that is fast is one plane; else 0.
    `passed`: frames from the first to the second picture of each look.
    `used`: the blocks (looks, rows, columns) whose motion counts.

    Blocks end within the picture, where what is near the camera goes slower than at its border.
    The image of a plane moves by a polynomial of eight numbers (Longuet-Higgins and Prazdny, *The
    Interpretation of a Moving Retinal Image*, Proc. R. Soc. Lond. B 208, 1980; from memory). They
    are fitted to all blocks of all looks, each by its own error.
    """
    right, down, error, x, y = (
        np.stack([getattr(f, n) for f in flows])[used] for n in ("dx", "dy", "error", "x", "y")
    )
    frames, far = np.broadcast_to(passed[:, None, None], used.shape)[used], np.hypot(right, down)
    fitted, moved = _plane((x, y), size), np.concatenate([right, down]) / np.tile(frames, 2)
    weight = np.tile((frames / np.hypot(error, LEAST_ERROR_PX)) ** 2, 2)
    if far.size < LEAST_PLANE:
        return UNKNOWN
    fast = near = far / frames >= np.median(far / frames)
    for _ in range(8):
        if near.sum() < LEAST_PLANE or near[fast].mean() < ON_THE_PLANE:
            return UNKNOWN
        counts = np.tile(near, 2) * weight
        inverse = np.linalg.pinv((fitted * counts[:, None]).T @ fitted)
        numbers = inverse @ (fitted.T @ (counts * moved))
        left = moved - fitted @ numbers
        near = np.hypot(*left.reshape(2, -1)) * frames < PLANE_PX + PLANE * far
    counts = np.tile(near, 2) * weight
    variance = float(counts @ left**2) / (2 * near.sum() - 8)
    x, y = _border_beside(x[near], y[near], size)
    if not x.size:
        return UNKNOWN
    told = _plane((x, y), size)
    speeds = np.hypot(*(told @ numbers).reshape(2, -1))
    best = int(speeds.argmax())
    rows = told.reshape(2, -1, 8)[:, best]
    error_px = float(np.sqrt(variance * np.trace(rows @ inverse @ rows.T)))
    return float(speeds[best]), error_px, float(x[best]), float(y[best])


def _border_beside(
    x: FloatArray, y: FloatArray, size: tuple[int, int]
) -> tuple[FloatArray, FloatArray]:
    """Places on the border that are hardly farther than a block from one of these."""
    (width, height), s = size, np.linspace(0, 1, 65)
    along = np.concatenate([s * width, s * width, 0 * s, 0 * s + width])
    down = np.concatenate([0 * s, 0 * s + height, s * height, s * height])
    # long files have many blocks, at few places
    places = np.unique(np.rint(np.stack([x, y]) / 4), axis=1) * 4
    apart = np.hypot(along[:, None] - places[0], down[:, None] - places[1]).min(axis=1)
    return along[apart < BEYOND * SMALL], down[apart < BEYOND * SMALL]


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


def _reached(speed: FloatArray, percent: float) -> FloatArray:
    """Percentile of the looks at each place, NaN where fewer than a quarter of them know it."""
    enough = (~np.isnan(speed)).sum(axis=0) >= max(2, len(speed) // 4)
    reached = np.nanpercentile(np.where(enough, speed, 0.0), percent, axis=0)
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
