"""Colours of the country, its sky and its air: linear light of the BT.709 primaries.

Each is written as the signal (0 to 255) that a person would mix by eye, and turned into
the light that a BT.1886 display makes of it (power 2.4). No source: chosen by looking.
"""

from __future__ import annotations

from math import cos, radians, sin, tan

import numpy as np

from patterns.picture.arrays import Float32Array, FloatArray, FloatingArray


def mixed(*signal: float) -> Float32Array:
    """Linear light of a colour mixed by eye."""
    return np.asarray((np.array(signal) / 255) ** 2.4, np.float32)


# Field colours, and how visible drilled rows and wheel tracks are in each (0 to 1).
CROPS: tuple[tuple[Float32Array, float], ...] = (
    (mixed(105, 114, 74), 0.0),  # pasture
    (mixed(90, 105, 64), 0.0),  # lush pasture
    (mixed(118, 121, 80), 0.0),  # dry pasture
    (mixed(98, 110, 67), 0.1),  # meadow
    (mixed(148, 141, 98), 0.8),  # ripening corn
    (mixed(160, 148, 110), 0.9),  # stubble
    (mixed(111, 122, 76), 0.9),  # young crop
    (mixed(110, 97, 82), 1.0),  # ploughed
    (mixed(128, 123, 88), 0.4),  # fallow
)
VERGE = mixed(98, 108, 66)
HEDGE = mixed(54, 68, 40)
CANOPY = mixed(46, 60, 36)
CANOPY_LIT = mixed(92, 106, 58)
GRAVEL = mixed(158, 146, 122)
WATER_DEEP = mixed(52, 72, 82)
WATER_SHALLOW = mixed(84, 98, 90)
SHORE = mixed(142, 130, 106)
HEATH = mixed(110, 102, 68)
SCRUB = mixed(76, 84, 50)
ROCK = mixed(136, 131, 122)
SHADE = np.array([0.40, 0.44, 0.54], np.float32)  # what a cast shadow leaves of the light

HAZE = mixed(176, 190, 200)
HAZE_LENGTH_M = 5200.0  # distance over which 1/e of the ground's contrast is left
SKY_HORIZON = mixed(182, 196, 205)
SKY_ZENITH = mixed(88, 124, 170)
CLOUD = mixed(214, 217, 219)
HILL = mixed(92, 106, 96)

# Where the sun stands: azimuth from +x towards +y, elevation above the horizon.
SUN_AZIMUTH_DEG, SUN_ELEVATION_DEG = 115.0, 38.0
SUN_BEARING = radians(90 - SUN_AZIMUTH_DEG)  # from +y towards +x, as orbits count


def transmittance(distance_m: FloatingArray) -> FloatArray:
    """Share of the ground's light that comes through `distance_m` of hazy air, same shape."""
    return np.asarray(np.exp(-distance_m / HAZE_LENGTH_M), np.float64)


def hazed(light: Float32Array, through: float | Float32Array) -> Float32Array:
    """Light (3, ...) seen through haze that lets the share `through` pass; changed in place."""
    share = np.asarray(through, np.float32)
    light *= share
    for channel, haze in zip(light, HAZE, strict=True):
        np.add(channel, haze * (1 - share), channel)
    return light


def shadow_offset(height_m: float) -> tuple[float, float]:
    """(x, y) in metres from the foot of a thing `height_m` tall to the tip of its shadow."""
    length = height_m / tan(radians(SUN_ELEVATION_DEG))
    return (
        -length * cos(radians(SUN_AZIMUTH_DEG)),
        -length * sin(radians(SUN_AZIMUTH_DEG)),
    )
