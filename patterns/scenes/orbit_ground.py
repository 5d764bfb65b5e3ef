"""The ground of an orbit: the country about the subject's foot, with its apron and shadow."""

from __future__ import annotations

from concurrent.futures import Future
from threading import Lock

import numpy as np
import numpy.typing as npt

from patterns.scenes.country import Country
from patterns.scenes.country_palette import (
    GRAVEL,
    HAZE,
    HAZE_LENGTH_M,
    SHADE,
)
from patterns.scenes.country_sampling import GridAxis
from patterns.scenes.orbit import WALL_M
from patterns.scenes.orbit_profile import Profile
from patterns.scenes.orbit_shadow import Shadow

__all__ = ["OrbitGround"]

Floats = npt.NDArray[np.floating]
Light = npt.NDArray[np.float32]

BLOCK = 128
REACH = 4  # steps between the places that stand for all, and about each of them
FINEST_STEP_M = 0.03
COARSER = 2.2  # the country's samples lie at most this many cells apart


def _ramp(value: Floats, low: float, high: float) -> Floats:
    part = np.clip((value - low) / (high - low), 0, 1)
    return np.asarray(part * part * (3 - 2 * part), np.float64)


def _step_m(spans: tuple[float, float], across: Floats) -> float:
    """How far apart the country must be known for cells of `spans` at radii `across`."""
    along = spans[0] * float(across[len(across) // 2])
    need = COARSER * min((along * spans[1]) ** 0.5, 4 * along)
    return float(FINEST_STEP_M * 2 ** np.floor(np.log2(max(need / FINEST_STEP_M, 1))))


def _some(count: int, apart: float) -> npt.NDArray[np.intp]:
    """Some of `count` numbers, at most `apart` from each other (or 1), with both ends."""
    return np.unique(np.append(np.arange(0, count, max(1, int(apart))), count - 1))


class _Level:
    """Square of the country about the subject, light every `step_m`, filled block by block."""

    def __init__(self, step_m: float, outer_m: float) -> None:
        self.step_m = step_m
        half = int(np.ceil((outer_m + 3 * step_m) / step_m / BLOCK))
        self.half = half * BLOCK
        self._claimed: dict[tuple[int, int], Future[None]] = {}
        self._claiming = Lock()
        # Memory of blocks that are never filled is never taken from the machine.
        self.light = np.zeros((2 * self.half, 2 * self.half, 3), np.float32)

    def ensure(
        self,
        country: Country,
        centre: tuple[float, float],
        x_m: Floats,
        y_m: Floats,
    ) -> None:
        """Have all blocks within `REACH` steps of places."""
        theirs = []
        for block in self._blocks(x_m, y_m):
            with self._claiming:
                fresh = block not in self._claimed
                filled = self._claimed.setdefault(block, Future())
            if fresh:
                # Whoever waits for this block must hear of a failure, not wait for ever.
                try:
                    self._fill(country, centre, *block)
                except BaseException as error:
                    filled.set_exception(error)
                    raise
                filled.set_result(None)
            elif not filled.done():
                theirs.append(filled)
        for filled in theirs:
            filled.result()

    def _blocks(self, x_m: Floats, y_m: Floats) -> list[tuple[int, int]]:
        """Corners of the blocks that are read about places."""
        across = 2 * self.half // BLOCK
        ends = [
            [
                np.clip(axis / self.step_m + self.half + side, 0, 2 * self.half - 1) // BLOCK
                for side in (-REACH, REACH)
            ]
            for axis in (x_m, y_m)
        ]
        numbers = np.stack([i * across + j for i in ends[0] for j in ends[1]])
        return [
            (number // across * BLOCK, number % across * BLOCK)
            for number in np.unique(numbers).astype(int).tolist()
        ]

    def _fill(self, country: Country, centre: tuple[float, float], i: int, j: int) -> None:
        """Compute one block."""
        axes = [
            GridAxis.even(c + (k - self.half) * self.step_m, self.step_m, BLOCK, self.step_m)
            for c, k in zip(centre, (i, j), strict=True)
        ]
        light = country.grid(axes[0], axes[1])
        self.light[i : i + BLOCK, j : j + BLOCK] = np.moveaxis(light, 0, 2)

    def read(self, x_m: Floats, y_m: Floats) -> Light:
        """Light at places, linear between samples."""
        # 32 bits place a sample to a hundredth of a step, far below what is seen.
        scale, half = np.float32(1 / self.step_m), np.float32(self.half)
        px, py = x_m * scale + half, y_m * scale + half
        i, j = px.astype(np.int32), py.astype(np.int32)
        fx = (px - i).astype(np.float32)[..., np.newaxis]
        fy = (py - j).astype(np.float32)[..., np.newaxis]
        side = 2 * self.half
        flat = self.light.reshape(-1, 3)
        place = i.astype(np.int64) * side + j
        low = flat.take(place, 0, mode="clip")
        low += (flat.take(place + 1, 0, mode="clip") - low) * fy
        place += side
        high = flat.take(place, 0, mode="clip")
        high += (flat.take(place + 1, 0, mode="clip") - high) * fy
        high -= low
        high *= fx
        low += high
        return low


class OrbitGround:
    """Ground disc: bearings clockwise from the country's y axis, metres from the axis."""

    dithered = False

    def __init__(self, country: Country, seed: int, profile: Profile) -> None:
        self._country, self._profile = country, profile
        rng = np.random.default_rng([seed, 0x0B17])
        x, y = rng.random(2) * Country.PERIOD_M
        self._centre = (float(x), float(y))
        self._levels: dict[float, _Level] = {}
        self._shadow = Shadow(profile)

    def lay_out(self, cells: list[tuple[Floats, tuple[float, float]]]) -> None:
        """Make room for the country under the `across` and `spans` that will be asked for."""
        reach: dict[float, float] = {}
        for across, spans in cells:
            step = _step_m(spans, across)
            reach[step] = max(reach.get(step, 0), float(across[-1]))
        self._levels = {step: _Level(step, outer) for step, outer in reach.items()}

    def light(self, bearing: Floats, across: Floats, spans: tuple[float, float]) -> Light:
        """Light (bearings, radii, 3), both ascending; `spans` are those of a cell."""
        sines, cosines = (
            turn(bearing).astype(np.float32)[:, np.newaxis] for turn in (np.sin, np.cos)
        )
        radii = np.clip(across, 0, WALL_M).astype(np.float32)
        level = self._levels[_step_m(spans, across)]
        x, y = sines * radii, cosines * radii
        apart = (float(radii[-1]) * spans[0], spans[1])
        every = tuple(
            _some(n, REACH * level.step_m / m) for n, m in zip(x.shape, apart, strict=True)
        )
        level.ensure(self._country, self._centre, x[np.ix_(*every)], y[np.ix_(*every)])
        out = level.read(x, y)
        base = self._profile.base_radius_m
        if across[0] < base + 9:
            self._apron(out, bearing, across)
        if across[0] < self._shadow.reach_m:
            share = self._shadow.share(x, y, spans[1])
            if share is not None:
                out *= 1 - share[..., np.newaxis] * np.float32(1 - SHADE)
        # The solid hides part of the sky from the ground about its foot.
        out *= (1 - 0.45 * np.exp(-np.maximum(across - base, 0) / 1.2))[:, np.newaxis].astype(
            np.float32
        )
        return out

    def _apron(self, out: Light, bearing: Floats, across: Floats) -> None:
        base = self._profile.base_radius_m
        edge = (
            0.5 * np.sin(3 * bearing + 1) + 0.35 * np.sin(7 * bearing) + 0.2 * np.sin(17 * bearing)
        )
        cover = 1 - _ramp(across + edge[:, np.newaxis], base + 3.5, base + 5.5)
        grain = self._country.materials.fine
        size = grain.size
        i = (np.sin(bearing)[:, np.newaxis] * across / 0.012).astype(np.int64) % size
        j = (np.cos(bearing)[:, np.newaxis] * across / 0.012).astype(np.int64) % size
        speckle = np.float32(1) + np.float32(0.12) * grain.values[i, j]
        gravel = GRAVEL * np.clip(speckle, 0.5, 1.5)[..., np.newaxis]
        out += (gravel - out) * cover[..., np.newaxis].astype(np.float32)

    def through_air(self, light: Light, distance_m: Floats) -> Light:
        """Light (..., 3, rows) after `distance_m` of haze."""
        left = np.exp(-distance_m / HAZE_LENGTH_M).astype(np.float32)
        return np.asarray(light * left + HAZE[:, np.newaxis] * (1 - left), np.float32)
