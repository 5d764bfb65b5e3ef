"""What a video is, from its pictures as they come: a clip, a recording of a screen, or footage.

A clip lies in its file along rows and columns to a fraction of a pixel. A camera never stands so
straight: half a pixel over a picture's width is a thirtieth of a degree. Where it nearly does, a
hand's unrest and the greys that lens and sensor make of black and white decide. Hard compression
makes greys too, and edges that disagree about where the strip lies: less is then held against it.
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import NamedTuple

import numpy as np

from patterns.picture.arrays import FloatArray, UInt8Array
from patterns.reading.reading import Kind
from patterns.strip.camera import TOO_SMALL, CameraReader
from patterns.strip.camera_locate import ends_in_view
from patterns.strip.camera_track import refine, unit_px
from patterns.strip.placement import NO_STRIP, TOO_DARK, Placement, sample
from patterns.strip.read import StripReading, search_strip, shows_cell_rows

KEPT = 16  # pictures that are kept while the kind is not known
GAP, RARER = 48, 32  # a look every 48 pictures, in long files less often: looking takes long
SURE_SIGHTS = 6  # pictures in which a strip must be seen to be sure
SEEN_UNREAD = 3  # pictures in which a strip or its rows are seen: from then on no footage
PARTS_SEEN = "rows of its cells are seen, but part of it is out of the picture, covered or in glare"
EITHER = "not sure whether a clip or a recording of a screen: give --as to say; as a recording:"
UNREAD = "a strip was seen but cannot be read"
INSTEAD = (
    "film it whole and without reflections, or give --as footage to judge by picture differences"
)
NOT_SEEN = (NO_STRIP, TOO_DARK, TOO_SMALL)  # reasons that speak of no strip in the picture
ALIGNED_PX = 0.6  # off straight: strips of files measure up to 0.3, of cameras set up with care 1.7
CLEARLY_PX = 1.5
UNREST_PX = 0.1  # over all pictures looked at; files stand still to 0.05
BLACK, WHITE = 28, 220  # codes: a file's black lies below (16 to 20), its white above (228)
# What a pixel of disagreement between the edges allows: pixels off straight, codes of black and of
# white. Hard compression: edges to 0.7 px, off to 0.96, black to 35, white to 184.
OFF_PER_PX, BLACK_PER_PX, WHITE_PER_PX = 2.0, 20.0, 60.0


class FileKind(NamedTuple):
    """What a video is."""

    kind: Kind  # 'clip', 'recording' or 'footage'
    sure: bool = True  # whether nothing speaks against it
    why: str = ""  # by what it is known; '' where no strip was seen
    on_its_side: bool = False  # whether rows and columns are exchanged: a clip turned by a quarter

    def unless(self, given: Kind | None) -> FileKind:
        """The same, or what the user says that it is."""
        return self if given is None else self._replace(kind=given, sure=True, why="")

    def said(self, verdict: str, *, read: bool) -> str:
        """Verdict on a recording, with what is not sure; `read`: whether a number was read."""
        if self.sure or not self.why:
            return verdict
        return f"{EITHER} {verdict}" if read else f"{UNREAD}: {self.why}; {INSTEAD}"


class _Sight(NamedTuple):
    """A strip in one picture: where it lies, how far off straight, and its greys."""

    middle: FloatArray
    off_px: float
    scatter_px: float  # RMS by which its edges disagree about where it lies
    on_its_side: bool
    black: float
    white: float


def _sight(luma: UInt8Array, placement: Placement) -> _Sight:
    corners = placement.corners
    edges = np.roll(corners, -1, axis=0) - corners
    upright = float(np.abs(np.r_[edges[::2, 1], edges[1::2, 0]]).max())
    turned = float(np.abs(np.r_[edges[::2, 0], edges[1::2, 1]]).max())
    black, white = _greys(luma, placement)
    fit = refine(luma, placement, rounds=1)
    scatter_px = fit.rms * float(unit_px(placement).mean()) if fit else 0.0
    off_px, on_its_side = min(upright, turned), turned < upright
    return _Sight(corners.mean(axis=0), off_px, scatter_px, on_its_side, black, white)


def _greys(luma: UInt8Array, placement: Placement) -> tuple[float, float]:
    """Codes of black and of white: medians of the cells within the picture; NaN if none is."""
    on = placement.grid
    inside = (own[~np.isnan(own)] for own in sample([luma], placement, (on.black, on.white)))
    black, white = (median(own.tolist()) if len(own) else float("nan") for own in inside)
    return black, white


class KindFinder:
    """Looks at pictures in their order until it knows what they are of."""

    def __init__(self) -> None:
        self._camera = CameraReader()
        self.near: Placement | None = None  # where a strip was read last that lies straight
        self._sights: list[_Sight] = []
        self._seen_unread = self._rows_seen = 0
        self._next_look = 0

    def look(self, place: int, luma: UInt8Array) -> FileKind | None:
        """Look at a picture, if its turn has come; returns the kind once it is sure."""
        if place < self._next_look:
            return None
        found = self._placement(luma)
        if found is not None:
            self._sights.append(_sight(luma, found))
        rarer = max(1, min(GAP, place // 2), place // RARER)
        self._next_look = place + (1 if found is not None else rarer)
        return self.kind() if len(self._sights) >= SURE_SIGHTS else None

    def kind(self) -> FileKind:
        """Return what it is as far as was seen."""
        if self._sights:
            return _judged(self._sights)
        if self._seen_unread >= SEEN_UNREAD:
            return FileKind("recording", False, "its marks are seen, but no number can be read")
        if self._rows_seen >= SEEN_UNREAD:
            return FileKind("recording", False, PARTS_SEEN)
        return FileKind("footage")

    def _placement(self, luma: UInt8Array) -> Placement | None:
        at, straight = search_strip(luma, near=self.near)
        if isinstance(straight, StripReading):
            self.near = straight.placement
            black, white = _greys(luma, straight.placement)
            clean = black <= BLACK and white >= WHITE  # no glare beside the posts
            if clean and not ends_in_view(luma, straight.placement):
                return straight.placement
            fit = refine(luma, straight.placement, straight.identity, rounds=3)
            return fit.placement if fit else straight.placement
        # where nothing is found and nothing is followed a camera's picture need not be searched
        filmed = self._camera.read(luma) if at or self._camera.follows else None
        if isinstance(filmed, StripReading):
            return filmed.placement
        seen = filmed is not None and filmed.reason not in NOT_SEEN
        self._seen_unread += seen
        if not seen and self._rows_seen < SEEN_UNREAD:
            self._rows_seen += shows_cell_rows(luma)
        return None


def _judged(sights: Sequence[_Sight]) -> FileKind:
    off_px = median(sight.off_px for sight in sights)
    middles = np.array([sight.middle for sight in sights])
    unrest_px = float(np.ptp(middles, axis=0).max())
    black = median(sight.black for sight in sights)
    white = median(sight.white for sight in sights)
    scatter_px = median(sight.scatter_px for sight in sights)
    grey = black > BLACK + BLACK_PER_PX * scatter_px or white < WHITE - WHITE_PER_PX * scatter_px
    still = off_px <= ALIGNED_PX and unrest_px <= UNREST_PX
    if off_px > ALIGNED_PX + OFF_PER_PX * scatter_px or (grey and not still):
        marks = [f"the strip lies {off_px:.1f} pixels off straight"]
        marks += [f"moves by {unrest_px:.1f}"] if unrest_px > UNREST_PX else []
        marks += [f"its black is {black:.0f} and its white {white:.0f}"] if grey else []
        return FileKind("recording", off_px > CLEARLY_PX, ", ".join(marks))
    why = "the strip lies straight to a fraction of a pixel"
    turned = sum(sight.on_its_side for sight in sights) * 2 > len(sights)
    return FileKind("clip", still and not grey, why, turned)
