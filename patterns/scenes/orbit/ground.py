"""The ground of an orbit: the country about the subject's foot, with its apron and shadow."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import BoolArray, Float32Array, FloatingArray, IndexArray
from patterns.scenes.ground.country import Country
from patterns.scenes.ground.field import GridAxis
from patterns.scenes.ground.noise import smooth_step
from patterns.scenes.ground.palette import GRAVEL, SHADE
from patterns.scenes.motion import RING_RADIUS_M
from patterns.scenes.orbit.outlines import Profile
from patterns.scenes.orbit.subjects import Shadow

Codes = npt.NDArray[np.uint16]

BLOCK = 128  # samples of a side that are computed together
CELLS_TOGETHER = 16384  # that are read at once: the working arrays stay in cache
REACH = 4  # steps between the places that stand for all, and about each of them
FINEST_STEP_M = 1 / 32  # steps of 4 m and more read the country's overview
FULL = 65535  # full light of the country that is kept: half the room, and fine enough
APRON_M = 6.6  # beyond the subject's foot that gravel may lie
HIDDEN_M = 25.0  # that the subject hides any sky from
COARSER = 2.2  # the country's samples lie at most this many cells apart


def _step_m(spans: tuple[float, float], across: FloatingArray) -> float:
    """How far apart the country must be known for cells of `spans` at radii `across`."""
    along = spans[0] * float(across[len(across) // 2])
    need = COARSER * min((along * spans[1]) ** 0.5, 4 * along)
    return float(FINEST_STEP_M * 2 ** np.floor(np.log2(max(need / FINEST_STEP_M, 1))))


def _some(count: int, apart: float) -> IndexArray:
    """Some of `count` numbers, at most `apart` from each other (or 1), with both ends."""
    return np.append(np.arange(0, count - 1, max(1, int(apart))), count - 1)


class OrbitGround:
    """Ground disc: bearings clockwise from the country's y axis, metres from the axis.

    It serves cells of like size: the country under them is kept as a square of 3 planes of 0 to
    FULL, light every `step_m` out to `outer_m`, of which only blocks in sight are made.
    """

    far = False

    def __init__(
        self, country: Country, seed: int, shadow: Shadow, step_m: float, outer_m: float
    ) -> None:
        self._country, self._shadow, self._step_m = country, shadow, step_m
        rng = np.random.default_rng([seed, 0x0B17])
        self._centre = (rng.random(2) * Country.PERIOD_M).tolist()
        half = int(np.ceil((outer_m + 3 * step_m) / step_m / BLOCK))
        self._half = half * BLOCK
        # Memory that is never written to is never taken from the machine.
        self._light = np.empty((3, 2 * self._half, 2 * self._half), np.uint16)
        self._filled = np.zeros((2 * half, 2 * half), bool)

    def light(
        self, bearing: FloatingArray, across: FloatingArray, spans: tuple[float, float]
    ) -> Float32Array:
        """Light (bearings, 3, radii), both ascending; `spans` are those of a cell."""
        sines, cosines = (
            turn(bearing).astype(np.float32)[:, np.newaxis] for turn in (np.sin, np.cos)
        )
        radii = np.clip(across, 0, RING_RADIUS_M).astype(np.float32)
        apart = (float(radii[-1]) * spans[0], spans[1])
        some, few = (
            _some(count, REACH * self._step_m / m)
            for count, m in zip((len(sines), len(radii)), apart, strict=True)
        )
        self._ensure(sines[some] * radii[few], cosines[some] * radii[few])
        out = np.empty((len(sines), 3, len(radii)), np.float32)
        high = max(1, CELLS_TOGETHER // len(radii))
        for begin in range(0, len(out), high):
            part = slice(begin, begin + high)
            self._read(sines[part], cosines[part], radii, out[part])
        base = self._shadow.foot_m
        apron = int(np.searchsorted(across, base + APRON_M))
        if apron:
            self._apron(out[:, :, :apron], bearing, across[:apron])
        shaded = radii[: int(np.searchsorted(across, self._shadow.reach_m))]
        if len(shaded):
            first = shaded[0]
            rays = self._shadow.rays(sines[:, 0] * first, cosines[:, 0] * first, spans[1])
            share = self._shadow.share(sines[rays] * shaded, cosines[rays] * shaded, spans[1])
            dark = np.asarray(SHADE - 1, np.float32)[:, np.newaxis]
            out[rays, :, : len(shaded)] *= 1 + share[:, np.newaxis] * dark
        # The solid hides part of the sky from the ground about its foot.
        near = int(np.searchsorted(across, base + HIDDEN_M))
        hidden = 0.45 * np.exp(-np.maximum(across[:near] - base, 0) / 1.2)
        out[:, :, :near] *= (1 - hidden).astype(np.float32)
        return out

    def _ensure(self, x_m: FloatingArray, y_m: FloatingArray) -> None:
        """Have all blocks within `REACH` steps of places."""
        missing = self._met(x_m, y_m) & ~self._filled
        for i in np.flatnonzero(missing.any(axis=1)).tolist():
            ends = np.flatnonzero(np.diff(missing[i], prepend=False, append=False))
            for first, last in ends.reshape(-1, 2).tolist():
                self._fill(i, slice(first, last))

    def _met(self, x_m: FloatingArray, y_m: FloatingArray) -> BoolArray:
        """Which blocks are read about places."""
        met = np.zeros_like(self._filled)
        ends = [
            [
                np.clip((axis + side) * (1 / BLOCK), 0, len(met) - 1).astype(np.intp)
                for side in (-REACH, REACH)
            ]
            for axis in (x_m / self._step_m + self._half, y_m / self._step_m + self._half)
        ]
        for i in ends[0]:
            for j in ends[1]:
                met[i, j] = True
        return met

    def _fill(self, row: int, columns: slice) -> None:
        """Compute blocks of a row that lie side by side."""
        some = (
            slice(row * BLOCK, (row + 1) * BLOCK),
            slice(columns.start * BLOCK, columns.stop * BLOCK),
        )
        along, across = (
            GridAxis.even(
                middle_m + (part.start - self._half) * self._step_m,
                self._step_m,
                part.stop - part.start,
                self._step_m,
            )
            for part, middle_m in zip(some, self._centre, strict=True)
        )
        light = self._country.view(along, across) * np.float32(FULL)
        self._light[:, some[0], some[1]] = np.rint(light, out=light)
        self._filled[row, columns] = True

    def _read(
        self, sines: Float32Array, cosines: Float32Array, radii: Float32Array, out: Float32Array
    ) -> None:
        """Fill `out` (m, 3, n) with light on m rays at n radii, linear between samples."""
        # 32 bits place a sample to a hundredth of a step, far below what is seen.
        steps = radii * np.float32(1 / self._step_m)
        px, py = sines * steps, cosines * steps
        px += np.float32(self._half)
        py += np.float32(self._half)
        i, j = np.floor(px), np.floor(py)
        px -= i
        py -= j
        side = 2 * self._half
        place = i.astype(np.intp)
        place *= side
        place += j.astype(np.intp)
        found = np.empty(place.shape, np.uint16)
        for channel, flat in enumerate(self._light.reshape(3, -1)):
            low, high = _mixed(flat, place, py, found), _mixed(flat[side:], place, py, found)
            high -= low
            high *= px
            low += high
            np.multiply(low, np.float32(1 / FULL), out=out[:, channel])

    def _apron(self, out: Float32Array, bearing: FloatingArray, across: FloatingArray) -> None:
        base = self._shadow.foot_m
        edge = (
            0.5 * np.sin(3 * bearing + 1) + 0.35 * np.sin(7 * bearing) + 0.2 * np.sin(17 * bearing)
        )
        cover = 1 - smooth_step(across + edge[:, np.newaxis], base + 3.5, base + 5.5)
        grain = self._country.materials.fine
        size = len(grain.values)
        i = (np.sin(bearing)[:, np.newaxis] * across / 0.012).astype(np.int64) % size
        j = (np.cos(bearing)[:, np.newaxis] * across / 0.012).astype(np.int64) % size
        speckle = np.float32(1) + np.float32(0.12) * grain.values[i, j]
        gravel = GRAVEL[:, np.newaxis] * np.clip(speckle, 0.5, 1.5)[:, np.newaxis]
        gravel -= out
        gravel *= cover[:, np.newaxis].astype(np.float32)
        out += gravel


def _mixed(samples: Codes, place: IndexArray, part: Float32Array, found: Codes) -> Float32Array:
    """What lies at `part` between each sample and the next; `found` is working space."""
    # The square reaches beyond all that is asked for: nothing is clipped.
    low = samples.take(place, out=found, mode="clip").astype(np.float32)
    high = samples[1:].take(place, out=found, mode="clip").astype(np.float32)
    high -= low
    high *= part
    low += high
    return low


def grounds(
    country: Country,
    seed: int,
    profile: Profile,
    cells: list[tuple[FloatingArray, tuple[float, float]]],
) -> list[OrbitGround]:
    """Ground for each of the `across` and `spans` of cells: the same one for like cells."""
    steps = [_step_m(spans, across) for across, spans in cells]
    reach: dict[float, float] = {}
    for step, (across, _) in zip(steps, cells, strict=True):
        reach[step] = max(reach.get(step, 0), float(across[-1]))
    shadow = Shadow(profile)
    made = {step: OrbitGround(country, seed, shadow, step, outer) for step, outer in reach.items()}
    return [made[step] for step in steps]
