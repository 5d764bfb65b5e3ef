"""Which rows the orbit's atlas needs: one for each way across, as broad as a pixel there.

A row is a stretch of one surface along the turn, averaged over a footprint. Footprints
come in steps, ways across in steps of a part of the footprint, and only rows that
some sample of the picture reads are made. Rows of one footprint that lie side by side
make a group, which is stored and painted together.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from math import gcd, pi

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import FloatingArray, IntArray
from patterns.scenes.orbit.geometry import MIDDLES, SUBJECT, Seen

STEP = 1.4  # from footprint to footprint across the turn
# Rows to a footprint are 1 / density: by the subject's level edges, finer.
DENSITIES = np.array([0.6, 0.5, 0.62, 0.62])  # by surface
TEXELS = 1.35  # texels to a footprint along the turn
LEAST_LEVEL = 11  # 48 texels to a turn
MOST_ROWS = 256  # of a group
WIDEST_GAP = 12  # missing rows that a group may step over
FINENESS = 0.9  # cells of the surface, as a part of the footprint that they are averaged to
SECTORS = 64  # to a turn at most: a picture has little more painted than it shows


@dataclass(frozen=True)
class Group:
    """Rows of one surface, plane and footprint."""

    rows: tuple[int, int]  # numbers of the first row and of the one after the last
    # surface, coarse: surface, and whether the rows are for chroma (1) or luma (0)
    surface: int
    coarse: int
    texels: int  # to a whole turn: a power of two, or three times one
    # across, across_span: middles and width of the rows across the turn, in the surface's own unit
    across: FloatingArray
    across_span: float
    distance_m: FloatingArray  # mean distance of each row from the camera
    # middle, least, greatest: samples read at azimuths between `least` and `greatest` to either
    # side of `middle`, radians, when nothing has turned
    middle: float
    least: float
    greatest: float

    @property
    def azimuth_span(self) -> float:
        """Footprint along the turn, radians."""
        return 2 * pi * TEXELS / self.texels


@dataclass(frozen=True)
class Chunk:
    """Groups that are painted from the same cells of a surface, sector by sector."""

    groups: tuple[int, ...]  # numbers of the groups
    # columns, pitch, low, count: cells to a turn, and across: their size, where the first begins,
    # how many
    columns: int
    pitch: float
    low: float
    count: int
    sectors: int  # equal parts of the turn

    @property
    def spans(self) -> tuple[float, float]:
        """Size of a cell along the turn (radians) and across."""
        return 2 * pi / self.columns, self.pitch

    @property
    def middles(self) -> FloatingArray:
        """Ways across of the cells' middles."""
        return self.low + (np.arange(self.count) + 0.5) * self.pitch


@dataclass(frozen=True)
class RowPlan:
    """All groups, the chunks that paint them, and the group of each row."""

    groups: tuple[Group, ...]
    chunks: tuple[Chunk, ...]
    group_of_row: IntArray


def _texels(level: IntArray) -> IntArray:
    """48, 64, 96, 128, 192, ...: steps of a half octave, nearly."""
    whole = np.left_shift(1, level // 2)
    return np.where(level % 2, whole + whole // 2, whole).astype(np.int64)


def _keys(seen: Seen, coarse: int) -> IntArray:
    fine = np.log2(np.float32(2 * pi * TEXELS) / seen.azimuth_span.astype(np.float32, copy=False))
    level = np.maximum(np.rint(2 * fine), LEAST_LEVEL).astype(np.int64)
    step = np.float32(1 / np.log(STEP))
    broad = np.rint(np.log(seen.across_span.astype(np.float32, copy=False)) * step)
    pitch = (STEP ** np.arange(-200, 201, dtype=np.float64))[broad.astype(np.intp) + 200]
    pitch *= DENSITIES[seen.surface]
    way = np.rint(seen.across / pitch).astype(np.int64)
    # sorts by surface, then plane; 26 bits count the ways across, 10 each level
    key = (seen.surface.astype(np.int64) * 2 + coarse) << 46
    key += (level << 36) + ((broad.astype(np.int64) + 512) << 26) + (way + 4)
    return key


def plan_rows(samples: list[tuple[Seen, int]]) -> tuple[RowPlan, list[IntArray]]:
    """Rows that samples need, and for each set of samples the row of each, flat.

    `samples`: what luma (0) and chroma (1) samples see.
    """
    keys = [_keys(seen, coarse).ravel() for seen, coarse in samples]
    # Neighbours mostly have the same key: one of each run is enough.
    some = np.sort(np.concatenate([key[runs(key)[0]] for key in keys]))
    unique = some[runs(some)[0]]
    rows = [_places(unique, key) for key in keys]
    least, greatest, distance = _extents([seen for seen, _ in samples], rows, len(unique))
    groups = []
    for first, last in _cuts(unique):
        key = int(unique[first])
        surface = key >> 47
        span = STEP ** ((key >> 26 & 1023) - 512)
        groups.append(
            Group(
                (first, last),
                surface,
                key >> 46 & 1,
                int(_texels(np.array(key >> 36 & 1023))),
                ((unique[first:last] & ((1 << 26) - 1)) - 4) * DENSITIES[surface] * span,
                span,
                distance[first:last],
                MIDDLES[surface],
                float(least[first:last].min()),
                float(greatest[first:last].max()),
            )
        )
    sizes = [group.rows[1] - group.rows[0] for group in groups]
    plan = RowPlan(tuple(groups), tuple(_chunks(groups)), np.repeat(np.arange(len(groups)), sizes))
    return plan, rows


def _places(unique: IntArray, key: IntArray) -> IntArray:
    """Place of each key among the unique ones; neighbours often have the same."""
    starts, lengths = runs(key)
    return np.repeat(np.searchsorted(unique, key[starts]), lengths)


def runs(values: npt.NDArray[np.integer]) -> tuple[IntArray, IntArray]:
    """Where runs of one value begin, and how long they are."""
    first = np.ones(len(values[:1]), bool)
    starts = np.flatnonzero(np.concatenate([first, values[1:] != values[:-1]]))
    return starts, np.diff(np.append(starts, len(values)))


def _cuts(unique: IntArray) -> list[tuple[int, int]]:
    """First row of each group, and the row after its last."""
    step = np.diff(unique)
    cuts = [0, *(np.flatnonzero(step > WIDEST_GAP) + 1).tolist(), len(unique)]
    pieces = []
    for first, last in pairwise(cuts):
        parts = -(-(last - first) // MOST_ROWS)
        ends = [first + (last - first) * k // parts for k in range(parts + 1)]
        pieces += list(pairwise(ends))
    return pieces


def _extents(
    seen: list[Seen], rows: list[IntArray], count: int
) -> tuple[FloatingArray, FloatingArray, FloatingArray]:
    """Least and greatest azimuth beside the middle, and mean distance, of each row."""
    # 32 bits like the azimuths: a change of type would make `at` several times slower
    least = np.full(count, np.inf, np.float32)
    greatest = np.zeros(count, np.float32)
    distance, number = np.zeros(count), np.zeros(count)
    for what, row in zip(seen, rows, strict=True):
        beside = np.abs(what.azimuth - what.middle).ravel()
        np.minimum.at(least, row, beside)
        np.maximum.at(greatest, row, beside)
        distance += np.bincount(row, what.distance_m.ravel(), count)
        number += np.bincount(row, minlength=count)
    return least, greatest, distance / number


def _chunks(groups: list[Group]) -> list[Chunk]:
    """Groups that can be painted from the same cells together.

    Of the subject (its light costs most, its texels are few) all but parts much finer than the
    rest; elsewhere rows of one footprint that lie side by side, and chroma, whose
    footprint is twice as large, with luma.
    """
    alike: dict[tuple[int, int, int], list[int]] = {}
    for k, group in enumerate(groups):
        alike.setdefault(_footprint(group), []).append(k)
    return [
        _chunk(groups, some)
        for members in alike.values()
        for some in (
            _of_subject(groups, members)
            if groups[members[0]].surface == SUBJECT
            else _side_by_side(groups, members)
        )
    ]


def _of_subject(groups: list[Group], members: list[int]) -> Iterator[tuple[int, ...]]:
    """All members, but the finest octave by itself where it is a small part of the outline."""
    finest = max(groups[k].texels for k in members)
    fine = [k for k in members if 2 * groups[k].texels > finest]
    if len(fine) < len(members) and 2 * _reach(groups, fine) < _reach(groups, members):
        yield tuple(fine)
        yield from _of_subject(groups, [k for k in members if 2 * groups[k].texels <= finest])
    else:
        yield tuple(members)


def _reach(groups: list[Group], some: list[int]) -> float:
    """From the first way across to the last."""
    low = min(float(groups[k].across[0]) for k in some)
    return max(float(groups[k].across[-1]) for k in some) - low


def _footprint(group: Group) -> tuple[int, int, int]:
    """Surface, and what luma's pixels cover where the group is seen, in steps."""
    if group.surface == SUBJECT:
        return SUBJECT, 0, 0
    broad = round(float(np.log(group.across_span) / np.log(STEP)))
    return group.surface, group.texels << group.coarse, broad - 2 * group.coarse


def _side_by_side(groups: list[Group], members: list[int]) -> Iterator[tuple[int, ...]]:
    """Members in sets whose ways across overlap."""
    run: list[int] = []
    reached = -np.inf
    for k in sorted(members, key=lambda k: float(groups[k].across[0])):
        if run and groups[k].across[0] > reached:
            yield tuple(run)
            run = []
        run.append(k)
        reached = max(reached, float(groups[k].across[-1]) + groups[k].across_span)
    yield tuple(run)


def _chunk(groups: list[Group], some: tuple[int, ...]) -> Chunk:
    mine = [groups[k] for k in some]
    pitch = min(group.across_span for group in mine) * FINENESS
    # half a cell more than the boxes cover, so that none reaches beyond by rounding
    low = min(float(group.across[0]) - group.across_span / 2 for group in mine) - pitch / 2
    high = max(float(group.across[-1]) + group.across_span / 2 for group in mine) + pitch / 2
    count = int(np.ceil((high - low) / pitch))
    columns = max(group.texels for group in mine)
    most = columns
    for group in mine:
        most = gcd(most, group.texels)
    return Chunk(some, columns, pitch, low, count, gcd(most, SECTORS))
