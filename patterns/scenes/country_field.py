"""Periodic fields of samples, and their exact averages over boxes along one axis."""

from __future__ import annotations

from functools import cached_property

import numpy as np
import numpy.typing as npt

from patterns.scenes.noise import FloatMap

__all__ = ["BoxPlan", "Field", "GridAxis"]

IndexArray = npt.NDArray[np.intp]


class Field:
    """Periodic square of samples `step_m` apart; sample (i, j) lies at (i, j) step_m."""

    def __init__(self, values: FloatMap, step_m: float) -> None:
        self.values = np.ascontiguousarray(values, np.float32)
        self.step_m = step_m
        self.size = len(values)

    def for_boxes(self, width_m: float) -> Field:
        """The same field in fewer samples, if boxes of `width_m` hold many."""
        if width_m < 4 * self.step_m or self.size % 2 or self.size < 32:
            return self
        return self.coarser.for_boxes(width_m)

    @cached_property
    def coarser(self) -> Field:
        """Every second sample after smoothing by (1, 2, 1) / 4 along both axes."""
        values = self.values
        for axis in (0, 1):
            beside = np.roll(values, 1, axis) + np.roll(values, -1, axis)
            values = (values + beside * np.float32(0.5)) * np.float32(0.5)
        return Field(values[::2, ::2], 2 * self.step_m)

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
        self._plans: dict[tuple[float, int], BoxPlan] = {}
        self._parts: dict[tuple[int, int], GridAxis] = {}
        self._pieces: dict[int, list[GridAxis]] = {}

    @classmethod
    def even(cls, first_m: float, step_m: float, count: int, width_m: float) -> GridAxis:
        """`count` places `step_m` apart."""
        return cls(np.asarray(first_m + step_m * np.arange(count), np.float64), width_m)

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

    def plan(self, field: Field) -> BoxPlan:
        """How to average `field` over the boxes (kept: every field of one step shares it)."""
        key = (field.step_m, field.size)
        if key not in self._plans:
            self._plans[key] = BoxPlan(
                self.places / field.step_m, self.width_m / field.step_m, field.size
            )
        return self._plans[key]


class BoxPlan:
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
