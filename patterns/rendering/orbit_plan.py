"""Which rows the orbit's atlas needs: one for each way across, as broad as a pixel there.

A row is a stretch of one surface along the turn, averaged over a footprint. Footprints
come in steps of `STEP`, ways across in steps of `DENSITY` of the footprint, and only
rows that some sample of the picture reads are made.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from patterns.scenes.orbit import Seen

__all__ = ["RowPlan", "plan_rows"]

STEP = 1.35
DENSITY = 0.5
TEXELS = 1.35  # texels to a footprint along the turn
FEWEST = 48  # texels to a turn

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.floating]


@dataclass
class RowPlan:
    """Rows of an atlas, in order of surface, plane and way across.

    Attributes
    ----------
    surface, coarse
        Surface, and whether the row is for chroma (1) or luma (0).
    across, across_span
        Middle and width of the row across the turn, in the surface's own unit.
    level, azimuth_span
        Step of the footprint along the turn, and the footprint in radians.
    texels
        To a whole turn.
    first, last
        Least and greatest azimuth, in radians, that a sample reads when nothing has turned.
    distance_m
        Mean distance from the camera.
    """

    surface: Ints
    coarse: Ints
    across: Floats
    across_span: Floats
    level: Ints
    azimuth_span: Floats
    texels: Ints
    first: Floats
    last: Floats
    distance_m: Floats


def _keys(seen: Seen, coarse: int) -> tuple[Ints, Ints, Ints]:
    step = np.float32(np.log(STEP))
    along = np.rint(np.log(seen.azimuth_span.astype(np.float32)) / step).astype(np.int64)
    broad = np.rint(np.log(seen.across_span.astype(np.float32)) / step).astype(np.int64)
    pitch = DENSITY * STEP ** np.arange(-200, 201, dtype=np.float64)
    way = np.rint(seen.across / pitch[broad + 200]).astype(np.int64)
    # sorts by surface, then plane; 26 bits count the ways across, 10 each level
    key = (seen.surface.astype(np.int64) * 2 + coarse) << 46
    key += ((along + 512) << 36) + ((broad + 512) << 26) + (way + 4)
    return key, along, broad


def plan_rows(samples: list[tuple[Seen, int]]) -> tuple[RowPlan, list[Ints]]:
    """Rows that samples need, and for each list of samples the row of each.

    Parameters
    ----------
    samples
        What luma (0) and chroma (1) samples see; flat arrays.
    """
    keys = [_keys(seen, coarse)[0] for seen, coarse in samples]
    unique = np.unique(np.concatenate([np.unique(key) for key in keys]))
    group = unique >> 46
    along = ((unique >> 36) & 1023) - 512
    broad = ((unique >> 26) & 1023) - 512
    across_span = STEP**broad
    across = ((unique & ((1 << 26) - 1)) - 4) * DENSITY * across_span
    order = np.lexsort((across, group))
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    rows = [place[np.searchsorted(unique, key)] for key in keys]
    first, last, total, count = _extents([seen for seen, _ in samples], rows, len(order))
    azimuth_span = STEP ** along[order].astype(np.float64)
    plan = RowPlan(
        group[order] >> 1,
        group[order] & 1,
        across[order],
        across_span[order],
        along[order],
        azimuth_span,
        np.maximum(np.ceil(2 * np.pi * TEXELS / azimuth_span).astype(np.int64), FEWEST),
        first,
        last,
        total / count,
    )
    return plan, rows


def _extents(
    seen: list[Seen], rows: list[Ints], count: int
) -> tuple[Floats, Floats, Floats, Floats]:
    # 32 bits like the azimuths: a change of type would make `at` several times slower
    first = np.full(count, np.inf, np.float32)
    last = np.full(count, -np.inf, np.float32)
    distance, number = np.zeros(count), np.zeros(count)
    for what, row in zip(seen, rows, strict=True):
        np.minimum.at(first, row, what.azimuth)
        np.maximum.at(last, row, what.azimuth)
        distance += np.bincount(row, what.distance_m, count)
        number += np.bincount(row, minlength=count)
    return first.astype(np.float64), last.astype(np.float64), distance, number
