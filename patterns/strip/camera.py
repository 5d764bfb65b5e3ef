"""Reading the strip in the pictures of a camera that films a screen, one after the other.

The identity is voted over many pictures, and a number must fit the ones before.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np

from patterns.picture.arrays import FloatArray, UInt8Array
from patterns.strip.camera_decode import CODE_FAILED, HOLD_CONTRADICTS, decode, hold_lit
from patterns.strip.camera_locate import locate
from patterns.strip.camera_track import refine, refine_together, unit_px
from patterns.strip.code import IDENTITY_CELLS, Identity, hold_row, read_identity
from patterns.strip.placement import (
    BLURRED,
    CLIPPED_WHITE,
    NO_STRIP,
    TOO_DARK,
    CellLight,
    Placement,
    check_light,
    levels,
    sample_cells,
)
from patterns.strip.read import StripReading, Unread

FORGET = 0.97  # of the votes stays with each picture
LEAST_VOTES = 2.0
LEAST_LEAN = 0.12  # mean distance of the least sure cell from the middle
MOST_CONTRADICTIONS = 24
STEP = 6  # frames by which a number may go on at once without being confirmed
BACK = 1  # and back: a mixture reported late


class IdentityVote:
    """Sums the identity cells of pictures until their check agrees twice over."""

    def __init__(self) -> None:
        self._start()

    def _start(self) -> None:
        self.identity: Identity | None = None
        self._sum: FloatArray = np.zeros(IDENTITY_CELLS)
        self._votes = 0.0
        self._contradictions = 0

    def add(self, levels: FloatArray) -> None:
        """Take the identity cells' light levels of one picture, (64,)."""
        if self.identity is not None or np.isnan(levels).any():
            return
        self._sum = self._sum * FORGET + np.clip(levels - 0.45, -0.5, 0.5)
        self._votes = self._votes * FORGET + 1
        if self._votes < LEAST_VOTES - 0.1:
            return
        if np.abs(self._sum).min() >= LEAST_LEAN * self._votes:
            self.identity = read_identity(self._sum > 0)

    def contradict(self, yes: bool) -> None:
        """Tell whether a picture spoke against the identity; many in a row end it."""
        self._contradictions = self._contradictions + 1 if yes else 0
        if self._contradictions >= MOST_CONTRADICTIONS:
            self._start()


class NumberGate:
    """Lets a number pass that goes on from the last one, or that a second picture confirms."""

    def __init__(self) -> None:
        self.last: int | None = None  # number that passed
        self._waiting: int | None = None
        self._since = self._waited = 0

    def skip(self) -> None:
        """Count a picture that was not read."""
        self._since += 1
        self._waited += 1

    def passes(self, number: int, sure: bool) -> bool:
        """Whether `number` may be reported; `sure` lets the first one pass at once.

        A picture whose number does not pass is one that was not read: `skip` counts it.
        """
        last, waiting = self.last, self._waiting
        goes_on = last is not None and -BACK <= number - last <= STEP + self._since
        confirmed = waiting is not None and -BACK <= number - waiting <= STEP + self._waited
        if goes_on or confirmed or (last is None and sure):
            self.last, self._since, self._waiting = number, 0, None
            return True
        self._waiting, self._waited = number, 0
        return False


TOO_SMALL = "too small: come nearer, the strip needs about 450 pixels along"
SMALLEST_PX = 64
LEAST_RANGE = 24  # codes between the darkest and the lightest pixel of a picture
LEAST_UNIT_PX = 0.9  # pixels per unit of the strip's grid, where it is farthest
SLACK_RMS, LARGEST_RMS = 0.25, 0.6  # grid units: look twice above, lost above
PASSING = (TOO_DARK, BLURRED)
PATIENCE = 12  # pictures for which a dark strip is believed to be where it was
BRIEF = 3  # and one that is lost for another reason, as when the backlight pauses halfway
LONGEST_WAIT = 12  # pictures between searches
SURE_MARGIN = 0.4
ROOM = 0.04  # of its length, kept around a strip that is read in a part of the picture
AWAY = 0.75  # of that, by which a strip may move before whole pictures are asked for
WORTH = 0.5  # of the picture's area: larger parts are no gain
# Where a strip lies, its light, and why it cannot be read, if so.
_Found: TypeAlias = tuple[Placement, CellLight, str | None]


class CameraReader:
    """Reads the pictures of one recording in their order; memory does not grow.

    The strip is searched for once and then followed; it is searched for again when lost.
    """

    def __init__(self) -> None:
        self._vote = IdentityVote()
        self._gate = NumberGate()
        self._near: Placement | None = None
        self._lost = self._wait = 0
        self._home: Placement | None = None  # where it lay when pictures began to be read in part

    @property
    def identity(self) -> Identity | None:
        """Rate and clip voted over the pictures so far; None until they are sure."""
        return self._vote.identity

    @property
    def follows(self) -> bool:
        """Whether it knows where the strip lay."""
        return self._near is not None

    def read(self, luma: UInt8Array) -> StripReading | Unread:
        """Read the next picture.

        `luma`: uint8 (height, width), narrow range, the same size in every call.
        Never a guess: all check cells, the hold row and the numbers before agree.
        """
        if luma.ndim != 2 or min(luma.shape) < SMALLEST_PX:
            return self._kept(Unread(TOO_SMALL))
        thin = luma[::8, ::8]
        if int(thin.max()) - int(thin.min()) < LEAST_RANGE:
            return self._kept(Unread(TOO_DARK))
        return self._kept(self._made_of(self._follow(luma) or self._search(luma)))

    def part(self, shape: tuple[int, int]) -> tuple[int, int, int, int] | None:
        """Left, top, right and bottom of what `read_parts` needs of pictures; None for all.

        With room for a hand that does not hold still.
        """
        if self._near is None:
            return None
        room = int(ROOM * self._near.length_px)
        left, top, right, bottom = self._near.bounds(shape)
        left, top = max(left - room, 0), max(top - room, 0)
        right, bottom = min(right + room, shape[1]), min(bottom + room, shape[0])
        worth = (right - left) * (bottom - top) < WORTH * shape[0] * shape[1]
        return (left, top, right, bottom) if worth else None

    def shift(self, left: int, top: int) -> None:
        """Say that the next pictures begin at this column and row of those before."""
        if self._near is not None:
            self._near = self._near.within(left, top)
        self._home = None

    def read_parts(self, lumas: Sequence[UInt8Array]) -> list[StripReading | Unread]:
        """Read parts of the next pictures, fewer if the strip leaves them: go on with whole ones.

        Together where it hardly moves, which takes a third of the time.
        """
        done = self._together(lumas)
        for luma in lumas[len(done) :]:
            found = self._follow(luma)
            if found is None or self._is_away(found[0]):
                break
            done.append(self._kept(self._made_of(found)))
        return done

    def _together(self, lumas: Sequence[UInt8Array]) -> list[StripReading | Unread]:
        near, identity = self._near, self.identity
        fit = None if near is None else refine_together(lumas, near, identity)
        if near is None or fit is None or fit.rms > SLACK_RMS or self._is_away(near):
            return []
        lights = self._sample(lumas, near)
        if unit_px(near).min() < LEAST_UNIT_PX or any(check_light(light) for light in lights):
            return []
        self._near, self._lost, self._wait = fit.placement, 0, 0
        done = []
        for light in lights:
            if self.identity != identity:
                break  # with it the cells that are read
            done.append(self._kept(self._decode(near, light)))
        return done

    def _is_away(self, placement: Placement) -> bool:
        """Whether it has moved far from where it lay when this was first asked of these parts."""
        self._home = self._home or placement
        moved_px = np.abs(placement.corners - self._home.corners).max()
        return bool(moved_px > AWAY * ROOM * self._home.length_px)

    def _kept(self, found: StripReading | Unread) -> StripReading | Unread:
        if isinstance(found, Unread):
            self._gate.skip()
        return found

    def _made_of(self, found: _Found | None) -> StripReading | Unread:
        if found is None:
            return Unread(NO_STRIP)
        placement, light, reason = found
        if reason is not None:
            return Unread(reason)
        if unit_px(placement).min() < LEAST_UNIT_PX:
            return Unread(TOO_SMALL)
        return self._decode(placement, light)

    def _follow(self, luma: UInt8Array) -> _Found | None:
        """Find it near where it lay; a dark picture leaves its place as it was."""
        if self._near is None:
            return None
        fit = refine(luma, self._near, self.identity)
        if fit is not None and fit.rms > SLACK_RMS:
            fit = refine(luma, fit.placement, self.identity, rounds=3)
        placement = fit.placement if fit and fit.rms < LARGEST_RMS else self._near
        light = self._sample([luma], placement)[0]
        reason = check_light(light)
        if reason is None and fit is not None and fit.rms < LARGEST_RMS:
            self._near, self._lost, self._wait = placement, 0, 0
            return placement, light, None
        if reason and self._lost < (PATIENCE if reason in PASSING else BRIEF):
            self._lost += 1
            return self._near, light, reason
        return None

    def _search(self, luma: UInt8Array) -> _Found | None:
        if self._wait > 0:  # searching takes long: not in every picture of a film without a strip
            self._wait -= 1
            return None
        placement = locate(luma)
        if placement is None:
            self._lost += 1
            self._wait = min(LONGEST_WAIT, self._lost // 6)
            return None
        fit = refine(luma, placement, self.identity)
        self._near = fit.placement if fit else placement
        light = self._sample([luma], self._near)[0]
        return self._near, light, check_light(light)

    def _sample(self, lumas: Sequence[UInt8Array], placement: Placement) -> list[CellLight]:
        hold = hold_row(self.identity.rate).cells if self.identity else 0
        return sample_cells(lumas, placement, hold)

    def _decode(self, placement: Placement, light: CellLight) -> StripReading | Unread:
        cells, identity_levels = levels(placement.grid, light)
        self._vote.add(identity_levels)
        decoded = decode(cells, self._gate.last)
        if isinstance(decoded, str):
            if decoded in (HOLD_CONTRADICTS, CODE_FAILED):
                self._vote.contradict(True)
            return Unread(decoded, hold_lit(cells), len(cells.hold))
        self._vote.contradict(False)
        clipped = bool(light.white.max() > CLIPPED_WHITE)  # twice its light would look the same
        reading = StripReading.of(decoded, self.identity, placement, clipped=clipped)
        if not self._gate.passes(reading.shown, decoded.margin > SURE_MARGIN):
            return Unread("not confirmed: the number jumps")
        return reading
