"""Reading periodic fields on a grid of places, averaged over each place's oblong footprint."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import Float32Array, FloatArray, IndexArray
from patterns.scenes.ground.field import BoxPlan, Field, GridAxis

Plans = tuple[BoxPlan, BoxPlan]
Some = slice | IndexArray


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
        # Fields of one size share their plans: looked up once for all of them.
        self._shared: dict[tuple[object, object], tuple[Plans, tuple[Some, Some]]] = {}

    @property
    def texels_m(self) -> tuple[float, float]:
        """Length and width of the footprints."""
        return self.first.width_m, self.second.width_m

    def read(self, field: Field) -> Float32Array:
        """Fields averaged over each footprint: (..., first, second)."""
        source = self._source(field)
        (down, across), (_, columns) = self._plans(source)
        return across.across(down.down(source.values, columns))

    def bounds(self, field: Field) -> tuple[FloatArray, FloatArray]:
        """No place reads less or more of each field than these."""
        source = self._source(field)
        _, (rows, columns) = self._plans(source)
        patch = source.values[..., rows, :][..., columns]
        return patch.min(axis=(-2, -1)), patch.max(axis=(-2, -1))

    def _source(self, field: Field) -> Field:
        """The field as coarse as the boxes allow, its first axis along the grid's."""
        return (field.turned if self._turned else field).for_boxes(*self.texels_m)

    def _plans(self, source: Field) -> tuple[Plans, tuple[Some, Some]]:
        """How to average along both axes, and the samples that this takes."""
        key = (source.steps_m, source.values.shape[-2:])
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
