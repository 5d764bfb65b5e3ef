"""What every sample of an orbit's picture sees: luma, chroma, and finer ones along edges."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import Float32Array, IntArray
from patterns.scenes.orbit.geometry import NEAR_GROUND, SUBJECT, OrbitCamera, Seen

AnyArray = npt.NDArray[Any]

ROWS_AT_ONCE = 24
EDGE_GRID = 4  # a pixel on an edge is this many samples wide and high


@dataclass
class Samples:
    """Samples of one plane."""

    seen: Seen  # what the samples at the pixels' centres see, flat, row by row
    edges: IntArray  # flat numbers of the pixels that lie on an edge of the subject
    # what their finer samples see: `EDGE_GRID` squared for each, one after the other
    edge_seen: Seen
    # columns, mirrored: samples to a row; whether they are the left half of the picture's, of which
    # the right is the mirror image
    columns: int
    mirrored: bool


def _flat(parts: list[Seen]) -> Seen:
    """One flat record; floats are shortened to 32 bits, a thousandth of a texel."""
    joined = {}
    for field in fields(Seen):
        arrays = [getattr(part, field.name).ravel() for part in parts]
        joined[field.name] = np.concatenate(arrays)
    return Seen(**joined)


def _short(seen: Seen) -> Seen:
    for field in fields(Seen):
        array = getattr(seen, field.name)
        if array.dtype == np.float64:
            setattr(seen, field.name, array.astype(np.float32))
    return seen


def _edges(part: npt.NDArray[np.int16]) -> IntArray:
    """Pixels whose neighbour sees another part, where one of the two is the subject's."""
    edge = np.zeros(part.shape, bool)
    for axis in (0, 1):
        first = part[:-1] if axis == 0 else part[:, :-1]
        second = part[1:] if axis == 0 else part[:, 1:]
        differ = (first != second) & (np.maximum(first, second) >= 2)
        if axis == 0:
            edge[:-1] |= differ
            edge[1:] |= differ
        else:
            edge[:, :-1] |= differ
            edge[:, 1:] |= differ
    return np.flatnonzero(edge)


def look(camera: OrbitCamera, pixels: int) -> Samples:
    """What the samples of luma (`pixels` 1) or of chroma (2) see.

    Chroma is sited with the even columns and between the rows, and stands for a square
    two pixels wide.
    """
    x = np.arange(0, camera.width, pixels) + 0.5
    # Luma's samples lie as far to the left of the middle as to the right of it.
    mirrored = pixels == 1
    if mirrored:
        x = x[: len(x) // 2]
    y = np.arange(0, camera.height, pixels) + (0.5 if pixels == 1 else 1.0)
    bands = [y[k : k + ROWS_AT_ONCE] for k in range(0, len(y), ROWS_AT_ONCE)]
    seen = _flat(
        [_short(camera.see(x[np.newaxis, :], band[:, np.newaxis], pixels)) for band in bands]
    )
    edges = _edges(seen.part.reshape(len(y), len(x)))
    fine = ((np.arange(EDGE_GRID) + 0.5) / EDGE_GRID - 0.5) * pixels
    fine_y, fine_x = (grid.ravel() for grid in np.meshgrid(fine, fine, indexing="ij"))
    edge_x = (x[edges % len(x)][:, np.newaxis] + fine_x).ravel()
    edge_y = (y[edges // len(x)][:, np.newaxis] + fine_y).ravel()
    edge_seen = _short(camera.see(edge_x, edge_y, pixels))
    assert SUBJECT in seen.surface or not len(edges)
    return Samples(seen, edges, edge_seen, len(x), mirrored)


def whole(samples: Samples, values: AnyArray) -> AnyArray:
    """Values of all samples of a plane, flat, from those that were looked at."""
    half = values.reshape(-1, samples.columns)
    return np.hstack([half, half[:, ::-1]]).ravel() if samples.mirrored else values


def whole_azimuths(samples: Samples) -> Float32Array:
    """As `whole`: what lies to the other side is seen at the opposite azimuth."""
    azimuth = samples.seen.azimuth.astype(np.float32, copy=False)
    if not samples.mirrored:
        return azimuth
    half = azimuth.reshape(-1, samples.columns)
    other = _opposite(samples.seen).reshape(-1, samples.columns)
    return np.hstack([half, other[:, ::-1]]).ravel()


def whole_edges(samples: Samples) -> IntArray:
    """Flat numbers of all pixels on an edge: those looked at, then their mirror images."""
    if not samples.mirrored:
        return samples.edges
    row, column = np.divmod(samples.edges, samples.columns)
    line = row * (2 * samples.columns)
    return np.concatenate([line + column, line + 2 * samples.columns - 1 - column])


def whole_edge_azimuths(samples: Samples) -> Float32Array:
    """Azimuths of the finer samples of `whole_edges`."""
    azimuth = samples.edge_seen.azimuth.astype(np.float32, copy=False)
    if not samples.mirrored:
        return azimuth
    return np.concatenate([azimuth, _opposite(samples.edge_seen)])


def _opposite(seen: Seen) -> Float32Array:
    near = (seen.surface == NEAR_GROUND) | (seen.surface == SUBJECT)
    return np.asarray(np.where(near, 2 * np.pi, 0.0) - seen.azimuth, np.float32)
