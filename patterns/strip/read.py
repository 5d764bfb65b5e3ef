"""Reading the strip of a clean, decoded or rescaled picture.

A reading stands only if marks, dark places, references, check cells and hold row agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

import numpy as np

from patterns.picture.arrays import FloatArray, UInt8Array
from patterns.strip.camera_locate import locate
from patterns.strip.code import Identity, Word, read_identity, read_levels
from patterns.strip.grid import Rect, hold_cells, hold_row
from patterns.strip.placement import Placement, References, sample

LEAST_CONTRAST = 40  # codes between the references' black and white
CLEAR = 0.5  # share of that contrast that must lie between the darkest white and lightest black
IDENTITY_DOUBT = 0.15  # an identity cell must lie so far from the middle
NO_STRIP = "no strip found"
THINNEST_PX = 16  # pictures that are lower or narrower hold no strip


@dataclass(frozen=True)
class Unread:
    """A picture whose strip was not read, and why.

    `lit` are the cells of the hold row that show light, where all others are dark and the row
    was seen well, of `hold_cells`: it shows some of what was on screen without the number.
    """

    reason: str
    lit: tuple[int, ...] = ()
    hold_cells: int = 0


@dataclass(frozen=True)
class Seen:
    """What the strip of one picture says."""

    number: int  # frame number; the earlier one in a mixture
    # None, or the frame that is seen as well: the one after it, or, in a camera's picture and where
    # frames were left out, the one that took over; none of those between gives light then
    later: int | None = None
    # share of the later frame in a mixture, 0 to 1: in code values of a clean picture, in light of
    # a camera's; 0 for one frame
    share: float = 0.0
    identity: Identity | None = None  # rate and clip; None if not read, or not sure yet
    clipped: bool = False  # white is clipped: `share` only says which of the two has more light

    @property
    def shown(self) -> int:
        """The frame that gives the larger part of the picture's light."""
        return self.number if self.later is None or self.share < 0.5 else self.later


@dataclass(frozen=True, kw_only=True)
class StripReading(Seen):
    """The same with where the strip lies, and how sure the reading is."""

    confidence: float  # 0 to 1: how far the least sure number cell is from grey
    placement: Placement  # where the strip lies, to hand to the next picture's reading

    @classmethod
    def of(
        cls, word: Word, identity: Identity | None, at: Placement, *, clipped: bool = False
    ) -> StripReading:
        """What the number cells say of a strip that lies there."""
        seen = word.number, word.later, word.share
        return cls(*seen, identity, clipped, confidence=word.margin, placement=at)


def _references(luma: UInt8Array, placement: Placement) -> References | None:
    """Sample the references, if marks, references and dark places look like a strip's."""
    on = placement.grid
    white = sample(luma, placement, on.white)
    black = sample(luma, placement, on.black)
    posts = sample(luma, placement, on.posts)
    whole = posts[~np.isnan(posts)]  # a crop may have cut a post; it was seen all the same
    lit = np.concatenate([white, whole, sample(luma, placement, on.flags)])
    unlit = np.concatenate([black, sample(luma, placement, on.dark)])
    contrast = median(white.tolist()) - median(black.tolist())
    # a NaN, a place outside the picture, fails these comparisons
    if not contrast >= LEAST_CONTRAST or not lit.min() - unlit.max() >= CLEAR * contrast:
        return None
    return References(on, white, black)


def _identity(levels: FloatArray) -> Identity | None:
    if not np.abs(levels - 0.5).min() >= IDENTITY_DOUBT:
        return None
    return read_identity(levels > 0.5)


def _contradicts(levels: FloatArray, word: Word) -> bool:
    """Whether the hold row shows another frame than the number cells."""
    own = [n % len(levels) for n in (word.number, word.later) if n is not None]
    unlit = word.later is None and not levels[own[0]] > 0.5  # a NaN is not lit
    return unlit or bool(np.delete(levels, own).max() > 0.5)


def read_at(luma: UInt8Array, placement: Placement) -> StripReading | Unread:
    """Read the strip where it is known to lie; luma as in `read_strip`."""
    on, references = placement.grid, _references(luma, placement)
    if references is None:
        return Unread(NO_STRIP)

    def levels(rects: tuple[Rect, ...]) -> FloatArray:
        return references.levels(sample(luma, placement, rects), rects)

    word = read_levels(levels(on.number))
    if isinstance(word, str):
        return Unread(word)
    identity = _identity(levels(on.identity))
    if identity:
        held = levels(hold_cells(on, hold_row(identity.rate).cells))
        if _contradicts(held, word):
            return Unread("the hold row contradicts the number cells")
    return StripReading.of(word, identity, placement)


def read_strip(luma: UInt8Array, *, near: Placement | None = None) -> StripReading | Unread:
    """Find and read the strip of a picture that is not tilted.

    `luma`: uint8 (height, width): decoded luma, narrow or full range, of any size.
    `near`: placement in the picture before; looked at first, which is much faster.
    """
    return search_strip(luma, near=near)[1]


def search_strip(
    luma: UInt8Array, *, near: Placement | None = None
) -> tuple[Placement | None, StripReading | Unread]:
    """Where marks of a strip were found, None if nowhere, and its reading as `read_strip`."""
    if luma.ndim != 2 or min(luma.shape) < THINNEST_PX:
        return None, Unread("the picture is smaller than any strip")
    if near is not None:
        reading = read_at(luma, near)
        if isinstance(reading, StripReading):
            return near, reading
    placement = locate(luma, cut=True)
    return placement, Unread(NO_STRIP) if placement is None else read_at(luma, placement)
