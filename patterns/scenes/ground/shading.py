"""From what lies where to light: materials laid one over the other.

Each has an edge as wide as the footprint, so that it neither steps near by nor flickers
far away.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from patterns.picture.arrays import Float32Array, FloatingArray
from patterns.scenes.ground import palette
from patterns.scenes.ground.field import Field
from patterns.scenes.ground.layout import MAP_STEP_M, PERIOD_M, Layout
from patterns.scenes.ground.sampling import Sampler

__all__ = ["Materials", "shade"]

Softness = FloatingArray | np.floating[Any] | float

PENUMBRA = 0.3  # width of the edge of a tree's shadow, in heights of a full-grown crown
TREELESS = 0.05  # readiness of trees to stand, below which there are none
VERGE_M = 4.3  # wider than the nearest-sample steps of the parcel map
# Both divide the country's period, or rows would break at its edge.
DRILL_M, WHEELINGS_M = PERIOD_M / 2560, PERIOD_M / 170


@dataclass(frozen=True)
class Materials:
    """Maps and tiles that shading reads; the tiles' repeats divide the country's period."""

    layout: Layout
    maps: dict[str, Field]
    coarse: Field
    middle: Field
    fine: Field
    crowns: Field
    crown_light: Field
    crown_shade: Field


def shade(m: Materials, at: Sampler) -> Float32Array:
    """Linear light, float32 (3, ...), of the places of a sampler."""
    texel = min(at.texel_x_m, at.texel_y_m)
    coarse, middle = at.read(m.coarse), at.read(m.middle)
    fine = at.read(m.fine) if texel < 3 * m.fine.step_m else 0.0
    rough = 0.55 * coarse + 0.22 * middle  # metres by which edges wander
    grain = 1 + 0.09 * coarse + 0.12 * middle + 0.09 * fine
    grain -= 0.22 * np.clip(0.7 * coarse + 0.7 * middle - 0.9, 0, 1)  # tufts
    light = _fields(m, at, rough, coarse)
    light *= grain
    _wild(m, at, light, coarse, middle, grain)
    _track(m, at, light, rough, grain)
    _water(m, at, light, coarse, middle, grain)
    _hedges(m, at, light, rough, grain)
    _trees(m, at, light, coarse, middle, fine)
    light *= at.read(m.maps["relief"])
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


def _fields(m: Materials, at: Sampler, rough: FloatingArray, coarse: FloatingArray) -> Float32Array:
    parcel = at.nearest(m.layout.parcel, MAP_STEP_M)
    light = np.stack([m.layout.colours[:, k].take(parcel) for k in range(3)])
    rows = m.layout.rows.take(parcel)
    size = np.float32(max(at.texel_x_m, at.texel_y_m))
    if size < WHEELINGS_M / 4 and rows.any():
        place = 0.1 * rough + _rows_place(m, at, rows)
        strength = np.abs(rows)
        light *= 1 - strength * _drills(place, size) * (0.75 + 0.25 * coarse)
    if at.bounds(m.maps["border"])[0] < 10 + at.texel_x_m + at.texel_y_m:
        border = at.read(m.maps["border"])
        share = _inside(VERGE_M - border + rough, at.softness(border))
        _lay(light, palette.VERGE, share, np.float32(1) + np.float32(0.04) * coarse)
    return light


def _rows_place(m: Materials, at: Sampler, rows: FloatingArray) -> Float32Array:
    """Coordinate across the drilled rows, metres, within the country's period."""
    if rows.max() <= 0 or rows.min() >= 0:
        name, place = ("bend_y", at.y_m) if rows.max() <= 0 else ("bend_x", at.x_m)
        return np.mod(place, PERIOD_M).astype(np.float32) + at.read(m.maps[name])
    across = np.mod(at.y_m, PERIOD_M).astype(np.float32) + at.read(m.maps["bend_y"])
    along = np.mod(at.x_m, PERIOD_M).astype(np.float32) + at.read(m.maps["bend_x"])
    return np.where(rows < 0, across, along)


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


def _wild(
    m: Materials,
    at: Sampler,
    light: Float32Array,
    coarse: FloatingArray,
    middle: FloatingArray,
    grain: FloatingArray,
) -> None:
    if at.bounds(m.maps["wild"])[1] < -25:
        return
    wild = at.read(m.maps["wild"]) + 5 * coarse + 0.8 * middle
    share = _inside(wild, at.softness(wild) + np.float32(1.5))
    if not share.any():
        return
    mixed = 0.8 * coarse + 0.45 * middle
    heath = np.asarray(grain * (1 + 0.12 * middle), np.float32)
    ground = np.stack([np.broadcast_to(c * heath, wild.shape) for c in palette.HEATH])
    _lay(ground, palette.SCRUB, _inside(mixed - 0.25, at.softness(mixed), 0.3), heath)
    stone = _inside(wild - 14 - 14 * mixed, 2 * at.softness(mixed), 1.5)
    stone *= _inside(-mixed - 0.35, at.softness(mixed), 0.12)
    _lay(ground, palette.ROCK, stone, grain)
    ground -= light
    ground *= share
    light += ground


def _track(
    m: Materials, at: Sampler, light: Float32Array, rough: FloatingArray, grain: FloatingArray
) -> None:
    low, high = at.bounds(m.maps["track"])
    reach = 6 + at.texel_x_m + at.texel_y_m
    if low > reach or high < -reach:
        return
    # The map holds signed distances: those interpolate to 0 in the middle of the track,
    # where a mean of absolute ones would leave gaps.
    signed = at.read(m.maps["track"])
    width = at.softness(signed)
    track = np.sqrt(signed * signed + (np.float32(0.25) * width) ** 2)
    edge = track + 0.25 * np.clip(rough, -1.6, 1.6)
    _lay(light, palette.VERGE, _inside(4.0 - edge, width), grain)
    gravel = _inside(1.8 - edge, width)
    gravel *= 1 - 0.7 * _inside(0.35 - track + 0.25 * rough, width)
    _lay(light, palette.GRAVEL, gravel, grain)


def _water(
    m: Materials,
    at: Sampler,
    light: Float32Array,
    coarse: FloatingArray,
    middle: FloatingArray,
    grain: FloatingArray,
) -> None:
    if at.bounds(m.maps["water"])[0] > 9 + at.texel_x_m + at.texel_y_m:
        return
    water = at.read(m.maps["water"])
    width = at.softness(water)
    water = water + 0.5 * coarse + 0.15 * middle
    _lay(light, palette.SHORE, _inside(1.8 + 0.8 * coarse - water, width + np.float32(0.5)), grain)
    ripple = np.asarray(1 + 0.035 * middle + 0.03 * coarse, np.float32)
    share = _inside(-water, width, 0.1)
    if not share.any():
        return
    _lay(light, palette.WATER_SHALLOW, share, ripple)
    _lay(light, palette.WATER_DEEP, share * np.clip(-water / 14, 0, 1), ripple)


def _hedges(
    m: Materials, at: Sampler, light: Float32Array, rough: FloatingArray, grain: FloatingArray
) -> None:
    if at.bounds(m.maps["border"])[0] > 10 + at.texel_x_m + at.texel_y_m:
        return
    border = at.read(m.maps["border"])
    half = at.read(m.maps["hedge"])
    width = at.softness(border)
    edge = half + 0.8 * rough
    cast = _inside(edge + 0.3 - at.read(m.maps["border_sunward"]), width, 0.25)
    _darken(light, cast * np.clip(2 * half, 0, 1))
    _lay(light, palette.HEDGE, _inside(edge - border, width), grain * grain)


def _trees(
    m: Materials,
    at: Sampler,
    light: Float32Array,
    coarse: FloatingArray,
    middle: FloatingArray,
    fine: FloatingArray | float,
) -> None:
    maps = m.maps["trees"], m.maps["trees_sunward"]
    if max(at.bounds(maps[0])[1], at.bounds(maps[1])[1]) < TREELESS:
        return
    stand, stand_sunward = at.read(maps[0]), at.read(maps[1])
    blur = np.float32(max(at.texel_x_m, at.texel_y_m) / 3)
    ragged = np.asarray(0.11 * middle + 0.09 * coarse, np.float32)  # twigs and boughs
    height = _wooded(at.read(m.crowns) + stand - 1 + ragged, stand)
    width = 0.5 * np.minimum(at.softness(height), 1) + 0.3 * np.minimum(blur, 2)
    cast = at.read(m.crown_shade) + stand_sunward - 1 + 0.7 * ragged
    cast = _wooded(cast, stand_sunward)
    # A crown lets light through at its rim: its shadow begins faintly.
    _darken(light, 0.8 * _inside(cast - 0.06, width, PENUMBRA))
    share = _inside(height, width, 0.03)
    if not share.any():
        return
    lit = at.read(m.crown_light) + 0.26 * middle + 0.14 * coarse + 0.08 * fine
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
