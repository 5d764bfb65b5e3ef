"""What every sample of an orbit's picture sees: luma, chroma, and finer ones along edges."""

from __future__ import annotations

from concurrent.futures import Executor
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from patterns.scenes.orbit import SUBJECT, OrbitCamera, Seen

__all__ = ["EDGE_GRID", "Samples", "look"]

Floats = npt.NDArray[np.floating]
Ints = npt.NDArray[np.int64]

ROWS_AT_ONCE = 12
EDGE_GRID = 4  # a pixel on an edge is this many samples wide and high


@dataclass
class Samples:
    """Samples of one plane.

    Attributes
    ----------
    seen
        What the samples at the pixels' centres see, flat, row by row.
    edges
        Flat numbers of the pixels that lie on an edge of the subject.
    edge_seen
        What their finer samples see: `EDGE_GRID` squared for each, one after the other.
    """

    seen: Seen
    edges: Ints
    edge_seen: Seen


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


def _edges(part: npt.NDArray[np.int16]) -> Ints:
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


def look(camera: OrbitCamera, pixels: int, pool: Executor) -> Samples:
    """What the samples of luma (`pixels` 1) or of chroma (2) see.

    Chroma is sited with the even columns and between the rows, and stands for a square
    two pixels wide.
    """
    x = np.arange(0, camera.width, pixels) + 0.5
    y = np.arange(0, camera.height, pixels) + (0.5 if pixels == 1 else 1.0)
    bands = [y[k : k + ROWS_AT_ONCE] for k in range(0, len(y), ROWS_AT_ONCE)]
    seen = _flat(
        list(
            pool.map(
                lambda band: _short(camera.see(x[np.newaxis, :], band[:, np.newaxis], pixels)),
                bands,
            )
        )
    )
    edges = _edges(seen.part.reshape(len(y), len(x)))
    fine = ((np.arange(EDGE_GRID) + 0.5) / EDGE_GRID - 0.5) * pixels
    fine_y, fine_x = (grid.ravel() for grid in np.meshgrid(fine, fine, indexing="ij"))
    edge_x = (x[edges % len(x)][:, np.newaxis] + fine_x).ravel()
    edge_y = (y[edges // len(x)][:, np.newaxis] + fine_y).ravel()
    edge_seen = _short(camera.see(edge_x, edge_y, pixels))
    assert SUBJECT in seen.surface or not len(edges)
    return Samples(seen, edges, edge_seen)
