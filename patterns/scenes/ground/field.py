"""Periodic fields of samples, and their averages over boxes on a grid of places.

Several fields of one size lie in one array, the fields first: they are averaged together.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import Float32Array, FloatArray, IndexArray

MOST_SAMPLES = 48  # under a group of boxes; more would be mostly zeros
MANY = 4  # samples under a box that are too many
LEAST = 32  # samples of a side that is not halved


class Field:
    """Periodic rectangle of samples; sample (i, j) lies at i steps along x, j along y.

    `values`: samples (..., x, y): a field, or several.
    `step_m`, `step_y_m`: metres from sample to sample along x, and along y if that is not the same.
    """

    def __init__(self, values: Float32Array, step_m: float, step_y_m: float | None = None) -> None:
        self.values = np.ascontiguousarray(values, np.float32)
        self.step_m = step_m
        self.steps_m = (step_m, step_m if step_y_m is None else step_y_m)

    def for_boxes(self, width_x_m: float, width_y_m: float) -> Field:
        """The same field in fewer samples along an axis whose boxes hold many."""
        if width_x_m >= MANY * self.steps_m[0] and self.values.shape[-2] >= LEAST:
            return self.coarser_x.for_boxes(width_x_m, width_y_m)
        if width_y_m >= MANY * self.steps_m[1] and self.values.shape[-1] >= LEAST:
            return self.coarser_y.for_boxes(width_x_m, width_y_m)
        return self

    @cached_property
    def coarser_x(self) -> Field:
        """Every second sample along x after smoothing by (1, 2, 1) / 4."""
        v = self.values
        halved = v[..., ::2, :] * np.float32(0.5)
        halved += np.float32(0.25) * v[..., 1::2, :]
        halved += np.float32(0.25) * np.roll(v[..., 1::2, :], 1, -2)
        return Field(halved, 2 * self.steps_m[0], self.steps_m[1])

    @cached_property
    def coarser_y(self) -> Field:
        """Every second sample along y after smoothing by (1, 2, 1) / 4."""
        v = self.values
        halved = v[..., ::2] * np.float32(0.5)
        halved += np.float32(0.25) * v[..., 1::2]
        halved += np.float32(0.25) * np.roll(v[..., 1::2], 1, -1)
        return Field(halved, self.steps_m[0], 2 * self.steps_m[1])

    @cached_property
    def turned(self) -> Field:
        """The same field with x and y exchanged."""
        return Field(np.swapaxes(self.values, -1, -2), self.steps_m[1], self.steps_m[0])


class GridAxis:
    """Places on one axis, each standing for a box of `width_m` about it.

    `places_m`: ascending or descending, (nearly) even.
    `width_m`: length of each box.
    `step_m`: from place to place, if not to be taken from the first and the last.
    """

    def __init__(self, places_m: FloatArray, width_m: float, step_m: float | None = None) -> None:
        self.places, self.width_m = places_m, width_m
        between = abs(float(places_m[-1] - places_m[0])) / max(1, len(places_m) - 1)
        self.step_m = step_m or between or width_m
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

    def plan(self, step_m: float, size: int) -> BoxPlan:
        """How to average over the boxes a field of `size` samples (kept: many share it)."""
        key = (step_m, size)
        if key not in self._plans:
            self._plans[key] = BoxPlan(self.places / step_m, self.width_m / step_m, size)
        return self._plans[key]


class BoxPlan:
    """Weights of the samples under each box, as small dense matrices.

    A sample stands for the cell about it, so that its weight is the share of the box that
    covers the cell; a box no wider than a cell is taken as wide as one, which makes that
    linear interpolation. Products with small dense matrices cost a fraction of what
    gathers or prefix sums would, as long as few samples lie under each group of boxes.
    """

    def __init__(self, places: FloatArray, width: float, size: int) -> None:
        half = max(width, 1.0) / 2
        low = np.floor(places - half + 0.5).astype(np.intp)
        high = np.floor(places + half + 0.5).astype(np.intp) + 1
        self.low, self.count = int(low.min()), int(high.max() - low.min())
        self._size, self._half = size, half
        self._places, self._ends = places, (low - self.low, high - self.low)
        self._split: list[tuple[slice, slice, Float32Array]] | None = None

    def samples(self) -> slice | IndexArray:
        """Samples under the boxes, none of them twice, in the order of the field."""
        first = self.low % self._size
        if first + self.count <= self._size:
            return slice(first, first + self.count)
        if self.count >= self._size:
            return slice(0, self._size)
        return self._window()

    def _window(self) -> IndexArray:
        return np.arange(self.low, self.low + self.count) % self._size

    def groups(self) -> list[tuple[slice, slice, Float32Array]]:
        """Places, the samples of the window under them, and weights (places, samples)."""
        if self._split is None:
            whole = len(self._places)
            each = max(1, min(whole, int(MOST_SAMPLES * whole / self.count)))
            self._split = [self._group(i, min(i + each, whole)) for i in range(0, whole, each)]
        return self._split

    def _group(self, first: int, last: int) -> tuple[slice, slice, Float32Array]:
        start = int(self._ends[0][first:last].min())
        end = int(self._ends[1][first:last].max())
        offset = (self._places[first:last] - (self.low + start)).astype(np.float32)
        sample = np.arange(end - start, dtype=np.float32)
        reach = np.float32(self._half + 0.5)
        cover = np.minimum(reach - np.abs(sample - offset[:, None]), 1)
        weights = np.maximum(cover, 0) / np.float32(2 * self._half)
        return slice(first, last), slice(start, end), np.asarray(weights, np.float32)

    def down(self, values: Float32Array, columns: slice | IndexArray) -> Float32Array:
        """Average some columns of fields along x: (..., places, columns)."""
        window = self._window() if self.count >= self._size else self.samples()
        patch = values[..., window, :][..., columns]
        out = np.empty((*patch.shape[:-2], len(self._places), patch.shape[-1]), np.float32)
        for places, samples, weights in self.groups():
            product(weights, patch[..., samples, :], out[..., places, :])
        return out

    def across(self, rows: Float32Array) -> Float32Array:
        """Average along y, over rows of the `samples`: (..., rows, places)."""
        if self.count >= self._size:
            rows = rows.take(self._window(), -1)
        out = np.empty((*rows.shape[:-1], len(self._places)), np.float32)
        for places, samples, weights in self.groups():
            product(rows[..., samples], weights.T, out[..., places])
        return out


def product(
    one: Float32Array, other: Float32Array, out: Float32Array | None = None
) -> Float32Array:
    """Matrix product of finite values, into `out` if that is given.

    OpenBLAS, with AVX-512 and five samples under a box, once in many runs raises the flag of an
    invalid value for a product that is right; NumPy would warn of it.
    """
    with np.errstate(invalid="ignore"):
        return np.asarray(np.matmul(one, other, out), np.float32)


class GridSampler:
    """Every place of a grid.

    `first`, `second`: axes of the arrays. Work is least if the first has fewer places for its
    length.
    `turned`: False: the first axis lies along x and the second along y; True: the reverse.

    Attributes
    ----------
    x_m, y_m
        Places, broadcastable to (first, second).
    """

    def __init__(self, first: GridAxis, second: GridAxis, turned: bool = False) -> None:
        self.first, self.second, self._turned = first, second, turned
        x, y = first.places[:, None], second.places[None, :]
        self.x_m, self.y_m = (y, x) if turned else (x, y)

    @property
    def texels_m(self) -> tuple[float, float]:
        """Length and width of the footprints."""
        return self.first.width_m, self.second.width_m

    def read(self, field: Field) -> Float32Array:
        """Fields averaged over each footprint: (..., first, second)."""
        # as coarse as the boxes allow, its first axis along the grid's
        source = (field.turned if self._turned else field).for_boxes(*self.texels_m)
        rows, columns = source.values.shape[-2:]
        down = self.first.plan(source.steps_m[0], rows)
        across = self.second.plan(source.steps_m[1], columns)
        return across.across(down.down(source.values, across.samples()))

    def nearest(self, values: npt.NDArray[np.uint16], step_m: float) -> npt.NDArray[np.uint16]:
        """Nearest sample of a periodic square."""
        i = np.rint(self.first.places / step_m).astype(np.intp) % len(values)
        j = np.rint(self.second.places / step_m).astype(np.intp) % len(values)
        return np.asarray((values.T if self._turned else values)[i[:, None], j])

    def softness(self, distance_m: Float32Array) -> Float32Array:
        """By how much `distance_m` changes over a footprint: the width of its edges."""
        across = _change(distance_m, 1, self.second)
        across += _change(distance_m, 0, self.first)
        return across


def _change(values: Float32Array, axis: int, places: GridAxis) -> Float32Array:
    """How much `values` change along an axis over the width of one of its boxes.

    Taken over that width, not from place to place: edges are as wide however close
    together the places lie.
    """
    lag = min(max(1, round(places.width_m / places.step_m)), values.shape[axis] - 1)
    out = np.empty_like(values)
    if lag == 0:  # nothing to compare with: distances change by a metre a metre
        out.fill(places.width_m)
        return out
    # Views, the axis first: rows and columns then cost the same lines of code.
    read, write = (v if axis == 0 else v.T for v in (values, out))
    first, last = lag // 2, len(read) - (lag - lag // 2)
    np.subtract(read[lag:], read[:-lag], write[first:last])
    write[:first], write[last:] = write[first], write[last - 1]
    np.abs(out, out)
    out *= np.float32(places.width_m / (lag * places.step_m))
    return out
