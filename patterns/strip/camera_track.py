"""Following the strip from picture to picture by its edges that never change (READING.md).

The mean light across an edge says how far it is from its place, whatever the blur; all these
distances move the homography, by least squares, with less weight for those that do not fit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from patterns.picture.arrays import BoolArray, FloatArray, UInt8Array
from patterns.strip.code import Identity, identity_bits
from patterns.strip.layout import Rect, StripGrid, grid
from patterns.strip.placement import Placement, centres, gather_lights

SAMPLES = 9  # across each edge
# How much perspective is trusted to stay; the last is the growth of white by over-exposure.
STIFF = np.array([0, 0, 0, 0, 0, 0, 0.03, 0.1, 0.02])
SCATTER = 0.12  # grid units: distances that differ by more from the fit lose weight
LEAST_EDGES = 16
NEARLY = 0.25  # grid units: cells, the narrowest of which have two, may be read so far beside them
STILL = 0.1  # grid units: a round that moves no edge by more leaves a tenth of that to the next


class _Edges(NamedTuple):
    """Edges of white cells, and the cells that say what is white and black beside them."""

    reach: FloatArray  # of each edge, grid units: how far from its place it is looked for
    along: FloatArray  # its place along the strip, as a fraction of the band
    # (edges x SAMPLES + cells, 2): the places across each edge, then the middles of the lit and
    # of the unlit cells, in fractions of the band
    points: FloatArray
    lit: FloatArray  # where those cells lie along the strip
    unlit: FloatArray
    # (edges, 9): how far each moves outward for eight changes of the homography and a growth
    design: FloatArray


class Fit(NamedTuple):
    """A strip's place after a fit, and how well its edges agree: RMS in grid units."""

    placement: Placement
    rms: float


# A side of a cell: the cell, its outward direction (-1, 0 or 1 each way), reach, and places on it.
Side = tuple[Rect, tuple[int, int], float, int]


def _places(side: Side, units: FloatArray) -> Iterator[tuple[float, ...]]:
    """Place, outward direction and reach of each place on a side."""
    rect, outward, reach, count = side
    low, high = np.array(rect[:2]) * units, np.array(rect[2:]) * units
    for share in (np.arange(count) + 0.5) / count:
        along = low + (0.2 + 0.6 * share) * (high - low)  # corners are rounded by blur
        at = np.where(outward, np.where(np.array(outward) > 0, high, low), along)
        yield (*at, *outward, reach)


def _marks(on: StripGrid) -> Iterator[Side]:
    for out, post, flag in zip((-1, 1), on.posts, on.flags, strict=True):
        for mark, outer, inner, count in ((post, 1.7, 1.1, 8), (flag, 1.1, 1.5, 4)):
            yield mark, (out, 0), outer, count
            yield mark, (-out, 0), inner, count
            yield mark, (0, -1), 1.5, 2
            yield mark, (0, 1), 1.5, 2


def _references(on: StripGrid) -> Iterator[Side]:
    for white in on.white:
        for black in on.black:
            apart = (black.left - white.left) * on.units[0]
            if abs(apart) < 1.6 * (white.right - white.left) * on.units[0]:
                yield white, (1 if apart > 0 else -1, 0), 1.5, 4
        yield white, (0, -1), 1.4, 2
    yield on.white[0], (-1, 0), 1.5, 4


def _identity(on: StripGrid, bits: BoolArray) -> Iterator[Side]:
    cells = on.identity
    lowest = max(cell.bottom for cell in cells)
    for i, cell in enumerate(cells):
        if not bits[i]:
            continue
        if cell.bottom > lowest - 1e-6:
            yield cell, (0, 1), 1.1, 1
        for j, outward in ((i - 1, -1), (i + 1, 1)):
            if 0 <= j < len(cells) and not bits[j] and abs(cells[j].top - cell.top) < 1e-6:
                yield cell, (outward, 0), 1.1, 2


@lru_cache(maxsize=16)
def _edges(arrangement: str, identity: Identity | None, marks_only: bool) -> _Edges:
    on = grid(arrangement)
    sides = [*_marks(on)] if marks_only else [*_marks(on), *_references(on)]
    if identity is not None and not marks_only:
        sides += _identity(on, identity_bits(identity))
    units = np.array(on.units, float)
    table = np.array([place for side in sides for place in _places(side, units)])
    at, outward, reach = table[:, :2], table[:, 2:4], table[:, 4]
    steps = np.linspace(-1, 1, SAMPLES) * reach[:, None]
    across = (at[:, None] + steps[..., None] * outward[:, None]) / units
    lit = centres(on.flags[:1] + on.white + on.flags[1:])
    unlit = centres(on.dark[3:4] + on.black + on.dark[4:5])
    points = np.concatenate([across.reshape(-1, 2), lit, unlit])
    design = _design(at / units, outward * units)
    return _Edges(reach, at[:, 0] / units[0], points, lit[:, 0], unlit[:, 0], design)


def _design(at: FloatArray, outward: FloatArray) -> FloatArray:
    """`_Edges.design`, from places and directions in fractions of the band."""
    x, y = at.T
    nx, ny = outward.T
    along = nx * x + ny * y
    columns = [nx * x, nx * y, nx, ny * x, ny * y, ny, -along * x, -along * y, np.ones_like(x)]
    return np.stack(columns, 1)


def unit_px(placement: Placement) -> FloatArray:
    """Pixels per grid unit along the strip and across it, (5, 2), at five places along it."""
    here, *beside = placement.to_picture(_unit_steps(placement.arrangement))
    return np.stack([np.hypot(*(there - here).T) for there in beside], 1)


@lru_cache(maxsize=2)
def _unit_steps(arrangement: str) -> FloatArray:
    """Five places, and those a grid unit along and across from them, (3, 5, 2), of the band."""
    base = np.stack([np.linspace(0.02, 0.98, 5), np.full(5, 0.5)], 1)
    wide, high = grid(arrangement).units
    steps = np.array([[0, 0], [1 / wide, 0], [0, 1 / high]])
    return np.asarray(base + steps[:, None], np.float64)


def _distances(lumas: Sequence[UInt8Array], placement: Placement, edges: _Edges) -> FloatArray:
    """How far outward each edge lies from where it is expected, grid units; NaN unknown.

    (pictures, edges).
    """
    found = gather_lights(lumas, placement.to_picture(edges.points))
    cells = np.nan_to_num(found[:, -len(edges.lit) - len(edges.unlit) :])
    white, black = (
        np.stack([np.interp(edges.along, at, light) for light in seen])
        for at, seen in (
            (edges.lit, cells[:, : len(edges.lit)]),
            (edges.unlit, cells[:, len(edges.lit) :]),
        )
    )
    light, span = found[:, : len(edges.reach) * SAMPLES], white - black
    light = light.reshape(*span.shape, SAMPLES)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.clip((light - black[..., None]) / span[..., None], -0.3, 1.3)
        # trapezoids by hand: the library's function has other names before and after NumPy 2.0
        means = ((share[..., 1:] + share[..., :-1]) / 2).sum(axis=-1) / (SAMPLES - 1)
    far = edges.reach * (2 * means - 1)
    far[~(span > 0)] = np.nan
    return np.asarray(far, np.float64)


def _solve(design: FloatArray, wanted: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Changes (pictures, 9) that move edges as `wanted` (pictures, edges), and what is left."""
    weight: FloatArray = np.ones(wanted.shape)
    change: FloatArray = np.zeros((len(wanted), len(STIFF)))
    rest: FloatArray = wanted
    count = wanted.shape[1]
    ridge = np.diag(STIFF * count + 1e-9)
    for _ in range(3):
        weighted = (design * weight[..., None]).transpose(0, 2, 1)
        solved = np.linalg.solve(weighted @ design + ridge, weighted @ wanted[..., None])
        change = np.asarray(solved[..., 0], np.float64)
        rest = np.asarray(wanted - change @ design.T, np.float64)
        ordered = np.sort(np.abs(rest), axis=1)
        median = (ordered[:, (count - 1) // 2] + ordered[:, count // 2]) / 2
        scale = np.maximum(SCATTER, 1.5 * median)[:, None]
        weight = np.asarray(1 / (1 + (rest / scale) ** 2), np.float64)
    return change, rest


def _rms(rest: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(np.mean(np.minimum(rest**2, 1), axis=-1)), np.float64)


def _moved(placement: Placement, change: FloatArray) -> Placement | None:
    delta = np.append(change[:8], 0.0).reshape(3, 3)
    if not np.isfinite(delta).all() or np.abs(delta).max() > 1:
        return None
    matrix = placement.matrix @ (np.eye(3) + delta)
    return replace(placement, matrix=matrix / matrix[2, 2])


def refine(
    luma: UInt8Array,
    placement: Placement,
    identity: Identity | None = None,
    *,
    rounds: int = 2,
    marks_only: bool = False,
) -> Fit | None:
    """Move a placement so that the strip's unchanging edges lie where they are seen.

    By about a grid unit in each of the `rounds`, the last of which are left out where it lies
    still; by edges of the identity cells too where `identity` is known, of the marks at the ends
    alone with `marks_only`.
    None where too few edges are in the picture or the fit breaks down.
    """
    edges = _edges(placement.arrangement, identity, marks_only)
    for _ in range(rounds):
        found = _distances([luma], placement, edges)
        known = ~np.isnan(found[0])
        if known.sum() < LEAST_EDGES:
            return None
        change, rest = _solve(edges.design[known], found[:, known])
        moved = _moved(placement, change[0])
        if moved is None:
            return None
        placement = moved
        if np.abs(edges.design[:, :8] @ change[0, :8]).max() < STILL:
            break
    return Fit(placement, float(_rms(rest[0])))


def refine_together(
    lumas: Sequence[UInt8Array], placement: Placement, identity: Identity | None
) -> Fit | None:
    """`refine` of pictures in which the strip lies nearly where it is expected: of the last one.

    With the worst of their fits; None where in one it lies elsewhere or is not wholly seen.
    """
    edges = _edges(placement.arrangement, identity, False)
    found = _distances(lumas, placement, edges)
    if np.isnan(found).any():
        return None
    change, rest = _solve(edges.design, found)
    if not np.abs(change[:, :8] @ edges.design[:, :8].T).max() < NEARLY:
        return None
    moved = _moved(placement, change[-1])
    return None if moved is None else Fit(moved, float(_rms(rest).max()))
