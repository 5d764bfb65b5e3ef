"""Frames in the form that an encoder takes: three planes of bytes, 4:2:0."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from patterns.picture.arrays import UInt8Array


@dataclass(frozen=True)
class Planes:
    """Y', Cb and Cr of one frame: BT.709, narrow range, 8 bits, 4:2:0, chroma sited left."""

    y: UInt8Array  # uint8 (height, width), 16 to 235
    # cb, cr: uint8 (height/2, width/2), 16 to 240. Column i, row j is sampled at luma position x =
    # 2 i (sited with the even column), y = 2 j + 1/2 (between the rows), as H.264 (figure 6-1) and
    # H.265 assume unless told otherwise.
    cb: UInt8Array
    cr: UInt8Array

    @classmethod
    def blank(cls, width: int, height: int) -> Planes:
        """Black frame whose planes lie one after the other in one buffer (yuv420p order)."""
        luma = width * height
        buffer = np.empty(luma * 3 // 2, np.uint8)
        buffer[:luma] = 16
        buffer[luma:] = 128
        half = (height // 2, width // 2)
        return cls(
            buffer[:luma].reshape(height, width),
            buffer[luma : luma + luma // 4].reshape(half),
            buffer[luma + luma // 4 :].reshape(half),
        )

    @property
    def width(self) -> int:
        """Width in luma samples."""
        return int(self.y.shape[1])

    @property
    def height(self) -> int:
        """Height in luma samples."""
        return int(self.y.shape[0])

    def rows(self, top: int, bottom: int) -> Planes:
        """View of luma rows `top` to `bottom` (both even) and of the chroma beside them."""
        return self.part(0, top, self.width, bottom)

    def part(self, left: int, top: int, right: int, bottom: int) -> Planes:
        """View of a rectangle of luma samples with even edges, and of the chroma in it."""
        chroma = np.s_[top // 2 : bottom // 2, left // 2 : right // 2]
        return Planes(self.y[top:bottom, left:right], self.cb[chroma], self.cr[chroma])

    def fill(self, y: UInt8Array | int, cb: UInt8Array | int, cr: UInt8Array | int) -> None:
        """Write codes, or whole planes, into all three planes."""
        self.y[:], self.cb[:], self.cr[:] = y, cb, cr

    def copy(self) -> Planes:
        """Independent copy in one buffer."""
        other = Planes.blank(self.width, self.height)
        other.fill(self.y, self.cb, self.cr)
        return other
