"""Where the parts of a picture went in another one: phase correlation on blocks.

Two passes. Large blocks find the displacement to a pixel, as the peak of the phase correlation
(Kuglin and Hines, 1975). Small blocks, laid along that displacement by half to each side, find
the rest as the slope of the phases of their cross spectrum, by least squares (after Stone,
Orchard, Chang and Martucci, *A Fast Direct Fourier-Based Algorithm for Subpixel Registration of
Images*, IEEE TGRS 39(10), 2001; both papers quoted from memory). Every frequency counts alike
that holds more than grain and coding leave: the strongest ones, of edges that a block's window
cuts, would say that nothing moves. Where a block holds nothing but an edge, its motion is known
across the edge alone.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import BoolArray, Float32Array, FloatArray, IntArray, UInt8Array

Complex = npt.NDArray[np.complex64]
LARGE, SMALL = 64, 32  # pixels of a block's side
REACH = LARGE // 3  # pixels that a large block can be followed
REST = 5  # pixels by which a small block's displacement may differ from the large one's
LEAST_GRAIN = 0.5  # codes RMS, which quantising and coding leave
GRAIN_PERCENT = 15  # of the blocks are taken to show grain alone
ABOVE = 3  # times the grain's energy, where a frequency counts half
CONTRAST = 2.5  # times the grain; less is flat
COHERENT = 0.8  # weighted mean cosine of the phases about the plane, from which it is sure
HIGHEST = 0.25  # cycles a pixel up to which phases count: above are grain and coding
NEARER = 0.005  # of a peak, by which it counts less for each pixel farther away
UNLIKE, USUAL_PX, SLOPING = 2.5, 0.15, 0.1  # differences between neighbours, and what is usual
SHARED = 4.0  # times the variance that frequencies would leave if each were on its own
LOOKS_HZ = 4  # times a second that motion is measured
LEAST_LOOKS, MOST_LOOKS = 10, 1200  # in a file
FARTHEST_S = 0.3  # apart that pictures are compared, where motion is slow
FOLLOWED_PX = 8.0  # that the fastest part may go between compared pictures
FAST = 95  # percentile of all blocks that move, the fastest of which may be mistakes
MOST_LOST = 0.25  # of them that may be lost for the fastest to be more than a lower bound
EDGE = 0.02  # of the slope across an edge, that a block has along it


@dataclass(frozen=True)
class Flow:
    """How blocks moved from one picture to another; arrays (rows, columns), pixels."""

    # x, y: middle between where the block's detail was and where it went
    x: FloatArray
    y: FloatArray
    # dx, dy: displacement to the right and down; of worth where `sure`
    dx: FloatArray
    dy: FloatArray
    error: FloatArray  # its standard error
    sure: BoolArray  # whether it is known
    edge: BoolArray  # whether it is known across an edge alone, and taken not to go along it
    # Whether there is anything to follow. What is textured and not sure changes, is covered, or
    # goes too fast.
    textured: BoolArray


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
        self._kept: deque[UInt8Array] = deque(maxlen=max(2, round(rate * FARTHEST_S)) + 1)
        self._apart = 1
        self._count = 0
        self.looks: list[Look] = []

    def take(self, picture: UInt8Array) -> None:
        """Add the next one, uint8 (height, width)."""
        if self._kept and self._kept[-1].shape != picture.shape:
            self._kept.clear()
        self._kept.append(picture)
        if self._count % self._every == 0 and len(self._kept) > 1 and min(picture.shape) >= LARGE:
            self._look()
        self._count += 1

    def _look(self) -> None:
        """Compare with a picture so far back that parts go far, but can still be followed."""
        apart = min(self._apart, len(self._kept) - 1)
        found, self._apart = self._compared(apart)
        if not apart / 2 <= self._apart <= 2 * apart:
            apart = self._apart
            found, self._apart = self._compared(apart)
        self.looks.append(Look(self._count - apart, self._count, found))

    def _compared(self, apart: int) -> tuple[Flow, int]:
        """Motion over so many pictures, and the number of them over which to look."""
        found = flow(self._kept[-1 - apart], self._kept[-1])
        if not found.sure.any():
            return found, 1
        far = float(np.percentile(np.hypot(found.dx, found.dy)[found.sure], FAST))
        wanted = int(np.clip(apart * FOLLOWED_PX / max(far, 1e-6), 1, len(self._kept) - 1))
        if (found.textured & ~found.sure).sum() > MOST_LOST * found.textured.sum():
            # what was lost may go faster than what was not
            wanted = min(wanted, apart if far < FOLLOWED_PX else max(1, apart // 2))
        # even: times that alternate between two lengths come to their mean
        return found, wanted - wanted % 2 if wanted > 1 else 1


def places(length: int, side: int) -> IntArray:
    """Starts of blocks that cover a length, the first and last flush with its ends."""
    return np.rint(np.linspace(0, length - side, -(-length // side))).astype(np.int64)


def flow(before: UInt8Array, after: UInt8Array) -> Flow:
    """Follow the parts of `before` into `after`, both uint8 (height, width), 64 or more a side."""
    height, width = before.shape
    grain = max(grain_of(before), grain_of(after))
    rows, columns = places(height, LARGE), places(width, LARGE)
    large = _grid(rows, columns)
    peaks = _peaks(_cross(_cut(before, large, LARGE), _cut(after, large, LARGE), grain), REACH)
    small_rows, small_columns = places(height, SMALL), places(width, SMALL)
    near = _nearest(small_rows, rows)[:, None] * len(columns) + _nearest(small_columns, columns)
    by = peaks[near.ravel()]
    room = np.array([height - SMALL, width - SMALL])
    # both ends inside the picture
    start = np.clip(
        _grid(small_rows, small_columns) - by // 2, np.maximum(0, -by), room - np.maximum(0, by)
    )
    found = _followed(_cut(before, start, SMALL), _cut(after, start + by, SMALL), by, grain)
    middle = start + by / 2 + found[-1]
    parts = (middle[:, 1], middle[:, 0], *found[:-1])
    shaped = Flow(*(part.reshape(len(small_rows), len(small_columns)) for part in parts))
    return replace(shaped, sure=shaped.sure & _like_its_neighbours(shaped))


def _like_its_neighbours(found: Flow) -> BoolArray:
    """Blocks that go as two sure neighbours do, at least, and not quite unlike the others.

    The normalised median test of Westerweel and Scarano, *Universal outlier detection for PIV
    data*, Experiments in Fluids 39, 2005 (from memory).
    """
    apart = np.zeros(found.sure.shape)
    for part in (found.dx, found.dy):
        padded = np.pad(np.where(found.sure, part, np.nan), 1, constant_values=np.nan)
        around = np.lib.stride_tricks.sliding_window_view(padded, (3, 3)).reshape(*part.shape, 9)
        around = np.delete(around, 4, axis=-1)
        few = np.isnan(around).sum(axis=-1) > 6
        around = np.where(few[..., None], 0.0, around)
        middle = np.nanmedian(around, axis=-1)
        usual = np.nanmedian(np.abs(around - middle[..., None]), axis=-1)
        allowed = USUAL_PX + SLOPING * np.abs(middle) + usual
        apart = np.maximum(apart, np.where(few, np.inf, np.abs(part - middle) / allowed))
    return np.asarray(apart < UNLIKE, np.bool_)


def grain_of(picture: UInt8Array) -> float:
    """Codes RMS of grain in the flattest blocks of a picture.

    After Immerkaer, *Fast Noise Variance Estimation*, CVIU 64(2), 1996 (from memory): a filter
    that no plane and no straight edge along rows or columns passes, of gain 6.
    """
    codes = picture.astype(np.float32)
    across = codes[:, :-2] - 2 * codes[:, 1:-1] + codes[:, 2:]
    passed = np.abs(across[:-2] - 2 * across[1:-1] + across[2:])
    rows, columns = passed.shape[0] // SMALL, passed.shape[1] // SMALL
    blocks = passed[: rows * SMALL, : columns * SMALL].reshape(rows, SMALL, columns, SMALL)
    flat = np.percentile(blocks.mean(axis=(1, 3)), GRAIN_PERCENT)
    return max(LEAST_GRAIN, float(np.sqrt(np.pi / 2) * flat / 6))


def _grid(rows: IntArray, columns: IntArray) -> IntArray:
    """Places (n, 2) as (row, column), row by row."""
    return np.stack([g.ravel() for g in np.meshgrid(rows, columns, indexing="ij")], axis=1)


def _nearest(small: IntArray, large: IntArray) -> IntArray:
    """Index of the large block whose middle is nearest, for each small one."""
    apart = np.abs((small + SMALL / 2)[:, None] - (large + LARGE / 2)[None, :])
    return np.asarray(apart.argmin(axis=1), np.int64)


def _cut(picture: UInt8Array, start: IntArray, side: int) -> Float32Array:
    """Blocks (n, side, side) at places, each without its mean."""
    steps = np.arange(side)
    rows, columns = start[:, 0, None, None] + steps[:, None], start[:, 1, None, None] + steps
    blocks = picture[rows, columns].astype(np.float32)
    mean = np.einsum("nij,ij->n", blocks, _window(side)) / _window(side).sum()
    return np.asarray(blocks - mean[:, None, None], np.float32)


@cache
def _window(side: int) -> Float32Array:
    hann = np.sin(np.pi * np.arange(side) / side) ** 2  # a stripe leaks to two bins, no further
    return np.outer(hann, hann).astype(np.float32)


def _cross(a: Float32Array, b: Float32Array, grain: float) -> Complex:
    """Cross spectrum of blocks with like magnitudes wherever there is more than grain."""
    window = _window(a.shape[1])
    cross = np.fft.rfft2(a * window).conj() * np.fft.rfft2(b * window)
    noise, size = ABOVE * grain**2 * (window**2).sum(), np.abs(cross)
    return np.asarray(cross * (size / (size**2 + noise**2)), np.complex64)


def _peaks(cross: Complex, reach: int) -> IntArray:
    """Displacements (n, 2) to a pixel, down and right, at most `reach` each."""
    side = cross.shape[1]
    span = np.arange(-reach, reach + 1)
    near = np.fft.irfft2(cross, s=(side, side))[:, span[:, None] % side, span % side]
    # of a ridge, along an edge, the place nearest to stillness
    near -= NEARER * near.max(axis=(1, 2), keepdims=True) * np.hypot(span[:, None], span)
    best = near.reshape(len(near), -1).argmax(axis=1)
    return np.stack([span[best // len(span)], span[best % len(span)]], axis=1)


def _followed(a: Float32Array, b: Float32Array, by: IntArray, grain: float) -> tuple[Any, ...]:
    """dx, dy, error, sure, edge, textured and middle of small blocks that are `by` apart already.

    The middle, (row, column) in the block, is that of its detail.
    """
    cross = _cross(a, b, grain)
    rest = _peaks(cross, REST)
    fine, spread, coherent = _phase_plane(cross, rest)
    moved = by + rest + fine
    squares = _window(SMALL) ** 2
    contrast = np.minimum(*((block**2 * squares).sum(axis=(1, 2)) for block in (a, b)))
    textured = contrast > (CONTRAST * grain) ** 2 * squares.sum()
    sure = textured & (coherent > COHERENT) & (np.abs(rest).max(axis=1) < REST)
    edge, across, middle = _edges(a, grain)
    moved = np.where(edge[:, None], (moved * across).sum(axis=1)[:, None] * across, moved)
    along = np.where(edge, np.einsum("ni,nij,nj->n", across, spread, across), spread.trace(0, 1, 2))
    return moved[:, 1], moved[:, 0], np.sqrt(along), sure, edge, textured, middle


def _phase_plane(cross: Complex, rest: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What displacements differ from whole pixels by, their covariance, and how phases agree.

    Covariance after White, *A Heteroskedasticity-Consistent Covariance Matrix Estimator*,
    Econometrica 48, 1980 (from memory); a window shares what it holds among frequencies nearby.
    """
    side = cross.shape[1]
    v, u = np.meshgrid(np.fft.fftfreq(side), np.fft.rfftfreq(side), indexing="ij")
    used = (np.hypot(v, u) <= HIGHEST) & (np.hypot(v, u) > 0)
    used[side // 2 :, 0] = False  # the mirrored half of the first column
    f = np.stack([v[used], u[used]])
    turned = cross[:, used] * np.exp(2j * np.pi * (rest @ f))
    weight, phase = np.abs(turned), -np.angle(turned) / (2 * np.pi)
    products = (f[:, None] * f[None]).reshape(4, -1)
    inverse = np.linalg.inv((weight @ products.T).reshape(-1, 2, 2) + 1e-9 * np.eye(2))
    fine = np.einsum("nij,nj->ni", inverse, (weight * phase) @ f.T)
    left = phase - fine @ f
    spread = inverse @ ((weight * left) ** 2 @ products.T).reshape(-1, 2, 2) @ inverse
    agree = (weight * np.cos(2 * np.pi * left)).sum(axis=1) / (weight.sum(axis=1) + 1e-9)
    return fine, SHARED * spread, agree


def _edges(blocks: Float32Array, grain: float) -> tuple[BoolArray, FloatArray, FloatArray]:
    """Blocks that slope in one direction alone, the direction (n, 2) of the most slope.

    And the middle of all slopes, (row, column) in the block.
    """
    down, right = (part * _window(SMALL) for part in np.gradient(blocks, axis=(1, 2)))
    products = [(a * b).sum(axis=(1, 2)) for a, b in ((down, down), (down, right), (right, right))]
    spread, axes = np.linalg.eigh(np.stack([products[:2], products[1:]]).transpose(2, 0, 1))
    noise = grain**2 * (_window(SMALL) ** 2).sum()  # a central difference halves its energy
    energy, steps = down**2 + right**2 + 1e-9, np.arange(SMALL) + 0.5
    middle = np.stack([energy.sum(axis=2) @ steps, energy.sum(axis=1) @ steps], axis=1)
    middle /= energy.sum(axis=(1, 2))[:, None]
    return spread[:, 0] < np.maximum(noise, EDGE * spread[:, 1]), axes[:, :, 1], middle
