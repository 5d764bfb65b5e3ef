"""What a level camera sees: where on flat ground each row looks, and the sky, which rests.

Pinhole camera, square pixels, optical axis through the centre of the picture, no roll:
so a row sees a straight line on the ground that lies square to the camera's heading.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np

from patterns.picture.arrays import Float32Array, FloatArray
from patterns.scenes.ground.hills import Wall
from patterns.scenes.ground.noise import between
from patterns.scenes.motion import RING_RADIUS_M, focal_px
from patterns.scenes.terrain.motion import TerrainMotion


@dataclass(frozen=True)
class Plane:
    """Sampling of a picture plane: positions in luma pixels from the picture's top left."""

    # columns, rows: samples across and down
    columns: int
    rows: int
    pitch: int  # luma pixels from sample to sample: 1 for luma, 2 for chroma

    @property
    def x(self) -> FloatArray:
        """Centre of each column: chroma sits on even luma columns (see `Planes`)."""
        return np.asarray(np.arange(self.columns) * self.pitch + 0.5, np.float64)

    @property
    def y(self) -> FloatArray:
        """Centre of each row: chroma sits between two luma rows."""
        return np.asarray(np.arange(self.rows) * self.pitch + self.pitch / 2, np.float64)


@dataclass(frozen=True)
class Rays:
    """Ground seen by the rows of a plane; rows above the horizon have infinite depth."""

    across: FloatArray  # (columns,) tangent of the angle right of the optical axis
    # (rows,) distance of the row's ground line along the optical axis; a column with tangent a sees
    # the place a * depth_m to the right
    depth_m: FloatArray
    ahead_m: FloatArray  # (rows,) distance over the ground along the heading
    range_m: FloatArray  # (rows,) distance through the air, in the middle column
    # sample_across_m, sample_ahead_m: (rows,) ground covered by one sample, across and along the
    # heading
    sample_across_m: FloatArray
    sample_ahead_m: FloatArray


def tilt(motion: TerrainMotion) -> float:
    """Radians by which the camera looks below the horizon."""
    return radians(float(motion.tilt_deg))


def cast(motion: TerrainMotion, plane: Plane, width: int, height: int) -> Rays:
    """Rays of a plane of a picture that is `width` x `height` luma pixels."""
    focal = focal_px(motion.hfov_deg, width)
    pitch, above = tilt(motion), float(motion.height_m)
    fall = (plane.y - height / 2) / focal
    down = sin(pitch) + fall * cos(pitch)
    depth = np.full(plane.rows, np.inf)
    np.divide(above, down, depth, where=down > 1e-9)
    with np.errstate(invalid="ignore"):
        ahead = depth * (cos(pitch) - fall * sin(pitch))
    return Rays(
        across=(plane.x - width / 2) / focal,
        depth_m=depth,
        ahead_m=ahead,
        range_m=depth * np.sqrt(1 + fall * fall),
        sample_across_m=depth * plane.pitch / focal,
        sample_ahead_m=depth * depth * plane.pitch / (above * focal),
    )


def still_light(
    motion: TerrainMotion, seed: int, plane: Plane, size: tuple[int, int], rows: int
) -> Float32Array:
    """Linear light (3, rows, columns) of the topmost rows, which rest: the sky and the hills.

    The nearest hills are 3 km away, and would move by a few pixels in a clip; in a flight
    sideways by about 4 a second at 10 m/s, which is left out.

    `size`: width and height of the picture in luma pixels.
    """
    if not rows:
        return np.empty((3, 0, plane.columns), np.float32)
    width, height = size
    focal = focal_px(motion.hfov_deg, width)
    right = ((plane.x - width / 2) / focal)[None, :]
    fall = ((plane.y[:rows] - height / 2) / focal)[:, None]
    pitch, pixel, up_m = tilt(motion), plane.pitch / focal, float(motion.height_m)
    ahead = np.cos(pitch) - fall * np.sin(pitch)
    climb = -(np.sin(pitch) + fall * np.cos(pitch)) / np.hypot(ahead, right)
    # Painted on a grid as fine as the pixels, and read between its places.
    bearing = np.arctan2(right, ahead) / pixel - 0.5
    lift = np.arctan(climb) / pixel
    low = [int(np.floor(places.min())) for places in (bearing, lift)]
    across, up = (
        np.arange(first, int(places.max()) + 3)
        for first, places in zip(low, (bearing, lift), strict=True)
    )
    ways = np.arctan(np.tan(up * pixel) + up_m / RING_RADIUS_M)
    light = Wall(seed, up_m).light((across + 0.5) * pixel, ways, (pixel, pixel))
    channels = [between(light[:, k], bearing - low[0], lift - low[1]) for k in range(3)]
    return np.stack(channels)
