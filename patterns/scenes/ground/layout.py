"""Lie of the land: smooth maps, 4 m from sample to sample, of what lies where.

Nothing is drawn here. Borders, tracks and shores are kept as distances in metres, which
stay sharp however far they are magnified, because shading puts the threshold on them
after interpolation. Parcels meet under a verge wider than a map sample, so that the
parcel number may be taken from the nearest sample without showing steps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import Float32Array, FloatArray, IndexArray
from patterns.scenes.ground.noise import fractal, shifted
from patterns.scenes.ground.palette import CROPS, shadow_offset

PERIOD_M = 2048.0
MAP_SIZE = 512
MAP_STEP_M = PERIOD_M / MAP_SIZE
BRIGHTNESS = 1.2  # of the whole ground, so that it stands well on a display
HEDGE_HEIGHT_M, TREE_HEIGHT_M = 2.0, 1.9  # low: shadows that hide little


# In the order in which they lie in `Layout.maps`; distances in metres.
MAPS = (
    "border",  # distance from the nearest parcel border
    "border_sunward",  # the same for the point from which a hedge's shadow would fall here
    "hedge",  # half the width of the hedge that stands on the border, below 0 where there is none
    "water",  # distance from the shore, negative in water
    "track",  # distance from the middle of the nearest track, negative on one side of it
    "wild",  # distance into scrub and rock, negative on farmland; rough
    "trees",  # how readily trees stand here (0 none, 1 closed wood)
    "trees_sunward",  # the same sunward
    "relief",  # factor on the light from the slope of the land
    "bend_x",  # what is added to x and y to follow the parcels' own straight coordinates
    "bend_y",
)


@dataclass(frozen=True)
class Layout:
    """Maps of MAP_SIZE squared samples, first axis x, second y."""

    maps: Float32Array  # those of `MAPS`, (maps, x, y)
    parcel: npt.NDArray[np.uint16]  # number of the parcel, an index into `colours` and `rows`
    # colours, rows: linear light (n, 3) of each parcel; strength of its drilled rows, negative if
    # they run along x
    colours: Float32Array
    rows: Float32Array


def lay_out(rng: np.random.Generator) -> Layout:
    """Country of one seed, periodic over PERIOD_M along both axes."""
    broad = fractal(rng, MAP_SIZE, 300, 60, 1.5)
    bend_x = 55 * fractal(rng, MAP_SIZE, 260, 90, 2.0)
    bend_y = 55 * fractal(rng, MAP_SIZE, 260, 90, 2.0)
    border, parcel, count = _parcels(rng, bend_x, bend_y)
    colours, rows = _crops(rng, count)
    # Level lines of broad noise wander as lanes and streams do, and seldom close near by.
    water = _waters(broad, fractal(rng, MAP_SIZE, 500, 110, 2.6))
    middle = _level_distance(fractal(rng, MAP_SIZE, 300, 100, 2.2), 0.3, 400)
    track = np.abs(middle)
    wild = _level_distance(fractal(rng, MAP_SIZE, 160, 16, 1.4), 0.75, 60)
    wild = np.minimum(wild, 60)
    patchy = fractal(rng, MAP_SIZE, 30, 8, 0.7)
    hedge = np.where(np.minimum(track, water) < 8, -1, 1.15 + 0.7 * patchy).astype(np.float32)
    trees = _tree_cover(rng, border, patchy, wild)
    trees -= np.clip(1.6 - np.minimum(water, track) / 4, 0, 2)
    relief = _relief(fractal(rng, MAP_SIZE, 130, 24, 1.6))
    hx, hy = (v / MAP_STEP_M for v in shadow_offset(HEDGE_HEIGHT_M))
    tx, ty = (v / MAP_STEP_M for v in shadow_offset(TREE_HEIGHT_M))
    maps = {
        "border": border,
        "border_sunward": shifted(border, hx, hy),
        "hedge": hedge,
        "water": water,
        "track": middle,
        "wild": wild,
        "trees": trees,
        "trees_sunward": shifted(trees, tx, ty),
        "relief": relief,
        "bend_x": bend_x,
        "bend_y": bend_y,
    }
    return Layout(np.stack([maps[name] for name in MAPS]), parcel, colours, rows)


def _cuts(rng: np.random.Generator, mean_m: float) -> FloatArray:
    """Places 0 <= s < PERIOD_M at which to cut a period into uneven lengths of about mean_m."""
    count = round(PERIOD_M / mean_m)
    lengths = 0.45 + 1.1 * rng.random(count)
    return np.asarray((np.cumsum(lengths) - lengths) / lengths.sum() * PERIOD_M)


def _cut_of(s: Float32Array, cuts: FloatArray) -> tuple[IndexArray, Float32Array]:
    """Number of the piece in which s lies, and its distance from the nearer end of it."""
    ends = np.append(cuts, PERIOD_M).astype(np.float32)
    piece = np.searchsorted(ends, s, side="right") - 1
    piece = np.clip(piece, 0, len(cuts) - 1)
    return piece, np.minimum(s - ends[piece], ends[piece + 1] - s)


def _parcels(
    rng: np.random.Generator, bend_x: Float32Array, bend_y: Float32Array
) -> tuple[Float32Array, npt.NDArray[np.uint16], int]:
    """Strips of land along x, each cut across at its own places, all bent."""
    axis = (np.arange(MAP_SIZE, dtype=np.float32) * MAP_STEP_M).astype(np.float32)
    along = np.mod(axis[:, None] + bend_x, np.float32(PERIOD_M))
    across = np.mod(axis[None, :] + bend_y, np.float32(PERIOD_M))
    strip, border = _cut_of(across, _cuts(rng, 118))
    parcel = np.zeros(strip.size, np.uint16)
    ends = np.empty(strip.size, np.float32)
    # Samples in the order of their strips: a sort costs less than a search for each strip.
    order = np.argsort(strip.ravel().astype(np.uint16), kind="stable")
    sizes = np.bincount(strip.ravel())
    along = along.ravel()
    count = first = 0
    for size in sizes.tolist():
        here = order[first : first + size]
        cuts = _cuts(rng, 110 + 120 * rng.random())
        piece, distance = _cut_of(along[here], cuts)
        parcel[here] = count + piece
        ends[here] = distance
        count, first = count + len(cuts), first + size
    return np.minimum(border, ends.reshape(border.shape)), parcel.reshape(border.shape), count


def _crops(rng: np.random.Generator, count: int) -> tuple[Float32Array, Float32Array]:
    """Colour and row strength of each parcel; no two are quite alike."""
    kind = rng.integers(0, len(CROPS), count)
    colours = np.stack([CROPS[k][0] for k in kind])
    colours = colours * (1 + 0.10 * rng.standard_normal((count, 1)))
    colours = colours * (1 + 0.035 * rng.standard_normal((count, 3)))
    rows = np.array([CROPS[k][1] for k in kind]) * np.where(rng.random(count) < 0.6, -1, 1)
    return np.maximum(colours, 0.01).astype(np.float32), rows.astype(np.float32)


def _level_distance(field: Float32Array, level: float, most_m: float) -> Float32Array:
    """Rough signed distance in metres from the line where `field` passes `level`."""
    gx = (np.roll(field, -1, 0) - np.roll(field, 1, 0)) / (2 * MAP_STEP_M)
    gy = (np.roll(field, -1, 1) - np.roll(field, 1, 1)) / (2 * MAP_STEP_M)
    slope = np.sqrt(gx * gx + gy * gy + np.float32(1e-3) ** 2)
    return np.asarray(np.clip((field - level) / slope, -most_m, most_m), np.float32)


def _waters(broad: Float32Array, course: Float32Array) -> Float32Array:
    """Lakes in the lowest ground and a stream that winds past them."""
    lake = _level_distance(broad, -1.75, 400)
    stream = np.abs(_level_distance(course, 0.1, 400)) - (5.0 + 0.6 * np.roll(broad, 300, 0))
    return np.asarray(np.minimum(lake, stream), np.float32)


def _tree_cover(
    rng: np.random.Generator, border: Float32Array, patchy: Float32Array, wild: Float32Array
) -> Float32Array:
    line = np.exp(-((border / 5) ** 2)) * np.clip(0.55 + 0.35 * patchy, 0, 0.8)
    wood = np.clip(_level_distance(fractal(rng, MAP_SIZE, 90, 20, 1.3), 1.55, 40) / 14, 0, 0.95)
    bushes = np.clip(wild / 30, 0, 1) * np.clip(0.35 + 0.2 * patchy, 0, 0.7)
    return np.asarray(np.maximum(np.maximum(line, wood), bushes), np.float32)


def _relief(height: Float32Array) -> Float32Array:
    """Light on gentle slopes: more on those that face the sun."""
    sun = shadow_offset(1.0)
    rise = [np.roll(height, -1, axis) - np.roll(height, 1, axis) for axis in (0, 1)]
    toward = rise[0] * np.float32(sun[0]) + rise[1] * np.float32(sun[1])
    return np.asarray(BRIGHTNESS * np.clip(1 + 0.11 * toward / toward.std(), 0.7, 1.3), np.float32)
