"""From what lies where to light: materials laid one over the other.

Each has an edge as wide as the footprint, so that it neither steps near by nor flickers
far away.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from patterns.picture.arrays import Float32Array, FloatingArray
from patterns.scenes.ground import palette
from patterns.scenes.ground.field import Field, GridSampler
from patterns.scenes.ground.layout import MAP_STEP_M, MAPS, PERIOD_M, Layout

Softness = FloatingArray | np.floating[Any] | float

PENUMBRA = 0.3  # width of the edge of a tree's shadow, in heights of a full-grown crown
TREELESS = 0.05  # readiness of trees to stand, below which there are none
VERGE_M = 4.3  # wider than the nearest-sample steps of the parcel map
# Both divide the country's period, or rows would break at its edge.
DRILL_M, WHEELINGS_M = PERIOD_M / 1280, PERIOD_M / 85


@dataclass(frozen=True)
class Materials:
    """Maps and tiles that shading reads; the tiles' repeats divide the country's period."""

    layout: Layout
    maps: Field  # those of the layout
    coarse: Field
    middle: Field
    fine: Field
    crowns: Field  # heights of crowns, the light on them, and where their shadows fall


class _Ground:
    """What is known of the places of a grid: maps by name, their bounds, and noise."""

    def __init__(self, m: Materials, at: GridSampler) -> None:
        self.m, self.at = m, at
        self.texel = min(at.texels_m)
        self.size = np.float32(max(at.texels_m))
        maps = at.read(m.maps)
        self.map: dict[str, Float32Array] = dict(zip(MAPS, maps, strict=True))
        self.low: dict[str, float] = dict(zip(MAPS, maps.min(axis=(1, 2)).tolist(), strict=True))
        self.high: dict[str, float] = dict(zip(MAPS, maps.max(axis=(1, 2)).tolist(), strict=True))
        self.coarse, self.middle = coarse, middle = at.read(m.coarse), at.read(m.middle)
        self.rough = 0.55 * coarse + 0.22 * middle  # metres by which edges wander
        self.grain = 1 + 0.09 * coarse + 0.12 * middle
        self.fine: Float32Array | None = None
        if self.texel < 3 * m.fine.step_m:
            self.fine = at.read(m.fine)
            self.grain += 0.09 * self.fine
        self.grain -= 0.22 * np.clip(0.7 * coarse + 0.7 * middle - 0.9, 0, 1)  # tufts

    @cached_property
    def border_width(self) -> Float32Array:
        """How wide edges beside a parcel's border are."""
        return self.at.softness(self.map["border"])

    def within(self, name: str, reach_m: float) -> bool:
        """Whether the distance in a map comes down to `reach_m`, and a footprint, anywhere."""
        return self.low[name] <= reach_m + sum(self.at.texels_m)


def shade(m: Materials, at: GridSampler) -> Float32Array:
    """Linear light, float32 (3, ...), of the places of a sampler."""
    here = _Ground(m, at)
    light = _fields(here)
    light *= here.grain
    if here.high["wild"] >= -25:
        _wild(here, light)
    if here.within("track", 6) and -here.high["track"] <= 6 + sum(at.texels_m):
        _track(here, light)
    if here.within("water", 9):
        _water(here, light)
    if here.within("border", 10):
        _hedges(here, light)
    if max(here.high["trees"], here.high["trees_sunward"]) >= TREELESS:
        _trees(here, light)
    light *= here.map["relief"]
    return np.clip(light, 0.003, 1, out=light)


def _inside(distance_m: FloatingArray, softness: Softness, least: float = 0.02) -> Float32Array:
    """Share of a footprint that lies where `distance_m` is positive."""
    width = np.maximum(softness, np.float32(least))
    width *= np.float32(1.3)
    share = np.divide(distance_m, width, dtype=np.float32)
    share += np.float32(0.5)
    # Two plain calls: `clip` takes four times as long to begin.
    np.minimum(share, np.float32(1), out=share)
    return np.maximum(share, np.float32(0), out=share)


def _lay(
    light: Float32Array, colour: Float32Array, share: Float32Array, grain: FloatingArray
) -> None:
    if not share.any():
        return
    part = np.empty_like(share)
    for channel, value in zip(light, colour, strict=True):
        np.multiply(grain, value, part)
        part -= channel
        part *= share
        np.add(channel, part, channel)


def _darken(light: Float32Array, share: Float32Array) -> None:
    if not share.any():
        return
    part = np.empty_like(share)
    for channel, left in zip(light, palette.SHADE, strict=True):
        np.multiply(share, left - np.float32(1), part)
        part += np.float32(1)
        np.multiply(channel, part, channel)


def _fields(here: _Ground) -> Float32Array:
    layout, coarse = here.m.layout, here.coarse
    parcel = here.at.nearest(layout.parcel, MAP_STEP_M)
    light = np.stack([layout.colours[:, k].take(parcel) for k in range(3)])
    rows = layout.rows.take(parcel)
    if here.size < WHEELINGS_M / 4 and rows.any():
        place = 0.1 * here.rough + _rows_place(here, rows)
        light *= 1 - np.abs(rows) * _drills(place, here.size) * (0.75 + 0.25 * coarse)
    if here.within("border", 10):
        share = _inside(VERGE_M - here.map["border"] + here.rough, here.border_width)
        _lay(light, palette.VERGE, share, np.float32(1) + np.float32(0.04) * coarse)
    return light


def _rows_place(here: _Ground, rows: FloatingArray) -> Float32Array:
    """Coordinate across the drilled rows, metres, within the country's period."""
    across: Float32Array = np.mod(here.at.y_m, PERIOD_M).astype(np.float32) + here.map["bend_y"]
    if rows.max() <= 0:
        return across
    along: Float32Array = np.mod(here.at.x_m, PERIOD_M).astype(np.float32) + here.map["bend_x"]
    return along if rows.min() >= 0 else np.where(rows < 0, across, along)


def _drills(place: FloatingArray, size: np.float32) -> Float32Array:
    """Darkening by drilled rows and by the wheelings of the machine that tends them."""
    row = np.abs(_fraction(place * np.float32(1 / DRILL_M)) - 0.5) * 4 - 1
    fade = np.clip(1.5 - 2.5 * size / DRILL_M, 0, 1)
    across = (_fraction(place * np.float32(1 / WHEELINGS_M)) - 0.5) * np.float32(WHEELINGS_M)
    wheel = np.abs(np.abs(across) - 0.9)  # two ruts, 1.8 m apart
    rut = np.clip((0.28 - wheel) / max(0.1, float(size)) + 0.5, 0, 1)
    rut = rut * min(1.0, 0.56 / float(size))
    return np.asarray(0.055 * fade * row + 0.22 * rut, np.float32)


def _fraction(turns: FloatingArray) -> FloatingArray:
    """What is left of each value above the whole number below it (much faster than `mod`)."""
    return np.asarray(turns - np.floor(turns))


def _wild(here: _Ground, light: Float32Array) -> None:
    at, coarse, middle = here.at, here.coarse, here.middle
    wild = here.map["wild"] + 5 * coarse + 0.8 * middle
    share = _inside(wild, at.softness(wild) + np.float32(1.5))
    if not share.any():
        return
    mixed = 0.8 * coarse + 0.45 * middle
    width = at.softness(mixed)
    heath = np.asarray(here.grain * (1 + 0.12 * middle), np.float32)
    ground = np.stack([np.broadcast_to(c * heath, wild.shape) for c in palette.HEATH])
    _lay(ground, palette.SCRUB, _inside(mixed - 0.25, width, 0.3), heath)
    stone = _inside(wild - 14 - 14 * mixed, 2 * width, 1.5)
    stone *= _inside(-mixed - 0.35, width, 0.12)
    _lay(ground, palette.ROCK, stone, here.grain)
    ground -= light
    ground *= share
    light += ground


def _track(here: _Ground, light: Float32Array) -> None:
    # The map holds signed distances: those interpolate to 0 in the middle of the track,
    # where a mean of absolute ones would leave gaps.
    signed, rough = here.map["track"], here.rough
    width = here.at.softness(signed)
    track = np.sqrt(signed * signed + (np.float32(0.25) * width) ** 2)
    edge = track + 0.25 * np.clip(rough, -1.6, 1.6)
    _lay(light, palette.VERGE, _inside(4.0 - edge, width), here.grain)
    gravel = _inside(1.8 - edge, width)
    gravel *= 1 - 0.7 * _inside(0.35 - track + 0.25 * rough, width)
    _lay(light, palette.GRAVEL, gravel, here.grain)


def _water(here: _Ground, light: Float32Array) -> None:
    coarse, middle = here.coarse, here.middle
    width = here.at.softness(here.map["water"])
    water = here.map["water"] + 0.5 * coarse + 0.15 * middle
    shore = _inside(1.8 + 0.8 * coarse - water, width + np.float32(0.5))
    _lay(light, palette.SHORE, shore, here.grain)
    ripple = np.asarray(1 + 0.035 * middle + 0.03 * coarse, np.float32)
    share = _inside(-water, width, 0.1)
    if not share.any():
        return
    _lay(light, palette.WATER_SHALLOW, share, ripple)
    _lay(light, palette.WATER_DEEP, share * np.clip(-water / 14, 0, 1), ripple)


def _hedges(here: _Ground, light: Float32Array) -> None:
    half, width = here.map["hedge"], here.border_width
    edge = half + 0.8 * here.rough
    cast = _inside(edge + 0.3 - here.map["border_sunward"], width, 0.25)
    _darken(light, cast * np.clip(2 * half, 0, 1))
    share = _inside(edge - here.map["border"], width)
    _lay(light, palette.HEDGE, share, here.grain * here.grain)


def _trees(here: _Ground, light: Float32Array) -> None:
    crowns, lit, shade = here.at.read(here.m.crowns)
    coarse, middle = here.coarse, here.middle
    stand, stand_sunward = here.map["trees"], here.map["trees_sunward"]
    ragged = np.asarray(0.11 * middle + 0.09 * coarse, np.float32)  # twigs and boughs
    height = _wooded(crowns + stand - 1 + ragged, stand)
    width = 0.5 * np.minimum(here.at.softness(height), 1) + 0.3 * np.minimum(here.size / 3, 2)
    cast = _wooded(shade + stand_sunward - 1 + 0.7 * ragged, stand_sunward)
    # A crown lets light through at its rim: its shadow begins faintly.
    _darken(light, 0.8 * _inside(cast - 0.06, width, PENUMBRA))
    share = _inside(height, width, 0.03)
    if not share.any():
        return
    lit += 0.26 * middle + 0.14 * coarse
    if here.fine is not None:
        lit += 0.08 * here.fine
    lit = np.clip(lit + 0.35 * np.clip(height, 0, 1) - 0.1, 0, 1)
    for channel, dark, bright in zip(light, palette.CANOPY, palette.CANOPY_LIT, strict=True):
        part = lit * (bright - dark)
        part += dark
        part -= channel
        part *= share
        np.add(channel, part, channel)


def _wooded(height: Float32Array, stand: Float32Array) -> Float32Array:
    """Heights of crowns, but none where trees hardly stand: below TREELESS not a leaf.

    A block of ground without trees is passed over, and must then look the same as in a
    block that holds some.
    """
    low = stand - np.float32(TREELESS + 0.05)
    low *= 20
    return np.asarray(np.minimum(height, low, out=low), np.float32)
