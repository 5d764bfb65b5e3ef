"""Light levels of the cells between the black and white references near them."""

from __future__ import annotations

import numpy as np

from patterns.picture.arrays import FloatArray
from patterns.strip.camera_decode import Cells
from patterns.strip.camera_sample import CellLight, centres
from patterns.strip.grid import Grid, Rect, hold_cells

__all__ = [
    "BLURRED",
    "NO_STRIP",
    "TOO_DARK",
    "Levels",
    "check_light",
    "clips_white",
    "levels",
]

LEAST_WHITE = 0.012  # light: about 14 % of the full signal
LEAST_CLEAR = 0.3  # share of a mark's light that the dark places beside it stay below
LEAST_STEP = 0.15  # of white, between the darkest white and the lightest black reference
CLIPPED_BLACK = 0.55
CLIPPED_WHITE = 0.97  # of the brightest code: noise keeps the mean of clipped white below 1
BLURRED = "blurred or uneven: black and white cells look alike"
TOO_DARK = "too dark"
NO_STRIP = "no strip"


class Levels:
    """Turns light into levels at the places of cells."""

    def __init__(self, on: Grid, light: CellLight) -> None:
        self._white_x, self._black_x = centres(on.white)[:, 0], centres(on.black)[:, 0]
        self._white, self._black = light.white, light.black

    def of(self, light: FloatArray, rects: tuple[Rect, ...]) -> FloatArray:
        """Levels of cells: 0 black, 1 white."""
        x = centres(rects)[:, 0]
        white = np.interp(x, self._white_x, self._white)
        black = np.interp(x, self._black_x, self._black)
        return np.asarray((light - black) / (white - black), np.float64)


def check_light(light: CellLight) -> str | None:
    """Why the marks and references are not those of a readable strip; None if they are."""
    if np.isnan(light.white).any() or np.isnan(light.black).any():
        return "the strip is not wholly in view"
    if np.median(light.black) > CLIPPED_BLACK:
        return "clipped: the picture is over-exposed"
    if light.white.min() - light.black.max() < LEAST_WHITE and np.median(light.white) < 0.05:
        return TOO_DARK
    if light.white.min() - light.black.max() < LEAST_STEP * light.white.max():
        return BLURRED
    for side in (0, 1):
        # a post may be cut off by the picture's border; it was seen when the strip was found
        lit = np.nanmin([light.posts[side], light.flags[side]])
        dark = light.dark[4 * side : 4 * side + 4].max()
        if not lit - dark >= LEAST_CLEAR * lit:
            return NO_STRIP
    return None


def clips_white(light: CellLight) -> bool:
    """Whether the camera clips a white reference, so that twice its light would look the same."""
    return bool(light.white.max() > CLIPPED_WHITE)


def levels(on: Grid, light: CellLight) -> tuple[Cells, FloatArray]:
    """Levels of number and hold cells, and of the identity cells, (64,)."""
    scale = Levels(on, light)
    hold = light.hold
    if len(hold):
        hold = scale.of(hold, hold_cells(on, len(hold)))
    cells = Cells(scale.of(light.number, on.number), light.number_rows, hold, light.hold_rows)
    return cells, scale.of(light.identity, on.identity)
