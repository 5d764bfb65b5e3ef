"""Reading periodic fields at places on the ground, averaged over each place's footprint.

Two ways with the same face: `GridSampler` for regular grids with oblong footprints (the
terrain's texture levels; separable, fast), `PointSampler` for any positions.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Protocol

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import Float32Array, FloatArray, IndexArray
from patterns.scenes.ground.field import BoxPlan, Field, GridAxis

__all__ = ["Field", "GridAxis", "GridSampler", "PointSampler", "Sampler", "box_filtered"]

Plans = tuple[BoxPlan, BoxPlan]
Some = slice | IndexArray


class Sampler(Protocol):
    """What shading needs to know of the places that it colours."""

    texel_x_m: float
    texel_y_m: float

    @property
    def x_m(self) -> FloatArray:
        """Place along x, broadcastable to the result."""

    @property
    def y_m(self) -> FloatArray:
        """Place along y, broadcastable to the result."""

    def read(self, field: Field) -> Float32Array:
        """Field averaged over each footprint."""

    def bounds(self, field: Field) -> tuple[float, float]:
        """No place reads less or more than these."""

    def nearest(self, values: npt.NDArray[np.uint16], step_m: float) -> npt.NDArray[np.uint16]:
        """Nearest sample of a periodic square."""

    def softness(self, distance_m: Float32Array) -> Float32Array | float:
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
        self._known: dict[int, Float32Array] = {}
        self._bounds: dict[int, tuple[float, float]] = {}
        # Maps of one size share their plans: looked up once for all of them.
        self._shared: dict[tuple[object, object], tuple[Plans, tuple[Some, Some]]] = {}

    def read(self, field: Field) -> Float32Array:
        """Field averaged over each footprint; not to be changed, since it is kept."""
        key = id(field)
        if key not in self._known:
            source = self._source(field)
            (down, across), (_, columns) = self._plans(source)
            self._known[key] = across.across(down.down(source.values, columns))
        return self._known[key]

    def bounds(self, field: Field) -> tuple[float, float]:
        """No place reads less or more than these."""
        key = id(field)
        if key not in self._bounds:
            source = self._source(field)
            _, (rows, columns) = self._plans(source)
            patch = source.values[rows][:, columns]
            self._bounds[key] = float(patch.min()), float(patch.max())
        return self._bounds[key]

    def _source(self, field: Field) -> Field:
        """The field as coarse as the boxes allow, its first axis along the grid's."""
        if self._turned:
            return field.turned.for_boxes(self.first.width_m, self.second.width_m)
        return field.for_boxes(self.first.width_m, self.second.width_m)

    def _plans(self, source: Field) -> tuple[Plans, tuple[Some, Some]]:
        """How to average along both axes, and the samples that this takes."""
        key = (source.steps_m, source.values.shape)
        if key not in self._shared:
            (first_m, second_m), (rows, columns) = key
            down, across = self.first.plan(first_m, rows), self.second.plan(second_m, columns)
            self._shared[key] = (down, across), (down.samples(), across.samples())
        return self._shared[key]

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


@lru_cache(maxsize=96)
def box_filtered(field: Field, width: float) -> Field:
    """Field averaged over squares `width` samples wide at each of its samples."""
    size = field.size
    axis = GridAxis.even(0.0, field.step_m, size, width * field.step_m)
    return Field(GridSampler(axis, axis).read(field), field.step_m)


class PointSampler:
    """Any positions, all with the square footprint `texel_m`."""

    def __init__(self, x_m: FloatArray, y_m: FloatArray, texel_m: float) -> None:
        self.x_m, self.y_m = np.broadcast_arrays(x_m, y_m)
        self.texel_x_m = self.texel_y_m = texel_m

    def read(self, field: Field) -> Float32Array:
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

    def softness(self, distance_m: Float32Array) -> float:  # noqa: ARG002 - same face as the grid's
        """Width of an edge: distances change by about a metre a metre."""
        return self.texel_x_m


def _split(places: FloatArray, size: int) -> tuple[IndexArray, Float32Array]:
    whole = np.floor(places)
    return whole.astype(np.intp) % size, (places - whole).astype(np.float32)
