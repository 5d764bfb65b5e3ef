"""How long a display holds each frame of a clip: the cadence.

On a display at fixed refresh R, frame n of a clip at rate F is due at n/F and comes on at refresh
k_n = ceil(n R/F - phase); it is held for h_n = k_(n+1) - k_n refreshes. With R/F = p/q in lowest
terms the holds repeat every q frames; each is floor(p/q) or ceil(p/q), 0 being a frame that never
shows. The error of frame n is k_n/R - n/F less its mean over a period: span (1 - 1/q)/R, RMS
sqrt((1 - 1/q^2)/12)/R. The odd holds come at |R - n F| a second, n = round(R/F), as in
Poynton, *Digital Video and HDTV* (2003), "2-3 pulldown" (24 on 75: three a second).

A cadence may nearly repeat: 23.976 on 60 Hz looks like 24 on 60 that breaks step every 8.3 s. With
R/F near a fraction a/b of small b, the pattern of a/b drifts by |R/F - a/b| refreshes a frame, and
is kept to steps of 1/b refresh: it breaks step every 1/(b |R/F - a/b|) frames.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from math import ceil, floor, sqrt
from typing import NamedTuple

from patterns.errors import RequestError
from patterns.timing.rates import format_decimal, parse_rate

MAX_REFRESH = Fraction(1000)
REFRESH_EXAMPLES = "its refresh in hertz, such as 60, 90 or 120, or a variable range, 48-120"
LONGEST_LISTED = 100_000  # frames; a longer period is not written out, only run through


class Display(NamedTuple):
    """A display: a fixed refresh (`lowest_hz == highest_hz`) or a variable range, in hertz."""

    lowest_hz: Fraction
    highest_hz: Fraction

    @classmethod
    def fixed(cls, refresh_hz: Fraction | int) -> Display:
        """Display that refreshes at `refresh_hz` hertz whatever it is sent."""
        return cls(Fraction(refresh_hz), Fraction(refresh_hz))

    @property
    def is_variable(self) -> bool:
        """Whether the display adapts its refresh to the clip."""
        return self.lowest_hz != self.highest_hz

    @property
    def name(self) -> str:
        """'60', '59.94' or '48-120'."""
        if self.is_variable:
            return f"{format_decimal(self.lowest_hz)}-{format_decimal(self.highest_hz)}"
        return format_decimal(self.highest_hz)

    def refresh_for(self, rate: Fraction) -> Fraction:
        """Refresh in hertz that the display runs at for a clip at `rate`.

        A variable display takes the lowest whole multiple of the rate that lies in its
        range, and its highest refresh where no multiple does.
        """
        if not self.is_variable:
            return self.highest_hz
        return min(max(1, ceil(self.lowest_hz / rate)) * rate, self.highest_hz)


# Most phones, tablets and computers refresh at 60 Hz, many newer ones at 90 or 120 Hz
# (common practice, no source).
DEFAULT_DISPLAYS = (Display.fixed(60), Display.fixed(90), Display.fixed(120))


def _refresh(text: str) -> Fraction:
    return parse_rate(text, what="display", maximum=MAX_REFRESH, examples=REFRESH_EXAMPLES)


def parse_display(text: str) -> Display:
    """Display from '60', '59.94', or a variable range '48-120', in hertz.

    Raises `RequestError`: not a rate, or a range whose ends are equal or the wrong way round.
    """
    low, dash, high = text.strip().partition("-")
    if not dash:
        return Display.fixed(_refresh(low))
    lowest, highest = _refresh(low), _refresh(high)
    if lowest < highest:
        return Display(lowest, highest)
    raise RequestError(f"display {text!r} is not a range: give the lower refresh first, as 48-120")


def frame_starts(
    rate: Fraction, refresh_hz: Fraction, count: int, *, phase: Fraction | int = 0, first: int = 0
) -> Iterator[int]:
    """Refresh number at which frames `first` to `first + count - 1` come on: ceil(n R/F - phase).

    `phase`, in refreshes (0 to 1), says how far the clip's start lies before a refresh.
    """
    ratio = refresh_hz / rate
    return (ceil(n * ratio - phase) for n in range(first, first + count))


def holds(rate: Fraction, refresh_hz: Fraction, count: int) -> tuple[int, ...]:
    """Return the refreshes for which each of the first `count` frames is held."""
    return tuple(b - a for a, b in pairwise(frame_starts(rate, refresh_hz, count + 1)))


@dataclass(frozen=True)
class Cadence:
    """What one rate does on one display."""

    # rate, refresh_hz: frames and refreshes a second; on a variable display the refresh it runs at
    rate: Fraction
    refresh_hz: Fraction
    display: Display  # the display asked about

    @property
    def ratio(self) -> Fraction:
        """Refreshes per frame, R/F in lowest terms p/q."""
        return self.refresh_hz / self.rate

    @cached_property
    def holds(self) -> tuple[int, ...]:
        """Refreshes per frame over one period of q frames; 0 is a dropped frame.

        Raises `RequestError`: the period is longer than 100 000 frames.
        """
        if self.period_frames > LONGEST_LISTED:
            raise RequestError(
                f"the holds repeat only after {self.period_frames} frames, and at most "
                f"{LONGEST_LISTED} are listed: take the first ones, or the runs"
            )
        return self.first_holds(self.period_frames)

    def first_holds(self, count: int) -> tuple[int, ...]:
        """Return the refreshes for which each of the first `count` frames is held."""
        return holds(self.rate, self.refresh_hz, count)

    def runs(self) -> Iterator[tuple[int, int]]:
        """Run-length form of one period, run by run, however long: (refreshes, frames in a row).

        With x_n = k_n - n R/F, 0 <= x_n < 1, and f the fractional part of R/F, a hold is the
        short hold while x_n >= f, which lowers x by f, and the long hold while x_n < f, which
        raises it by 1 - f. So each run's length is one division.
        """
        short = floor(self.ratio)
        part, left, x = self.ratio - short, self.period_frames, Fraction(0)
        if not part:
            yield short, 1
            return
        while left:
            if x >= part:
                run, hold = floor(x / part), short
                x -= run * part
            else:
                run, hold = ceil((part - x) / (1 - part)), short + 1
                x += run * (1 - part)
            yield hold, min(run, left)
            left -= min(run, left)

    @property
    def period_frames(self) -> int:
        """Frames after which the holds repeat."""
        return self.ratio.denominator

    @property
    def period_s(self) -> Fraction:
        """Seconds after which the holds repeat."""
        return self.period_frames / self.rate

    @property
    def even(self) -> bool:
        """Whether every frame is held equally long."""
        return self.ratio.denominator == 1

    @property
    def usual_hold(self) -> int:
        """Refreshes for which most frames are held; the longer of two that are equally many."""
        return floor(self.ratio + Fraction(1, 2))

    @property
    def odd_hold(self) -> int:
        """The other hold that occurs, in refreshes; the usual one when even."""
        if self.even:
            return self.usual_hold
        return 2 * floor(self.ratio) + 1 - self.usual_hold

    @property
    def beat_hz(self) -> Fraction:
        """How often a second the pattern repeats; 0 when it is even."""
        return Fraction(0) if self.even else self.rate / self.period_frames

    @property
    def odd_holds_per_second(self) -> Fraction:
        """How often a second a hold differs from the usual one: |R - n F|; 0 when even."""
        return abs(self.refresh_hz - self.usual_hold * self.rate)

    @property
    def dropped_per_second(self) -> Fraction:
        """Frames a second that never show."""
        return max(Fraction(0), self.rate - self.refresh_hz)

    @property
    def timing_error_span_s(self) -> Fraction:
        """Latest less earliest frame against an even clock, in seconds: (1 - 1/q)/R."""
        return (1 - Fraction(1, self.ratio.denominator)) / self.refresh_hz

    @property
    def timing_error_rms_s(self) -> float:
        """RMS of the frames' timing error in seconds: sqrt((1 - 1/q^2)/12)/R."""
        q = self.ratio.denominator
        return sqrt((1 - 1 / q**2) / 12) / float(self.refresh_hz)


def cadence(rate: Fraction, display: Display) -> Cadence:
    """Cadence of a clip at `rate` hertz on `display`."""
    return Cadence(rate, display.refresh_for(rate), display)


LONGEST_PATTERN = 12  # frames; a longer one is not recognised as a pattern by eye
SHORTEST_INTERVAL_S = 2
LEAST_REPEATS = 4


class SlowSlip(NamedTuple):
    """Fast pattern and slow slip of a cadence."""

    pattern: tuple[int, ...]  # refreshes per frame of the fast pattern, over one of its periods
    interval_s: Fraction  # seconds from one break of step to the next, on average
    longer: bool  # whether a break adds time (true) or takes some away


def slow_slip(cadence: Cadence) -> SlowSlip | None:
    """Fast pattern and slow slip, or None where the cadence has no such form.

    The shortest pattern of at most 12 frames whose breaks lie 2 s or more, and four
    repeats or more, apart (our convention); None for a cadence that is itself as short.
    """
    ratio, rate = cadence.ratio, cadence.rate
    if ratio.denominator == 1:
        return None
    for b in range(1, LONGEST_PATTERN + 1):
        base = Fraction(floor(ratio * b + Fraction(1, 2)), b)
        if base.denominator != b or base == 0:
            continue
        if base == ratio:
            return None
        interval_s = 1 / (b * abs(ratio - base) * rate)
        if interval_s >= max(Fraction(SHORTEST_INTERVAL_S), LEAST_REPEATS * b / rate):
            return SlowSlip(holds(rate, base * rate, b), interval_s, ratio > base)
    return None
