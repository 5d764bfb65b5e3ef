"""Pixels of one photo that show its light: patches of one kind of cell each.

Hold cells are taken whole, each pixel with the share of it that the cell covers; all
others only as far from their edges as blur brings nothing of what lies beside them.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from patterns.picture.arrays import FloatArray, UInt8Array
from patterns.strip.grid import Grid, Rect, hold_cells
from patterns.strip.hold import hold_row
from patterns.strip.identity import Identity, identity_bits
from patterns.strip.photo_curve import LightCurve
from patterns.strip.photo_edges import blur_px, corners, coverage, look
from patterns.strip.placement import Placement

__all__ = ["Patch", "Pixels", "take_pixels"]

LEAST_PIXELS = 4  # of a patch
LEAST_COVERED = 0.3
LEAST_BLUR_PX = 0.8
REFERENCE, CLOSE, PAPER = 1.0, 2.0, 2.3  # blurs that a patch keeps from its edges
PAPER_UNITS = 6.0  # grid units of paper along the strip that make a patch


@dataclass(frozen=True)
class Patch:
    """Pixels of a cell or of paper.

    Attributes
    ----------
    codes
        Luma codes, (pixels,).
    covered
        Share of each that the cell covers, (pixels,).
    at
        Their middle in the band, in band lengths along and across.
    """

    codes: UInt8Array
    covered: FloatArray
    at: tuple[float, float]


@dataclass(frozen=True)
class Pixels:
    """All patches of a photo.

    Attributes
    ----------
    white, black
        Cells that are always lit, and never.
    paper
        The band between the cells, which is a constant dark grey.
    halftones
        Whole fields, in the order of `HALFTONES`.
    held
        Hold cells.
    number
        Number cells; none where they are too small.
    """

    white: tuple[Patch, ...]
    black: tuple[Patch, ...]
    paper: tuple[Patch, ...]
    halftones: tuple[Patch, ...]
    held: tuple[Patch, ...]
    number: tuple[Patch, ...]


@dataclass(frozen=True)
class _Taker:
    luma: UInt8Array
    placement: Placement
    blur: float

    def patch(self, rect: Rect, covered: bool, keep_px: float) -> Patch | None:
        """Pixels that a cell covers or, if not `covered`, that lie `keep_px` inside of it."""
        window = look(self.luma, self.placement, rect, 2.0 if covered else 0.0)
        if covered:
            share = coverage(window, rect, self.blur)
            chosen = share > LEAST_COVERED
        else:
            share = np.ones(window.u.shape)
            chosen = window.depth_px(rect) >= keep_px
        if chosen.sum() < LEAST_PIXELS:
            return None
        columns, rows = self.placement.grid.units
        at = (float(window.u[chosen].mean()), float(window.v[chosen].mean()) * rows / columns)
        return Patch(window.codes[chosen], share[chosen], at)

    def inside(self, rects: tuple[Rect, ...], blurs: float) -> tuple[Patch, ...]:
        keep_px = blurs * max(self.blur, LEAST_BLUR_PX) if blurs else 0.0
        found = (self.patch(rect, False, keep_px) for rect in rects)
        return tuple(patch for patch in found if patch is not None)

    def in_view(self, rects: tuple[Rect, ...]) -> bool:
        seen = np.concatenate([corners(self.placement, rect) for rect in rects])
        return bool((seen >= 0).all() and (seen <= np.array(self.luma.shape[::-1])).all())


def _paper(on: Grid) -> tuple[Rect, ...]:
    """Where the band itself is seen: above and below the rows, beside the hold row, at the ends."""
    left, right = on.number[0].left, max(line.right for line in on.figures)
    top = on.number[0].top
    bottom = max(cell.bottom for cell in on.identity + on.figures)
    places = np.linspace(left, right, round((right - left) * on.units[0] / PAPER_UNITS) + 1)
    found = [
        Rect("paper", x0, y0, x1, y1)
        for y0, y1 in ((0.0, top), (bottom, 1.0))
        for x0, x1 in pairwise(places)
    ]
    row, tones = on.hold_row, on.halftones
    found.append(Rect("paper", on.flags[0].right, row.top, row.left, row.bottom))
    found.append(Rect("paper", row.right, row.top, tones[0].left, row.bottom))
    if on.figures[0].left > tones[-1].right:
        heights = np.linspace(top, bottom, 5)
        found += [
            Rect("paper", tones[-1].right, y0, on.figures[0].left, y1)
            for y0, y1 in pairwise(heights)
        ]
    return (*found, *on.dark)


def take_pixels(luma: UInt8Array, placement: Placement, identity: Identity) -> Pixels | None:
    """Take the pixels of a photo; None if not all cells lie in it.

    Parameters
    ----------
    luma
        uint8 (height, width), narrow range.
    placement
        Where the strip lies.
    identity
        Tells how many hold cells there are and which identity cells are lit.
    """
    on = placement.grid
    take = _Taker(luma, placement, blur_px(luma, placement, LightCurve().table()))
    hold = hold_cells(on, hold_row(identity.rate).cells)
    if not take.in_view(on.white + on.black + on.identity + on.halftones + hold):
        return None
    bits = identity_bits(identity)
    lit = tuple(cell for cell, bit in zip(on.identity, bits, strict=True) if bit)
    unlit = tuple(cell for cell, bit in zip(on.identity, bits, strict=True) if not bit)
    held = tuple(take.patch(cell, True, 0) for cell in hold)
    tones = take.inside(on.halftones, 0)
    whole = tuple(patch for patch in held if patch is not None)
    if len(whole) < len(hold) or len(tones) < len(on.halftones):
        return None
    number = take.inside(on.number, REFERENCE)
    return Pixels(
        take.inside(on.white, REFERENCE) + take.inside((*lit, *on.posts), CLOSE),
        take.inside((*on.black, on.halftones[0]), REFERENCE) + take.inside(unlit, CLOSE),
        take.inside(_paper(on), PAPER),
        tones,
        whole,
        number if len(number) == len(on.number) else (),
    )
