"""Finding the strip in a camera's picture: any roll, tilted, mirrored, unevenly lit.

The posts are slim bright bars that lie across the line between them. Their four ends give
a first homography; the flags and the dark places beside them decide whether it can be a
strip and which way round; the references settle the perspective along it; then the edges
are fitted.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from patterns.rendering.planes import UInt8Array
from patterns.strip.camera_blobs import Blobs, find_blobs, lit_pixels
from patterns.strip.camera_sample import centres, gather_light
from patterns.strip.camera_track import Fit, refine
from patterns.strip.grid import ARRANGEMENTS, Grid, grid
from patterns.strip.placement import Placement

__all__ = ["homography", "locate"]

FloatArray = npt.NDArray[np.float64]
LOOKED_AT_PX = 1100  # pictures are thinned to about this on their longer side
LEAST_POST_PX = 9.0
SLIM = (1.7, 16.0)  # length over width of a post, tilted either way
FILL = (0.7, 1.2)  # area over that of the rectangle with the same moments
SPACING = (4.0, 36.0)  # distance of the posts over their length
MOST_POSTS, MOST_PAIRS = 160, 300
SHARES = (0.58, 0.78, 0.42)  # thresholds: blur and over-exposure close the gaps below high ones
LEAST_CLEAR = 0.3  # of the light of the marks: what the dark places must stay below
PERSPECTIVE = np.linspace(-0.3, 0.3, 81)  # tried along the strip
LARGEST_RMS = 0.5  # grid units: edges that scatter more are no strip's


def homography(source: FloatArray, target: FloatArray) -> FloatArray | None:
    """Homography (3, 3) that takes four points (4, 2) to four others; None if degenerate."""
    x, y = source.T
    u, v = target.T
    one, zero = np.ones(4), np.zeros(4)
    rows = np.concatenate(
        [
            np.stack([x, y, one, zero, zero, zero, -u * x, -u * y], 1),
            np.stack([zero, zero, zero, x, y, one, -v * x, -v * y], 1),
        ]
    )
    try:
        solution = np.linalg.solve(rows, np.concatenate([u, v]))
    except np.linalg.LinAlgError:
        return None
    return np.append(solution, 1.0).reshape(3, 3)


def _posts(blobs: Blobs) -> npt.NDArray[np.intp]:
    slim = blobs.length / blobs.width
    fill = blobs.area / (blobs.length * blobs.width)
    fits = (
        (blobs.length >= LEAST_POST_PX)
        & (slim > SLIM[0])
        & (slim < SLIM[1])
        & (fill > FILL[0])
        & (fill < FILL[1])
    )
    found = np.nonzero(fits)[0]
    return np.asarray(found[np.argsort(-blobs.length[found], kind="stable")][:MOST_POSTS])


def _pairs(blobs: Blobs, posts: npt.NDArray[np.intp]) -> list[tuple[int, int]]:
    """Pairs of blobs that could be the posts, widest apart first."""
    length, centre, axis = blobs.length[posts], blobs.centre[posts], blobs.axis[posts]
    apart = centre[None] - centre[:, None]
    distance = np.hypot(apart[..., 0], apart[..., 1]) + 1e-9
    mean = (length[:, None] + length[None]) / 2
    parallel = np.abs(axis @ axis.T)
    along = np.abs((apart * axis[:, None]).sum(-1)) / distance
    along = np.maximum(along, along.T)
    ratio = length[:, None] / length[None]
    fits = (
        (distance > SPACING[0] * mean)
        & (distance < SPACING[1] * mean)
        & (parallel > 0.8)
        & (along < 0.7)
        & (ratio < 1.9)
        & (ratio > 1 / 1.9)
    )
    first, second = np.nonzero(np.triu(fits, 1))
    order = np.argsort(-distance[first, second], kind="stable")[:MOST_PAIRS]
    return [(int(posts[first[i]]), int(posts[second[i]])) for i in order]


def _ends(blobs: Blobs, index: int, down: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Both ends of a bar's middle line; the second lies towards `down`."""
    axis = blobs.axis[index] * (1 if blobs.axis[index] @ down > 0 else -1)
    half = axis * blobs.length[index] / 2
    return blobs.centre[index] - half, blobs.centre[index] + half


@cache
def _post_ends(arrangement: str) -> FloatArray:
    posts = grid(arrangement).posts
    return np.array([((p.left + p.right) / 2, y) for p in posts for y in (p.top, p.bottom)])


def _placements(blobs: Blobs, first: int, second: int) -> Iterator[Placement]:
    """Every way in which two bars could be a strip's posts."""
    apart = blobs.centre[second] - blobs.centre[first]
    for arrangement in ARRANGEMENTS:
        for left, right, way in ((first, second, 1), (second, first, -1)):
            for mirrored in (False, True):
                # a strip read upright has its underside 90 degrees clockwise of its length
                sign = way * (-1 if mirrored else 1)
                down = np.array([-apart[1], apart[0]]) * sign
                ends = np.array([*_ends(blobs, left, down), *_ends(blobs, right, down)])
                matrix = homography(_post_ends(arrangement), ends)
                if matrix is not None:
                    yield Placement(arrangement, matrix, bool(down[1] < 0), mirrored)


@cache
def _mark_points(arrangement: str) -> tuple[FloatArray, FloatArray]:
    """Middles of lit and unlit places at the left end, then at the right: (2, n, 2) each."""
    on = grid(arrangement)
    lit = centres(on.posts + on.flags).reshape(2, 2, 2).transpose(1, 0, 2)
    return lit, centres(on.dark).reshape(2, 4, 2)


def looks_like_strip(luma: UInt8Array, placement: Placement) -> bool:
    """Whether posts and flags are clearly lighter than the places beside them."""
    lit, unlit = _mark_points(placement.arrangement)
    light = gather_light(luma, placement.to_picture(np.concatenate([lit, unlit], axis=1)))
    least, most = light[:, :2].min(axis=1), light[:, 2:].max(axis=1)
    # a NaN, a place outside the picture, fails
    return bool((least - most > LEAST_CLEAR * light[:, :2].max(axis=1)).all())


@cache
def _along_points(arrangement: str) -> tuple[FloatArray, int]:
    """Middles of white references, then of black ones and of the gaps beside number cells."""
    on: Grid = grid(arrangement)
    cells = sorted(on.number + on.white + on.black, key=lambda r: r.left)
    gaps = [((a.right + b.left) / 2, (a.top + a.bottom) / 2) for a, b in pairwise(cells)]
    return np.concatenate([centres(on.white), centres(on.black), np.array(gaps)]), len(on.white)


def _settle_perspective(luma: UInt8Array, placement: Placement) -> Placement:
    """Try perspectives along the strip, its ends in place; keep what fits the references."""
    points, white = _along_points(placement.arrangement)
    ends = _post_ends(placement.arrangement)[:, 0]
    a, b = ends[0], ends[2]
    best, chosen = -np.inf, placement
    for e in PERSPECTIVE:
        # keeps x = a and x = b; what lies between moves by up to e / 4 of the length
        step = np.array([[1 + e, 0, 0], [0, 1 + e / 2, 0], [e, 0, 1]])
        to_unit = np.array([[1 / (b - a), 0, -a / (b - a)], [0, 1, -0.5], [0, 0, 1]])
        matrix = placement.matrix @ np.linalg.inv(to_unit) @ step @ to_unit
        tried = replace(placement, matrix=matrix / matrix[2, 2])
        light = np.nan_to_num(gather_light(luma, tried.to_picture(points)))
        lit, black, gap = np.split(light, [white, 2 * white])
        score = float(lit.mean() - 0.5 * black.mean() - gap.mean())
        if score > best:
            best, chosen = score, tried
    return chosen


def _fit(luma: UInt8Array, placement: Placement) -> Fit | None:
    rough = refine(luma, placement, rounds=2, marks_only=True)
    if rough is None or not looks_like_strip(luma, rough.placement):
        return None
    settled = _settle_perspective(luma, rough.placement)
    fit = refine(luma, settled, rounds=5)
    if fit is None or fit.rms > LARGEST_RMS or not looks_like_strip(luma, fit.placement):
        return None
    return fit


def locate(luma: UInt8Array) -> Placement | None:
    """Find the strip.

    Parameters
    ----------
    luma
        uint8 (height, width).

    Returns
    -------
    Placement or None
        Where the strip lies, fitted; the best fit where several bars could be posts.
    """
    thin = max(1, round(max(luma.shape) / LOOKED_AT_PX))
    small = np.ascontiguousarray(luma[::thin, ::thin])
    for share in SHARES:
        found = _best(luma, find_blobs(lit_pixels(small, share), 12), thin)
        if found is not None:
            return found
    return None


def _best(luma: UInt8Array, blobs: Blobs, thin: int) -> Placement | None:
    """Best fit of the first pair of blobs that are a strip's posts."""
    scale = np.diag([thin, thin, 1.0])
    best: Fit | None = None
    for first, second in _pairs(blobs, _posts(blobs)):
        for rough in _placements(blobs, first, second):
            placement = replace(rough, matrix=scale @ rough.matrix)
            if not looks_like_strip(luma, placement):
                continue
            fit = _fit(luma, placement)
            if fit and (best is None or fit.rms < best.rms):
                best = fit
        if best is not None:
            return best.placement
    return None
