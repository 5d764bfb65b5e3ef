"""The streaming check: frames with their times go in, a report comes out.

Memory does not grow with the length: one second of changes on a small grid is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from contextlib import closing
from fractions import Fraction
from typing import NamedTuple

import numpy as np

from patterns.errors import RequestError
from patterns.picture.arrays import BoolArray, UInt8Array
from patterns.picture.planes import Planes
from patterns.safety.flash_rule import FlashRule, extended_finding, screen_rule, visual_field_rule
from patterns.safety.flashes import (
    MOST_CHANGES,
    OlderRedSwings,
    RedSwings,
    Swings,
    leading_edge_s,
    may_be_saturated,
)
from patterns.safety.luminance import Reduced, Reducer, Shrunk
from patterns.safety.report import EXTENDED_WINDOW_S, SafetyReport
from patterns.safety.stripe_motion import LOOK_EVERY_S, StripeWatch
from patterns.safety.stripes import StripeRules
from patterns.safety.viewing import FINE, Viewing

Frame = Planes | UInt8Array | Shrunk
Timed = tuple[Fraction, Frame]

LOOPED = "Looked at as played in a loop, until a while of it had been seen again."

WCAG = "WCAG 2.2, success criterion 2.3.1 and its terms"
BT1702 = "ITU-R BT.1702-3 (11/2023), guidelines 1 and 2, quoted second-hand"
RELATIVE_STEP, RELATIVE_DARK = 0.10, 0.80  # WCAG 2.2: of maximum relative luminance
SEAM_S = 2  # of a loop, looked at beyond its seam
SHORT_ROUND = 60  # pictures: of so short a loop they are kept, not read again for each round
SCREEN_STEP_CD_M2, SCREEN_DARK_CD_M2 = 20.0, 160.0  # ITU-R BT.1702


class WorstMoment(NamedTuple):
    """The picture at the worst moment."""

    time_s: Fraction  # when
    picture: UInt8Array  # uint8 (rows, columns, 3), reduced
    region: BoolArray  # bool, the area that flashed, on a grid three times coarser
    criterion: str  # the criterion that was nearest to its limit or furthest beyond it


class FlashCheck:
    """Checks frames as they come.

    `width`, `height`: size of the frames in pixels.
    `rate`: frames a second, nominal: decides whether the 50 Hz or the 60 Hz spacing of leading
    edges applies, and how long the last frame stays.
    `viewing`: assumed viewing.
    `quick`: look at rendered frames in about a millisecond each; see `Reducer`.
    """

    def __init__(
        self,
        width: int,
        height: int,
        rate: Fraction,
        viewing: Viewing | None = None,
        *,
        quick: bool = False,
    ) -> None:
        self.viewing = viewing or Viewing()
        self._size, self._rate = (width, height), rate
        self._reducer = Reducer(width, height, self.viewing, quick=quick)
        shape = (self._reducer.grid.rows, self._reducer.grid.columns)
        self._relative = Swings(RELATIVE_STEP, RELATIVE_DARK)
        self._screen = Swings(SCREEN_STEP_CD_M2, SCREEN_DARK_CD_M2)
        self._red, self._older_red = RedSwings(), OlderRedSwings()
        self._grey = np.full(
            (*shape, 3), 1 / 3, np.float32
        )  # linear light of a frame without colour
        self._red_seen = False
        self._rules = self._make_rules(shape)
        self._stripes = StripeWatch(
            StripeRules(width, height, self.viewing), fine=1 if quick else FINE
        )
        self._reduced: Reduced
        self._frames = 0
        self._first_s = self._last_s = Fraction(0)
        self._worst: WorstMoment | None = None
        self._worst_rank = 0.0
        self._striped: WorstMoment | None = None

    def _make_rules(self, shape: tuple[int, int]) -> tuple[FlashRule, ...]:
        field = visual_field_rule(self._reducer.grid, self.viewing)
        screen = screen_rule(self._reducer.grid)
        apart_s = leading_edge_s(self._rate)
        return (
            FlashRule("WCAG 2.2 general flashes", WCAG, field, shape),
            FlashRule("ITU-R BT.1702 general flashes", BT1702, screen, shape, apart_s),
            FlashRule("WCAG 2.2 red flashes", WCAG, field, shape),
            FlashRule("ITU-R BT.1702 red flashes", BT1702, screen, shape, apart_s),
            FlashRule("red flashes, older WCAG text", WCAG, field, shape, extra=True),
        )

    def shrink(self, frame: Planes | UInt8Array) -> Shrunk:
        """Return what the check keeps of a frame; `see` takes it as well."""
        return self._reducer.shrink(frame)

    def see(self, time_s: Fraction, frame: Frame) -> None:
        """Take the next frame.

        `time_s`: when it appears, seconds, later than the frame before.
        `frame`: narrow-range planes, or R'G'B' codes, uint8 (height, width, 3), full range; or what
        `shrink` made of them.
        Raises `RequestError`: the times do not rise.
        """
        if self._frames and time_s <= self._last_s:
            raise RequestError(
                f"frame {self._frames} is due at {float(time_s):.6f} s, not after the one before: "
                "give frames in order of time"
            )
        if self._frames:
            self._stay(time_s)
        else:
            self._first_s = time_s
        self._last_s, self._frames = time_s, self._frames + 1
        shrunk = frame if isinstance(frame, Shrunk) else self.shrink(frame)
        reduced = self._reducer.reduce(shrunk)
        self._flashes(time_s, reduced)
        self._reduced = reduced
        self._look_for_stripes(time_s)

    def _stay(self, until_s: Fraction) -> None:
        """Let stripes be seen for as long as the frame before stayed; seconds tell enough."""
        since_s = self._last_s
        for look in range(1, 11):
            if since_s + look * LOOK_EVERY_S >= until_s:
                return
            self._look_for_stripes(since_s + look * LOOK_EVERY_S)

    def _look_for_stripes(self, time_s: Fraction) -> None:
        stripes = self._stripes.see(time_s, self._reduced.screen_fine)
        if stripes is not None:
            self._striped = WorstMoment(time_s, self._reduced.picture(), stripes.region, "stripes")

    def _flashes(self, time_s: Fraction, reduced: Reduced) -> None:
        changes = [self._relative.see(reduced.relative), self._screen.see(reduced.screen)]
        # Red is followed from the first saturated place on: what came before counts as white.
        rgb = reduced.linear_rgb
        if not self._red_seen and rgb is not None and may_be_saturated(rgb):
            self._red_seen = True
            if self._frames > 1:
                self._red.see(self._grey)
                self._older_red.see(self._grey)
        if self._red_seen:
            light = self._grey if rgb is None else rgb
            red = self._red.see(light)
            changes += [red, red, self._older_red.see(light)]
        for rule, (up, down) in zip(self._rules, changes, strict=False):
            if rule.see(time_s, up, down):
                self._keep(time_s, rule, reduced)

    def _keep(self, time_s: Fraction, rule: FlashRule, reduced: Reduced) -> None:
        # A criterion's flashes count first, its area second: 0 to 1 of the screen.
        rank = rule.most_changes + rule.share
        if rule.worst_region is not None and rank > self._worst_rank and not rule.extra:
            self._worst_rank = rank
            region = np.array(rule.worst_region)
            self._worst = WorstMoment(time_s, reduced.picture(), region, rule.name)

    @property
    def flashes_exceed(self) -> bool:
        """Whether a limit on flashes was exceeded up to now."""
        return any(rule.exceeds and not rule.extra for rule in self._rules)

    def see_again(self, once_s: Fraction, frames: Callable[[], Generator[Timed]]) -> None:
        """Take the frames again and again, as a loop shows them, until its seam has been seen.

        Two seconds beyond the seam hold every second across it, at every place with what it
        carries over; extended flashing that may go on is followed for five.

        `once_s`: how long one round takes.
        `frames`: gives the first seconds of a round, with times from 0 on.
        """
        start_s, short = once_s, list[Timed]()  # of a short round nothing is read twice
        while self._frames:
            first = not short
            again = (timed for timed in short) if 0 < len(short) <= SHORT_ROUND else frames()
            with closing(again) as shown:
                for time_s, frame in shown:
                    lately = any(rule.flashes_lately for rule in self._rules)
                    if start_s + time_s >= once_s + (EXTENDED_WINDOW_S if lately else SEAM_S):
                        return
                    shrunk = frame if isinstance(frame, Shrunk) else self.shrink(frame)
                    if first and len(short) <= SHORT_ROUND:
                        short.append((time_s, shrunk))
                    self.see(start_s + time_s, shrunk)
            start_s += once_s

    @property
    def worst(self) -> WorstMoment | None:
        """The worst moment up to now, None if nothing flashed and no stripes were found.

        Flashes beyond the limit come first, then the largest stripes, then lesser flashes.
        """
        if self._worst is None or self._worst_rank <= MOST_CHANGES:
            return self._striped or self._worst
        return self._worst

    def report(self, *, still: bool = False, notes: tuple[str, ...] = ()) -> SafetyReport:
        """Return the result of what was seen. Call it once, after the last frame.

        `still`: the one frame is a still picture: only stripes are judged.
        `notes`: remarks to carry in the report.
        """
        end_s = self._last_s + 1 / self._rate
        flashes = (*(rule.finding() for rule in self._rules), extended_finding(self._rules))
        return SafetyReport(
            method="still" if still else "pictures",
            width=self._size[0],
            height=self._size[1],
            frames=self._frames,
            duration_s=end_s - self._first_s if self._frames else Fraction(0),
            viewing=self.viewing,
            flashes=() if still else flashes,
            stripes=self._stripes.findings(end_s, still=still),
            notes=notes,
        )


class LoopGuard:
    """Looks quickly at rendered frames, and at the seam where the last meets the first.

    `width`, `height`, `rate`: as of `FlashCheck`.
    """

    def __init__(self, width: int, height: int, rate: Fraction) -> None:
        self._check = FlashCheck(width, height, rate, quick=True)
        self._frame_s = 1 / rate
        self._first: list[Timed] = []
        self._end_s = Fraction(0)

    def see(self, time_s: Fraction, frame: Planes) -> None:
        """Take the next frame; the first is due at 0."""
        shrunk = self._check.shrink(frame)
        if time_s < EXTENDED_WINDOW_S:
            self._first.append((time_s, shrunk))
        self._check.see(time_s, shrunk)
        self._end_s = time_s + self._frame_s

    @property
    def flashes_exceed(self) -> bool:
        """Whether a limit on flashes was exceeded up to now; the seam was not yet looked at."""
        return self._check.flashes_exceed

    def report(self, end_s: Fraction | None = None) -> SafetyReport:
        """Look at the seam and return the result. Call it once, after the last frame.

        `end_s`: when the last frame goes, if it does not stay for 1 / rate.
        """
        once_s = self._end_s if end_s is None else end_s
        self._check.see_again(once_s, lambda: (timed for timed in self._first))
        return self._check.report()
