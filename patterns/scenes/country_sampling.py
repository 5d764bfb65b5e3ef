"""Reading periodic fields at places on the ground, averaged over each place's footprint.

Two ways with the same face: `GridSampler` for regular grids with oblong footprints (the
terrain's texture levels; separable, fast), `PointSampler` for any positions.
"""

from __future__ import annotations

from functools import cached_property, lru_cache
from typing import Protocol

import numpy as np
import numpy.typing as npt

from patterns.scenes.noise import FloatMap

__all__ = ["Field", "GridAxis", "GridSampler", "PointSampler", "Sampler", "box_filtered"]

IndexArray = npt.NDArray[np.intp]
MOST_BOUNDED = 4000  # samples that are worth looking through to skip a material


class Field:
    """Periodic square of samples `step_m` apart; sample (i, j) lies at (i, j) step_m."""

    def __init__(self, values: FloatMap, step_m: float) -> None:
        self.values = np.ascontiguousarray(values, np.float32)
        self.step_m = step_m
        self.size = len(values)

    @cached_property
    def turned(self) -> Field:
        """The same field with x and y exchanged."""
        return Field(self.values.T, self.step_m)

    @cached_property
    def sums(self) -> npt.NDArray[np.float32]:
        """Prefix sums along x of the values, one row longer than they are."""
        sums = np.zeros((self.size + 1, self.size), np.float32)
        sums[1:] = np.cumsum(self.values, 0, np.float64)
        return sums


class GridAxis:
    """Places on one axis, each standing for a box of `width_m` about it.

    Parameters
    ----------
    places_m
        Ascending or descending, (nearly) even.
    width_m
        Length of each box.
    """

    def __init__(self, places_m: npt.NDArray[np.float64], width_m: float) -> None:
        self.places, self.width_m = places_m, width_m
        self.step_m = abs(float(places_m[-1] - places_m[0])) / max(1, len(places_m) - 1) or width_m
        self._plans: dict[tuple[float, int], _BoxPlan] = {}
        self._parts: dict[tuple[int, int], GridAxis] = {}
        self._pieces: dict[int, list[GridAxis]] = {}

    @classmethod
    def even(cls, first_m: float, step_m: float, count: int, width_m: float) -> GridAxis:
        """`count` places `step_m` apart."""
        return cls(first_m + step_m * np.arange(count), width_m)

    def __len__(self) -> int:
        return len(self.places)

    def part(self, first: int, last: int) -> GridAxis:
        """Places `first` to `last` as an axis of their own (kept, with its plans)."""
        key = (first, last)
        if key not in self._parts:
            self._parts[key] = GridAxis(self.places[first:last], self.width_m)
        return self._parts[key]

    def pieces(self, count: int) -> list[GridAxis]:
        """The boxes cut into `count` equal pieces: one axis for each piece (kept)."""
        if count == 1:
            return [self]
        if count not in self._pieces:
            width = self.width_m / count
            offsets = (np.arange(count) - (count - 1) / 2) * width
            self._pieces[count] = [GridAxis(self.places + o, width) for o in offsets]
        return self._pieces[count]

    def plan(self, field: Field) -> _BoxPlan:
        """How to average `field` over the boxes (kept: every field of one step shares it)."""
        key = (field.step_m, field.size)
        if key not in self._plans:
            self._plans[key] = _BoxPlan(
                self.places / field.step_m, self.width_m / field.step_m, field.size
            )
        return self._plans[key]


class _BoxPlan:
    """Two (no wider than a sample: linear interpolation) or four reads for each place."""

    def __init__(self, places: npt.NDArray[np.float64], width: float, size: int) -> None:
        self.size, self.width = size, max(width, 1.0)
        self.wide = width > 1.0
        ends = (places - self.width / 2 + 0.5, places + self.width / 2 + 0.5)
        whole = [np.floor(e).astype(np.intp) for e in ends]
        self.part = [(e - w).astype(np.float32) for e, w in zip(ends, whole, strict=True)]
        self.turns = ((whole[1] // size) - (whole[0] // size)).astype(np.float32)
        self.index: list[IndexArray] = [w % size for w in whole]
        self.following: list[IndexArray] = [(w + 1) % size for w in whole]
        self.low, self.high = int(whole[0].min()), int(whole[1].max()) + 2
        few = self.high - self.low < size
        self._columns = np.arange(self.low, self.high) % size if few else None

    def columns(self) -> tuple[IndexArray | None, int]:
        """Samples that are read, if fewer than all, and what to take from the indices."""
        return self._columns, self.low

    def down(self, field: Field, columns: IndexArray | None) -> FloatMap:
        """Average along the first axis: (places, columns)."""
        source = field.sums if self.wide else field.values
        if not self.wide:
            first = _rows(source, self.index[0], columns)
            second = _rows(source, self.following[0], columns)
            second -= first
            second *= self.part[0][:, None]
            first += second
            return first
        low, high = (
            _between(_rows(source, i, columns), _rows(source, i + 1, columns), part)
            for i, part in zip(self.index, self.part, strict=True)
        )
        high -= low
        high += self.turns[:, None] * (source[-1] if columns is None else source[-1, columns])
        high /= np.float32(self.width)
        return high

    def across(self, rows: FloatMap, first: int | None) -> FloatMap:
        """Average along the second axis of `rows`, which begin with sample `first`."""
        if not self.wide:
            if first is None:
                left, right = self.index[0], self.following[0]
            else:
                left = (self.index[0] - first) % self.size
                right = left + 1
            value = rows.take(left, 1, mode="clip")
            beside = rows.take(right, 1, mode="clip")
            beside -= value
            beside *= self.part[0]
            value += beside
            return value
        start = 0 if first is None else first
        sums = np.zeros((len(rows), rows.shape[1] + 1), np.float32)
        np.cumsum(rows, 1, np.float32, sums[:, 1:])
        ends = []
        for index, part in zip(self.index, self.part, strict=True):
            at = index if first is None else (index - start) % self.size
            low = sums.take(at, 1, mode="clip")
            high = sums.take(at + 1, 1, mode="clip")
            high -= low
            high *= part
            low += high
            ends.append(low)
        value = ends[1]
        value -= ends[0]
        if first is None:
            value += self.turns * sums[:, -1:]
        value /= np.float32(self.width)
        return value


def _rows(source: FloatMap, index: IndexArray, columns: IndexArray | None) -> FloatMap:
    if columns is None:
        return source.take(index, 0)
    if columns[0] <= columns[-1]:  # no edge between them: a plain slice, much faster
        return np.asarray(source[:, columns[0] : columns[-1] + 1][index])
    return np.asarray(source[index[:, None], columns])


def _between(low: FloatMap, high: FloatMap, part: FloatMap) -> FloatMap:
    high -= low
    high *= part[:, None]
    low += high
    return low


class Sampler(Protocol):
    """What shading needs to know of the places that it colours."""

    texel_x_m: float
    texel_y_m: float

    @property
    def x_m(self) -> npt.NDArray[np.float64]:
        """Place along x, broadcastable to the result."""

    @property
    def y_m(self) -> npt.NDArray[np.float64]:
        """Place along y, broadcastable to the result."""

    def read(self, field: Field) -> FloatMap:
        """Field averaged over each footprint."""

    def bounds(self, field: Field) -> tuple[float, float]:
        """No place reads less or more than these."""

    def nearest(self, values: npt.NDArray[np.uint16], step_m: float) -> npt.NDArray[np.uint16]:
        """Nearest sample of a periodic square."""

    def softness(self, distance_m: FloatMap) -> FloatMap | float:
        """By how much `distance_m` changes over a footprint: the width of its edges."""


class GridSampler:
    """Every place of a grid.

    Parameters
    ----------
    first, second
        Axes of the arrays. Work is least if the first has fewer places for its length.
    turned
        False: the first axis lies along x and the second along y; True: the reverse.
    """

    def __init__(self, first: GridAxis, second: GridAxis, turned: bool = False) -> None:
        self.first, self.second, self._turned = first, second, turned
        x, y = first.places[:, None], second.places[None, :]
        self.x_m, self.y_m = (y, x) if turned else (x, y)
        self.texel_x_m, self.texel_y_m = first.width_m, second.width_m
        self._known: dict[int, FloatMap] = {}

    def read(self, field: Field) -> FloatMap:
        """Field averaged over each footprint; not to be changed, since it is kept."""
        key = id(field)
        if key not in self._known:
            source = field.turned if self._turned else field
            plan = self.second.plan(source)
            columns, start = plan.columns()
            rows = self.first.plan(source).down(source, columns)
            self._known[key] = plan.across(rows, None if columns is None else start)
        return self._known[key]

    def bounds(self, field: Field) -> tuple[float, float]:
        """No place reads less or more than these."""
        source = field.turned if self._turned else field
        rows = self.first.plan(source).columns()[0]
        columns = self.second.plan(source).columns()[0]
        if rows is None or columns is None or len(rows) * len(columns) > MOST_BOUNDED:
            return -np.inf, np.inf
        part = source.values[rows[:, None], columns]
        return float(part.min()), float(part.max())

    def nearest(self, values: npt.NDArray[np.uint16], step_m: float) -> npt.NDArray[np.uint16]:
        """Nearest sample of a periodic square."""
        i = np.rint(self.first.places / step_m).astype(np.intp) % len(values)
        j = np.rint(self.second.places / step_m).astype(np.intp) % len(values)
        return np.asarray((values.T if self._turned else values)[i[:, None], j])

    def softness(self, distance_m: FloatMap) -> FloatMap:
        """By how much `distance_m` changes over a footprint: the width of its edges."""
        across = _change(distance_m, 1, self.second.width_m / self.second.step_m)
        if len(distance_m) > 1:
            across += _change(distance_m, 0, self.first.width_m / self.first.step_m)
        else:
            across += np.float32(self.first.width_m)
        return across


def _change(values: FloatMap, axis: int, scale: float) -> FloatMap:
    out = np.empty_like(values)
    if axis == 0:
        np.subtract(values[1:], values[:-1], out[:-1])
        out[-1] = out[-2]
    else:
        np.subtract(values[:, 1:], values[:, :-1], out[:, :-1])
        out[:, -1] = out[:, -2]
    np.abs(out, out)
    out *= np.float32(scale)
    return out


@lru_cache(maxsize=96)
def box_filtered(field: Field, width: float) -> Field:
    """Field averaged over squares `width` samples wide at each of its samples."""
    size = field.size
    axis = GridAxis.even(0.0, field.step_m, size, width * field.step_m)
    return Field(GridSampler(axis, axis).read(field), field.step_m)


class PointSampler:
    """Any positions, all with the square footprint `texel_m`."""

    def __init__(
        self, x_m: npt.NDArray[np.float64], y_m: npt.NDArray[np.float64], texel_m: float
    ) -> None:
        self.x_m, self.y_m = np.broadcast_arrays(x_m, y_m)
        self.texel_x_m = self.texel_y_m = texel_m

    def read(self, field: Field) -> FloatMap:
        """Field averaged over (nearly) each footprint, linear between samples."""
        width = self.texel_x_m / field.step_m
        if width > 1.2:
            # Quarter octaves keep the number of filtered copies small.
            field = box_filtered(field, float(2 ** (round(4 * np.log2(width)) / 4)))
        i, fi = _split(self.x_m / field.step_m, field.size)
        j, fj = _split(self.y_m / field.step_m, field.size)
        i2, j2 = (i + 1) % field.size, (j + 1) % field.size
        v = field.values
        top = v[i, j] * (1 - fj) + v[i, j2] * fj
        below = v[i2, j] * (1 - fj) + v[i2, j2] * fj
        return np.asarray(top * (1 - fi) + below * fi, np.float32)

    def bounds(self, field: Field) -> tuple[float, float]:  # noqa: ARG002 - same face as the grid's
        """No place reads less or more than these."""
        return -np.inf, np.inf

    def nearest(self, values: npt.NDArray[np.uint16], step_m: float) -> npt.NDArray[np.uint16]:
        """Nearest sample of a periodic square."""
        i = np.rint(self.x_m / step_m).astype(np.intp) % len(values)
        j = np.rint(self.y_m / step_m).astype(np.intp) % len(values)
        return values[i, j]

    def softness(self, distance_m: FloatMap) -> float:  # noqa: ARG002 - same face as the grid's
        """Width of an edge: distances change by about a metre a metre."""
        return self.texel_x_m


def _split(places: npt.NDArray[np.float64], size: int) -> tuple[IndexArray, FloatMap]:
    whole = np.floor(places)
    return whole.astype(np.intp) % size, (places - whole).astype(np.float32)
