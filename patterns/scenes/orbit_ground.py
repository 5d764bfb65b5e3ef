"""The ground of an orbit: the country about the subject's foot, with its apron and shadow."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor
from itertools import pairwise
from math import cos, radians, sin, tan

import numpy as np
import numpy.typing as npt

from patterns.scenes.country import Country
from patterns.scenes.country_palette import (
    GRAVEL,
    HAZE,
    HAZE_LENGTH_M,
    SHADE,
    SUN_AZIMUTH_DEG,
    SUN_ELEVATION_DEG,
)
from patterns.scenes.country_sampling import GridAxis
from patterns.scenes.orbit import WALL_M
from patterns.scenes.orbit_profile import Profile

__all__ = ["OrbitGround", "shadow_share"]

Floats = npt.NDArray[np.floating]
Light = npt.NDArray[np.float32]

BLOCK = 128
FINEST_STEP_M = 0.03
SUN_WIDTH = 0.0093  # radians that the sun's disc spans: how soft shadows are


def _ramp(value: Floats, low: float, high: float) -> Floats:
    part = np.clip((value - low) / (high - low), 0, 1)
    return np.asarray(part * part * (3 - 2 * part), np.float64)


def shadow_share(profile: Profile, x_m: Floats, y_m: Floats, blur_m: float) -> Light:
    """How much of the sun (0 to 1) the solid keeps from places on the ground."""
    azimuth = radians(SUN_AZIMUTH_DEG)
    away = (-x_m * cos(azimuth) - y_m * sin(azimuth)).astype(np.float32)
    aside = np.abs(x_m * sin(azimuth) - y_m * cos(azimuth)).astype(np.float32)
    stretch = 1 / tan(radians(SUN_ELEVATION_DEG))
    outline = np.array(profile.points)
    top, base = outline[:, 1].max(), profile.base_radius_m + 1
    shade = np.zeros(away.shape, np.float32)
    inside = (aside < base) & (away > -base) & (away < top * stretch + base)
    if not inside.any():
        return shade
    away, aside = away[inside], aside[inside]
    deepest = np.zeros(away.shape, np.float32)
    for height in np.linspace(0, top, 72):
        # widest radius at this height: the outline may turn back on itself
        radius = _radius_at(outline, float(height))
        soft = 0.06 + blur_m + height * SUN_WIDTH
        close = np.abs(away - np.float32(height * stretch)) < radius + soft
        from_disc = np.hypot(away[close] - np.float32(height * stretch), aside[close])
        share = np.clip(0.5 - (from_disc - np.float32(radius)) / np.float32(soft), 0, 1)
        deepest[close] = np.maximum(deepest[close], share)
    shade[inside] = deepest
    return shade


def _radius_at(outline: Floats, height: float) -> float:
    widest = 0.0
    for (r0, z0), (r1, z1) in pairwise(outline):
        if min(z0, z1) <= height <= max(z0, z1):
            part = 0.0 if z1 == z0 else (height - z0) / (z1 - z0)
            widest = max(widest, r0 + part * (r1 - r0), min(r0, r1) if z1 == z0 else 0)
    return widest


class _Level:
    """Square of the country about the subject, light every `step_m`, filled block by block."""

    def __init__(self, step_m: float, inner_m: float, outer_m: float) -> None:
        self.step_m, self.inner_m, self.outer_m = step_m, inner_m, outer_m
        half = int(np.ceil((outer_m + 3 * step_m) / step_m / BLOCK))
        self.half = half * BLOCK
        self._claimed: set[tuple[int, int]] = set()
        self.light = np.zeros((2 * self.half, 2 * self.half, 3), np.float32)

    def blocks(self, bearing: tuple[float, float]) -> Iterator[tuple[int, int]]:
        """Corners of the blocks that meet the ring between the radii and the bearings."""
        side = BLOCK * self.step_m
        for i in range(0, 2 * self.half, BLOCK):
            for j in range(0, 2 * self.half, BLOCK):
                x, y = ((k - self.half + BLOCK / 2) * self.step_m for k in (i, j))
                radius, corner = float(np.hypot(x, y)), side * 0.75
                if not self.inner_m - corner < radius < self.outer_m + corner:
                    continue
                reach = np.arcsin(corner / radius) if radius > corner else np.pi
                after = (np.arctan2(x, y) - bearing[0] + reach) % (2 * np.pi)
                if after <= bearing[1] - bearing[0] + 2 * reach:
                    yield i, j

    def claim(self, i: int, j: int) -> bool:
        """Whether a block is still to be computed; the second time it is not."""
        fresh = (i, j) not in self._claimed
        self._claimed.add((i, j))
        return fresh

    def fill(self, country: Country, centre: tuple[float, float], i: int, j: int) -> None:
        """Compute one block."""
        axes = [
            GridAxis.even(c + (k - self.half) * self.step_m, self.step_m, BLOCK, self.step_m)
            for c, k in zip(centre, (i, j), strict=True)
        ]
        light = country.grid(axes[0], axes[1])
        self.light[i : i + BLOCK, j : j + BLOCK] = np.moveaxis(light, 0, 2)

    def read(self, x_m: Floats, y_m: Floats) -> Light:
        """Light at places, linear between samples."""
        px, py = x_m / self.step_m + self.half, y_m / self.step_m + self.half
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

    def __init__(
        self, country: Country, seed: int, profile: Profile, radii_m: Floats, needs_m: Floats
    ) -> None:
        """Lay out levels so that about each radius the country is known every `needs_m`."""
        self._country, self._profile = country, profile
        rng = np.random.default_rng([seed, 0x0B17])
        x, y = rng.random(2) * Country.PERIOD_M
        self._centre = (float(x), float(y))
        self._levels = list(self._lay_out(radii_m, needs_m))

    @staticmethod
    def _lay_out(radii_m: Floats, needs_m: Floats) -> Iterator[_Level]:
        needs = np.maximum(needs_m, FINEST_STEP_M)
        greatest = float(radii_m.max())
        step = FINEST_STEP_M * 2 ** np.floor(np.log2(needs.min() / FINEST_STEP_M))
        inner = 0.0
        while inner < greatest:
            beyond = radii_m[needs < 2 * step]
            outer = float(beyond.max()) if len(beyond) else inner
            if step > 8 or outer > 0.8 * greatest:
                outer = greatest
            if outer > inner:
                yield _Level(float(step), inner, outer)
                inner = outer
            step *= 2

    def prepare(
        self, radii_m: tuple[Floats, Floats], bearings: tuple[Floats, Floats], pool: Executor
    ) -> None:
        """Compute the country under rings: least and greatest radius and bearing of each."""
        jobs = []
        for level in self._levels:
            mine = (radii_m[1] >= level.inner_m) & (radii_m[0] <= level.outer_m)
            if mine.any():
                sector = (float(bearings[0][mine].min()), float(bearings[1][mine].max()))
                jobs += [(level, i, j) for i, j in level.blocks(sector) if level.claim(i, j)]
        for done in pool.map(lambda job: job[0].fill(self._country, self._centre, *job[1:]), jobs):
            assert done is None

    def light(self, bearing: Floats, across: Floats, spans: tuple[float, float]) -> Light:
        """Light (bearings, radii, 3); `spans` are those of a cell."""
        out = np.empty((len(bearing), len(across), 3), np.float32)
        sines, cosines = np.sin(bearing)[:, np.newaxis], np.cos(bearing)[:, np.newaxis]
        ends = np.array([level.outer_m for level in self._levels[:-1]])
        which = np.searchsorted(ends, across)
        for number in np.unique(which):
            some = which == number
            radii = np.clip(across[some], 0, WALL_M)
            light = self._levels[number].read(sines * radii, cosines * radii)
            out[:, some] = light
        base = self._profile.base_radius_m
        if across[0] < base + 9:
            self._apron(out, bearing, across)
        top = max(height for _, height in self._profile.points)
        if across[0] < top / tan(radians(SUN_ELEVATION_DEG)) + base:
            share = shadow_share(self._profile, sines * across, cosines * across, spans[1])
            out *= 1 - share[..., np.newaxis] * (1 - SHADE)
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
