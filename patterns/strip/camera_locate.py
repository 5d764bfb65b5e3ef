"""Finding the strip in a picture by its posts: any roll, tilted, mirrored (READING.md)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import pairwise, product
from typing import NamedTuple

import numpy as np

from patterns.picture.arrays import BoolArray, FloatArray, IndexArray, UInt8Array
from patterns.strip.camera_track import Fit, refine
from patterns.strip.layout import ARRANGEMENTS, StripGrid, grid
from patterns.strip.placement import Placement, centres, gather_light, homographies

LOOKED_AT_PX = 1100  # pictures are thinned to about this on their longer side
BLOCK_PX = 12
REACH_BLOCKS = 2  # light and dark are compared over so many blocks to every side
LEAST_RANGE = 14  # codes between the lightest and darkest: flatter places hold nothing
MOST_RUNS = 200_000
LEAST_POST_PX = 9.0
SLIM = (1.7, 16.0)  # length over width of a post, tilted to either side
FILL = (0.7, 1.2)  # area over that of the rectangle with the same moments
SPACING = (4.0, 45.0)  # distance of the posts over their length
MOST_POSTS, MOST_PAIRS = 160, 300
SHARES = (0.58, 0.78, 0.42)  # thresholds: blur and over-exposure close the gaps below high ones
LEAST_CLEAR = 0.3  # of the light of the marks: what the dark places must stay below
CUT = 0.5  # of the light of a post: what lies beyond its ends must stay below
PERSPECTIVE = np.linspace(-0.3, 0.3, 81)  # tried along the strip
LARGEST_RMS = 0.5  # grid units: edges that scatter more are no strip's


class Blobs(NamedTuple):
    """Bright regions as rectangles of equal moments."""

    centre: FloatArray  # (n, 2): column and row, pixel (i, j) covering i to i + 1 and j to j + 1
    length: FloatArray  # (n,): longer side of the rectangle of equal second moments, pixels
    width: FloatArray  # (n,): the other side
    axis: FloatArray  # (n, 2): unit vector along the long side
    area: FloatArray  # (n,): pixels


def thinned(luma: UInt8Array) -> tuple[UInt8Array, int]:
    """Every n-th pixel of every n-th row, and n."""
    step = max(1, round(max(luma.shape) / LOOKED_AT_PX))
    return np.ascontiguousarray(luma[::step, ::step]), step


def _around(blocks: UInt8Array) -> UInt8Array:
    """Each block with its neighbours, (down, across, side, side)."""
    side = 2 * REACH_BLOCKS + 1
    padded = np.pad(blocks, REACH_BLOCKS, mode="edge")
    return np.lib.stride_tricks.sliding_window_view(padded, (side, side))


def lit_pixels(luma: UInt8Array, share: float) -> BoolArray:
    """Pixels above `share` of the range of codes of their surroundings, (height, width)."""
    height, width = luma.shape
    down, across = -(-height // BLOCK_PX), -(-width // BLOCK_PX)
    padded = np.pad(luma, ((0, down * BLOCK_PX - height), (0, across * BLOCK_PX - width)), "edge")
    blocks = padded.reshape(down, BLOCK_PX, across, BLOCK_PX)
    high = _around(blocks.max(axis=(1, 3))).max(axis=(2, 3)).astype(np.float32)
    low = _around(blocks.min(axis=(1, 3))).min(axis=(2, 3)).astype(np.float32)
    level = np.where(high - low > LEAST_RANGE, low + share * (high - low), 255)
    lit = blocks > level[:, None, :, None]
    return np.asarray(lit.reshape(padded.shape)[:height, :width])


def _runs(lit: BoolArray) -> tuple[IndexArray, IndexArray, IndexArray]:
    """Row, first column and column after the last of each run of lit pixels, in order."""
    padded = np.zeros((lit.shape[0], lit.shape[1] + 2), np.int8)
    padded[:, 1:-1] = lit
    step = np.diff(padded, axis=1)
    row, start = np.nonzero(step == 1)
    end = np.nonzero(step == -1)[1]
    return row, start, end


def _labels(row: IndexArray, start: IndexArray, end: IndexArray, width: int) -> IndexArray:
    """Number of the blob to which each run belongs."""
    stride = width + 2
    first = np.searchsorted(row * stride + end, (row + 1) * stride + start, side="right")
    last = np.searchsorted(row * stride + start, (row + 1) * stride + end, side="left")
    count = np.maximum(last - first, 0)
    upper = np.repeat(np.arange(len(row)), count)
    offset = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    lower = first[upper] + offset
    parent = np.arange(len(row))
    while True:
        a, b = parent[upper], parent[lower]
        if (a == b).all():
            break
        np.minimum.at(parent, np.maximum(a, b), np.minimum(a, b))
        while not (parent == parent[parent]).all():
            parent = parent[parent]
    return np.asarray(np.unique(parent, return_inverse=True)[1], np.intp)


def find_blobs(lit: BoolArray, least_area: int) -> Blobs:
    """Gather lit pixels that touch along their sides into blobs of `least_area` or more."""
    row, start, end = _runs(lit)
    if not 0 < len(row) <= MOST_RUNS:
        empty = np.empty((0, 2))
        return Blobs(empty, np.empty(0), np.empty(0), empty, np.empty(0))
    label = _labels(row, start, end, lit.shape[1])

    def total(of_run: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(label, of_run), np.float64)

    n = (end - start).astype(float)
    x, y = (start + end) / 2, row + 0.5
    area = total(n)
    cx, cy = total(n * x) / area, total(n * y) / area
    xx = total(n * (x * x + n * n / 12)) / area - cx**2
    yy = total(n * (y * y + 1 / 12)) / area - cy**2
    xy = total(n * x * y) / area - cx * cy
    keep = area >= least_area
    cx, cy, xx, yy, xy, area = (v[keep] for v in (cx, cy, xx, yy, xy, area))
    middle, half = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    angle = 0.5 * np.arctan2(2 * xy, xx - yy)
    return Blobs(
        np.stack([cx, cy], 1),
        np.sqrt(12 * (middle + half)),
        np.sqrt(12 * np.maximum(middle - half, 1e-6)),
        np.stack([np.cos(angle), np.sin(angle)], 1),
        area,
    )


def _posts(blobs: Blobs) -> IndexArray:
    slim = blobs.length / blobs.width
    fill = blobs.area / (blobs.length * blobs.width)
    fits = (slim > SLIM[0]) & (slim < SLIM[1]) & (fill > FILL[0]) & (fill < FILL[1])
    found = np.nonzero(fits & (blobs.length >= LEAST_POST_PX))[0]
    return np.asarray(found[np.argsort(-blobs.length[found], kind="stable")][:MOST_POSTS])


def _pairs(blobs: Blobs, posts: IndexArray) -> IndexArray:
    """Pairs of blobs that could be the posts, (pairs, 2), widest apart first."""
    length, centre, axis = blobs.length[posts], blobs.centre[posts], blobs.axis[posts]
    apart = centre[None] - centre[:, None]
    distance = np.hypot(apart[..., 0], apart[..., 1]) + 1e-9
    mean = (length[:, None] + length[None]) / 2
    parallel = np.abs(axis @ axis.T)
    along = np.abs((apart * axis[:, None]).sum(-1)) / distance
    along = np.maximum(along, along.T)
    ratio = length[:, None] / length[None]
    apart_enough = (distance > SPACING[0] * mean) & (distance < SPACING[1] * mean)
    alike = (parallel > 0.8) & (along < 0.7) & (ratio < 1.9) & (ratio > 1 / 1.9)
    first, second = np.nonzero(np.triu(apart_enough & alike, 1))
    order = np.argsort(-distance[first, second], kind="stable")[:MOST_PAIRS]
    return np.asarray(np.stack([posts[first[order]], posts[second[order]]], 1), np.intp)


def _ends(blobs: Blobs, index: IndexArray, down: FloatArray) -> FloatArray:
    """Both ends of bars' middle lines, (n, 2, 2); the second lies towards `down`, (n, 2)."""
    axis = blobs.axis[index]
    half = axis * (np.sign((axis * down).sum(axis=1)) * blobs.length[index] / 2)[:, None]
    centre = blobs.centre[index]
    return np.stack([centre - half, centre + half], 1)


@cache
def _post_ends(arrangement: str) -> FloatArray:
    posts = grid(arrangement).posts
    return np.array([((p.left + p.right) / 2, y) for p in posts for y in (p.top, p.bottom)])


@cache
def _mark_points(arrangement: str) -> tuple[FloatArray, FloatArray]:
    """Middles of lit and unlit places at the left end, then at the right: (2, n, 2) each."""
    on = grid(arrangement)
    lit = centres(on.posts + on.flags).reshape(2, 2, 2).transpose(1, 0, 2)
    return lit, centres(on.dark).reshape(2, 4, 2)


def _light_at(luma: UInt8Array, matrices: FloatArray, points: FloatArray) -> FloatArray:
    """Light where maps (n, 3, 3) take points (m, 2) of the band, (n, m); NaN outside."""
    with np.errstate(all="ignore"):  # degenerate maps give places outside of the picture
        mapped = points @ matrices[:, :, :2].transpose(0, 2, 1) + matrices[:, None, :, 2]
        return gather_light(luma, mapped[..., :2] / mapped[..., 2:])


def _look_like_strips(luma: UInt8Array, arrangement: str, matrices: FloatArray) -> BoolArray:
    """Whether posts and flags are clearly lighter than the places beside them, (n,)."""
    points = np.concatenate(_mark_points(arrangement), axis=1).reshape(-1, 2)
    light = _light_at(luma, matrices, points).reshape(len(matrices), 2, 6)
    least, most = light[..., :2].min(axis=-1), light[..., 2:].max(axis=-1)
    # a NaN, a place outside the picture, fails
    clear = least - most > LEAST_CLEAR * light[..., :2].max(axis=-1)
    return np.asarray(clear.all(axis=-1), np.bool_)


def looks_like_strip(luma: UInt8Array, placement: Placement) -> bool:
    """Whether posts and flags are clearly lighter than the places beside them."""
    return bool(_look_like_strips(luma, placement.arrangement, placement.matrix[None])[0])


def _placements(luma: UInt8Array, blobs: Blobs, thin: int) -> Iterator[list[Placement]]:
    """Placements that look like a strip, those of one pair of blobs at a time."""
    pairs = _pairs(blobs, _posts(blobs))
    found: dict[int, list[Placement]] = {}
    scale = np.diag([thin, thin, 1.0])
    for arrangement, order, mirrored in product(ARRANGEMENTS, (1, -1), (False, True)):
        left, right = pairs[:, ::order].T
        apart = blobs.centre[right] - blobs.centre[left]
        # a strip read upright has its underside 90 degrees clockwise of its length
        down = np.stack([-apart[:, 1], apart[:, 0]], 1) * (-1 if mirrored else 1)
        ends = np.concatenate([_ends(blobs, left, down), _ends(blobs, right, down)], axis=1)
        matrices = scale @ homographies(_post_ends(arrangement), ends)
        for i in np.nonzero(_look_like_strips(luma, arrangement, matrices))[0]:
            found.setdefault(int(i), []).append(Placement(arrangement, matrices[i]))
    for pair in sorted(found):
        yield found[pair]


@cache
def _along_points(arrangement: str) -> tuple[FloatArray, int]:
    """Middles of white references, then of black ones and of the gaps beside number cells."""
    on: StripGrid = grid(arrangement)
    cells = sorted(on.number + on.white + on.black, key=lambda r: r.left)
    gaps = [((a.right + b.left) / 2, (a.top + a.bottom) / 2) for a, b in pairwise(cells)]
    return np.concatenate([centres(on.white), centres(on.black), np.array(gaps)]), len(on.white)


def _settle_perspective(luma: UInt8Array, placement: Placement) -> Placement:
    """Try perspectives along the strip, its ends in place; keep what fits the references."""
    points, white = _along_points(placement.arrangement)
    ends = _post_ends(placement.arrangement)[:, 0]
    a, b = ends[0], ends[2]
    # keep x = a and x = b; what lies between moves by up to e / 4 of the length
    steps = np.array([[[1 + e, 0, 0], [0, 1 + e / 2, 0], [e, 0, 1]] for e in PERSPECTIVE])
    to_unit = np.array([[1 / (b - a), 0, -a / (b - a)], [0, 1, -0.5], [0, 0, 1]])
    matrices = placement.matrix @ np.linalg.inv(to_unit) @ steps @ to_unit
    matrices /= matrices[:, 2:, 2:]
    light = np.nan_to_num(_light_at(luma, matrices, points))
    lit, black, gap = np.split(light, [white, 2 * white], axis=1)
    scores = lit.mean(axis=1) - 0.5 * black.mean(axis=1) - gap.mean(axis=1)
    return replace(placement, matrix=matrices[np.argmax(scores)])


def _fit(luma: UInt8Array, placement: Placement) -> Fit | None:
    rough = refine(luma, placement, rounds=2, marks_only=True)
    if rough is None or not looks_like_strip(luma, rough.placement):
        return None
    settled = _settle_perspective(luma, rough.placement)
    fit = refine(luma, settled, rounds=5)
    if fit is None or fit.rms > LARGEST_RMS or not looks_like_strip(luma, fit.placement):
        return None
    return fit


def ends_in_view(luma: UInt8Array, placement: Placement) -> bool:
    """Whether the posts end within the picture, on the paper: where they are cut they do not.

    A strip cut along its length still has posts and flags, but lies elsewhere than they say.
    """
    posts, unit = placement.grid.posts, 1 / placement.grid.units[1]
    beyond = [((p.left + p.right) / 2, y) for p in posts for y in (p.top - unit, p.bottom + unit)]
    light = gather_light(luma, placement.to_picture(beyond))
    lit = gather_light(luma, placement.to_picture(centres(posts)))
    return bool((light < CUT * np.repeat(lit, 2)).all())  # a NaN, outside the picture, fails


def locate(luma: UInt8Array, *, cut: bool = False) -> Placement | None:
    """Find the strip in uint8 (height, width): the best fit where several bars could be posts.

    `cut`: take one too whose posts the picture's border cuts; its cells must then prove it.
    """
    small, thin = thinned(luma)
    for share in SHARES:
        found = _best(luma, find_blobs(lit_pixels(small, share), 12), thin, cut)
        if found is not None:
            return found
    return None


def _best(luma: UInt8Array, blobs: Blobs, thin: int, cut: bool) -> Placement | None:
    """Best fit of the first pair of blobs that are a strip's posts."""
    for placements in _placements(luma, blobs, thin):
        fits = [fit for place in placements if (fit := _fit(luma, place)) is not None]
        fits = [fit for fit in fits if cut or ends_in_view(luma, fit.placement)]
        if fits:
            return min(fits, key=lambda fit: fit.rms).placement
    return None
