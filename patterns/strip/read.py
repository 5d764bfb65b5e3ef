"""Reading the strip of a clean, decoded or rescaled picture; and parts of one that is not read.

A reading stands only if marks, dark places, references, check cells and hold row agree. Where the
strip's ends are out of the picture, or lost in a reflection, its cells still stand in two parallel
rows, number and identity, in fixed proportion; cut along its length, one may be left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import repeat, takewhile
from typing import NamedTuple

import numpy as np

from patterns.picture.arrays import BoolArray, Float32Array, FloatArray, UInt8Array
from patterns.strip.camera_locate import Blobs, find_blobs, lit_pixels, locate, thinned
from patterns.strip.code import Identity, Word, hold_row, read_identity, read_words
from patterns.strip.layout import hold_cells
from patterns.strip.placement import Placement, References, sample

LEAST_CONTRAST = 40  # codes between the references' black and white
CLEAR = 0.5  # share of that contrast that must lie between the darkest white and lightest black
IDENTITY_DOUBT = 0.15  # an identity cell must lie so far from the middle
NO_STRIP = "no strip found"
THINNEST_PX = 16  # pictures that are lower or narrower hold no strip


class Unread(NamedTuple):
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


def _clear(groups: Sequence[FloatArray]) -> BoolArray:
    """Of which pictures the codes of references, posts, flags and dark places are a strip's."""
    white, black, posts, flags, dark = groups
    whole = np.where(np.isnan(posts), np.inf, posts)  # a crop may have cut it; it was seen before
    lit, unlit = np.concatenate([white, whole, flags], 1), np.concatenate([black, dark], 1)
    middle = white.shape[1] // 2  # of an odd number of them
    contrast = np.sort(white)[:, middle] - np.sort(black)[:, middle]
    # a NaN, a place outside the picture, fails these comparisons
    apart = lit.min(axis=1) - unlit.max(axis=1)
    return np.asarray((contrast >= LEAST_CONTRAST) & (apart >= CLEAR * contrast))


def _identities(levels: FloatArray) -> list[Identity | None]:
    sure = np.abs(levels - 0.5).min(axis=1) >= IDENTITY_DOUBT
    bits = levels > 0.5
    return [read_identity(row) if clear else None for row, clear in zip(bits, sure, strict=True)]


def _contradicts(levels: FloatArray, word: Word) -> bool:
    """Whether the hold row shows another frame than the number cells."""
    own = {n % len(levels) for n in (word.number, word.later) if n is not None}
    lit = set(np.flatnonzero(levels > 0.5).tolist())  # a NaN is not lit
    return not lit <= own or (word.later is None and lit != own)


def read_at(luma: UInt8Array, placement: Placement) -> StripReading | Unread:
    """Read the strip where it is known to lie; luma as in `read_strip`."""
    return read_together([luma], placement)[0]


def read_together(lumas: Sequence[UInt8Array], placement: Placement) -> list[StripReading | Unread]:
    """Read the strip of pictures of one size in which it lies at the same place."""
    on = placement.grid
    wanted = (on.white, on.black, on.posts, on.flags, on.dark, on.number, on.identity)
    groups = sample(lumas, placement, wanted)
    clear = _clear(groups[:5])
    white, black, *_, number, identity_cells = (codes[clear] for codes in groups)
    references = References(on, white, black)
    words = read_words(references.levels(number, on.number))
    identities = _identities(references.levels(identity_cells, on.identity))
    seen = [luma for luma, whole in zip(lumas, clear, strict=True) if whole]
    held = _held(seen, placement, references, identities)
    readings = iter(map(_reading, words, identities, held, repeat(placement)))
    return [next(readings) if whole else Unread(NO_STRIP) for whole in clear]


def _held(
    lumas: Sequence[UInt8Array],
    placement: Placement,
    references: References,
    identities: Sequence[Identity | None],
) -> list[FloatArray | None]:
    """Levels of the hold cells of each picture, where its identity tells how many there are."""
    counts = [hold_row(identity.rate).cells if identity else 0 for identity in identities]
    held: list[FloatArray | None] = [None] * len(lumas)
    for count in {*counts} - {0}:
        rects = hold_cells(placement.grid, count)
        levels = references.levels(sample(lumas, placement, (rects,))[0], rects)
        for k, own in enumerate(counts):
            if own == count:
                held[k] = levels[k]
    return held


def _reading(
    word: Word | str, identity: Identity | None, held: FloatArray | None, placement: Placement
) -> StripReading | Unread:
    if isinstance(word, str):
        return Unread(word)
    if held is not None and _contradicts(held, word):
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


class StraightReader:
    """Reads the pictures of one file, in their order, in which the strip lies straight.

    `near`: where it is looked for first; `on_its_side`: pictures are turned by a quarter.
    """

    def __init__(self, near: Placement | None = None, *, on_its_side: bool = False) -> None:
        self._on_its_side = on_its_side
        self._near = None if on_its_side else near

    def read(self, luma: UInt8Array) -> StripReading | Unread:
        """Read the next picture; luma as in `read_strip`."""
        upright = np.ascontiguousarray(luma.T) if self._on_its_side else luma
        found = read_strip(upright, near=self._near)
        if isinstance(found, StripReading):
            self._near = found.placement
        return found

    def part(self, shape: tuple[int, int]) -> tuple[int, int, int, int] | None:
        """Left, top, right and bottom of what `read_parts` needs of pictures; None for all."""
        if self._near is None or self._on_its_side:
            return None
        return self._near.bounds(shape)

    def shift(self, left: int, top: int) -> None:
        """Say that the next pictures begin at this column and row of those before."""
        if self._near is not None:
            self._near = self._near.within(left, top)

    def read_parts(self, lumas: Sequence[UInt8Array]) -> list[StripReading | Unread]:
        """Read parts of the next pictures, up to one that is not read so: it is wanted whole."""
        found = read_together(lumas, self._near) if self._near is not None else []
        return [*takewhile(lambda one: isinstance(one, StripReading), found)]


LIT = 0.58  # of the range of codes around
LEAST_AREA, LEAST_PX, MOST_BLOBS = 6, 4.0, 250
SLOPES = np.linspace(-0.15, 0.15, 31, dtype=np.float32)  # of the rows, tried
LOWER = 3.5 / 5.5  # height of identity cells over that of number cells
MIDDLE_APART, APART_WITHIN = 2.135, 0.33  # of the rows, in the same: 11.5 or 12 to 5.5 units
SAME_HEIGHT, ON_LINE = 0.14, 0.2
BESIDE, ALONE = 0.5, 0.75  # what lies so near is mostly cells
LEAST_CELLS, LEAST_IDENTITY = 5, 6  # in a row
SAME_WIDTH, LEAST_ALONE = 0.2, 9  # of cells in a row that stands alone
PITCHES = np.linspace(1.05, 1.5, 46)  # of cells, over their width: 1.125 to 1.33 as drawn
OFF_PITCH = 0.25  # of it, by which a step may be off where groups of cells are set apart
LEAST_GAPS, LONGEST_GAP = 3, 8  # places of a row without light
LEAST_LENGTH = 8.0  # of both rows, over the height of number cells


def shows_cell_rows(luma: UInt8Array) -> bool:
    """Whether rows of number and of identity cells are seen, lying or standing.

    `luma`: uint8 (height, width).
    """
    blobs = find_blobs(lit_pixels(thinned(luma)[0], LIT), LEAST_AREA)
    spans = [_spans(blobs, axis) for axis in (0, 1)]
    return any(_rows(*span[:3]) or _cut_row(*span) for span in spans)


def _spans(blobs: Blobs, axis: int) -> tuple[Float32Array, ...]:
    """Places along rows that lie along `axis` and across them, heights across, widths along."""
    across = 1 - axis
    height = np.hypot(blobs.length * blobs.axis[:, across], blobs.width * blobs.axis[:, axis])
    width = np.hypot(blobs.length * blobs.axis[:, axis], blobs.width * blobs.axis[:, across])
    kept = np.flatnonzero(height >= LEAST_PX)
    # noise and leaves are ragged, cells fill their rectangles
    filled = blobs.area[kept] / (blobs.length[kept] * blobs.width[kept])
    kept = kept[np.argsort(-filled, kind="stable")][:MOST_BLOBS]
    spans = (blobs.centre[kept, axis], blobs.centre[kept, across], height[kept], width[kept])
    return tuple(values.astype(np.float32) for values in spans)


def _cut_row(
    along: Float32Array, across: Float32Array, height: Float32Array, width: Float32Array
) -> bool:
    """Whether there is a row of number or identity cells alone, the strip's other half cut off.

    Cells of one size, at one pitch, some places of it empty: as a code has it, and no row of
    windows or letters.
    """
    for at in range(len(along)):
        as_high, as_wide = np.abs(height / height[at] - 1), np.abs(width / width[at] - 1)
        like = (as_high < SAME_HEIGHT) & (as_wide < SAME_WIDTH)
        if like.sum() < LEAST_ALONE:
            continue
        level = across - across[at] - SLOPES[:, None] * (along - along[at])
        off = np.abs(level) / height[at]
        rows = like & (off < ON_LINE)
        best = int(rows.sum(axis=1).argmax())
        # a flag or a figure may stand in line with the row
        far = LONGEST_GAP * PITCHES[-1] * width[at]
        places = np.sort(along[rows[best]])
        longest = max(np.split(places, np.flatnonzero(np.diff(places) > far) + 1), key=len)
        row = rows[best] & (along >= longest[0]) & (along <= longest[-1])
        coded = len(longest) >= LEAST_ALONE and _coded(np.diff(longest) / width[at])
        if coded and _alone(along, height[at], row, off[best] < BESIDE):
            return True
    return False


def _coded(steps: Float32Array) -> bool:
    """Whether steps, over a cell's width, are whole multiples of one pitch, of several lengths."""
    turns = steps / PITCHES[:, None]
    off = np.abs(turns - np.rint(turns)).max(axis=1)
    gaps = np.rint(turns[off.argmin()])
    gaps = gaps[gaps > 1]
    coded = len(gaps) >= LEAST_GAPS and len(np.unique(gaps)) > 1
    return bool(off.min() < OFF_PITCH) and coded and len(turns[0]) - len(gaps) >= LEAST_GAPS


def _rows(along: Float32Array, across: Float32Array, height: Float32Array) -> bool:
    if len(along) < LEAST_CELLS + LEAST_IDENTITY:
        return False
    relative = height[None] / height[:, None]
    as_high = np.abs(relative - 1) < SAME_HEIGHT
    lower = np.abs(relative - LOWER) < SAME_HEIGHT
    likely = (as_high.sum(axis=1) >= LEAST_CELLS) & (lower.sum(axis=1) >= LEAST_IDENTITY)
    as_high, lower, own = as_high[likely], lower[likely], height[likely]
    for slope in SLOPES:
        level = across - slope * along
        off = (level[None] - level[likely, None]) / own[:, None]
        number = as_high & (np.abs(off) < ON_LINE)
        far = np.abs(np.abs(off) - MIDDLE_APART)
        identity = lower & (far < APART_WITHIN)
        enough = (number.sum(axis=1) >= LEAST_CELLS) & (identity.sum(axis=1) >= LEAST_IDENTITY)
        for at in np.flatnonzero(enough):
            rows = ((number[at], np.abs(off[at]) < BESIDE), (identity[at], far[at] < BESIDE))
            if all(_alone(along, own[at], *row) for row in rows):
                return True
    return False


def _alone(along: Float32Array, height: float, cells: BoolArray, near: BoolArray) -> bool:
    """Whether cells make a long row, with hardly anything of another height between them."""
    first, last = along[cells].min(), along[cells].max()
    between = near & (along >= first) & (along <= last)
    return bool(last - first > LEAST_LENGTH * height and cells.sum() >= ALONE * between.sum())
