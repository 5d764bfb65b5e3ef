"""Reading the strip in the pictures of a camera that films a screen, one after the other."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from patterns.rendering.planes import UInt8Array
from patterns.strip.identity import Identity
from patterns.strip.placement import Placement
from patterns.strip.read import Unread, read_strip

__all__ = ["CameraReader", "CameraReading", "Unread"]


@dataclass(frozen=True)
class CameraReading:
    """What the strip says in one picture of a recording.

    Attributes
    ----------
    number
        Frame number; the earlier one of a mixture.
    later
        None, or the frame after it (`number + 1`) that is seen as well.
    share
        Share of the later frame in a mixture, 0 to 1, in light; 0 for one frame.
    identity
        Rate and clip, voted over the pictures so far; None until they are sure.
    confidence
        0 to 1: how far the least sure cell lies from the middle between black and white.
    split_row
        Row of the picture at which one frame gives way to the other, if the cells say
        that a rolling shutter, or the screen's own scan, divides the picture; else None.
    placement
        Where the strip lies.
    """

    number: int
    later: int | None
    share: float
    identity: Identity | None
    confidence: float
    split_row: float | None
    placement: Placement

    @property
    def rate(self) -> Fraction | None:
        """The clip's frames a second, as its identity cells say."""
        return self.identity.rate if self.identity else None

    @property
    def shown(self) -> int:
        """The frame that gives the larger part of the picture's light."""
        return self.number if self.later is None or self.share < 0.5 else self.later


class CameraReader:
    """Reads the pictures of one recording in their order; memory does not grow.

    Attributes
    ----------
    identity
        Rate and clip voted over the pictures so far; None until they are sure.
    """

    def __init__(self) -> None:
        self.identity: Identity | None = None
        self._near: Placement | None = None

    def read(self, luma: UInt8Array) -> CameraReading | Unread:
        """Read the next picture.

        Parameters
        ----------
        luma
            uint8 (height, width), narrow range, the same size in every call.
        """
        found = read_strip(luma, near=self._near)
        if isinstance(found, Unread):
            return found
        self._near = found.placement
        self.identity = found.identity or self.identity
        return CameraReading(
            found.number,
            found.later,
            found.share,
            self.identity,
            found.confidence,
            None,
            found.placement,
        )
