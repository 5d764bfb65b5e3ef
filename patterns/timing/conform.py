"""Footage of one rate on a timeline of another: sped up, repeated, or blended."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import ceil, floor, log2, sqrt
from typing import NamedTuple

from patterns.timing.audience import Audience, Showing, standing
from patterns.timing.cadence import Display, cadence
from patterns.timing.rates import format_decimal

# Rates that platforms commonly take, by a large one's help page (read November 2026).
DELIVERED = tuple(Fraction(rate) for rate in (24, 25, 30, 48, 50, 60))
# Above this change people, birds and water move oddly; our convention, as in the plan.
MODERATE = Fraction(3, 10)
MAX_EXACT_FRAMES = 5000  # period over which the error of repeats is added up


class Conform(NamedTuple):
    """Footage at `footage` frames a second on a timeline at `timeline`."""

    footage: Fraction
    timeline: Fraction

    @property
    def speed(self) -> Fraction:
        """Playback speed when conformed, 1 = as shot: 24 in 30 is 5/4."""
        return self.timeline / self.footage

    @property
    def length(self) -> Fraction:
        """Length when conformed as a share of the length as shot."""
        return 1 / self.speed

    @property
    def semitones(self) -> float:
        """Rise of sound that goes along when conformed, semitones."""
        return 12 * log2(float(self.speed))

    @property
    def odd_frames(self) -> tuple[int, Fraction]:
        """Left at its own speed: (repeats of the odd frame, of every how many frames one is odd).

        24 in 30 gives (2, 4): one frame of every four is shown twice; 50 in 25 gives
        (0, 2): one of two is not shown. (n, 0) where every frame is shown n times.
        """
        ratio = self.speed
        low, part = floor(ratio), ratio - floor(ratio)
        if not part:
            return low, Fraction(0)
        if part < Fraction(1, 2) or (low and part == Fraction(1, 2)):
            return low + 1, 1 / part
        return low, 1 / (1 - part)

    @property
    def repeat_words(self) -> str:
        """Left at its own speed: 'one frame in 4 shown twice', 'every other frame left out'."""
        times, every = self.odd_frames
        often = {0: "left out", 1: "shown", 2: "shown twice"}.get(times, f"shown {times} times")
        if not every:
            return f"every frame {often}"
        which = "every other frame" if every == 2 else f"one frame in {format_decimal(every, 1)}"
        return f"{which} {often}"

    @property
    def mixed_share(self) -> Fraction:
        """Blended: share of the timeline's frames that are a mixture of two frames."""
        return 1 - Fraction(1, self.speed.numerator)


def repeat_error_s(conform: Conform, display: Display) -> float:
    """RMS timing error, seconds, of footage left at its own speed on a timeline, as seen.

    Frame j of footage is due at j/F; it comes on with timeline frame ceil(j T/F), which the display
    shows at refresh ceil(k R/T). As in `Showing.seen_rms_s`, it is the error between slow slips, of
    the frames that show: of those that come on together the last one. Over the whole period, or its
    first 5000 frames.
    """
    into = _seen_ratio(conform.footage, Display.fixed(conform.timeline))
    onto = _seen_ratio(conform.timeline, display)
    late, refreshes = _lateness(into, onto)
    mean = sum(late) / len(late)
    rms_refreshes = sqrt(sum((x - mean) ** 2 for x in late) / len(late))
    return rms_refreshes / float(refreshes * conform.footage)


def repeat_span_s(conform: Conform, display: Display) -> Fraction:
    """Latest less earliest frame of such footage as shown, seconds: how far it jumps."""
    refresh_hz = cadence(conform.timeline, display).refresh_hz
    late, refreshes = _lateness(conform.timeline / conform.footage, refresh_hz / conform.timeline)
    return Fraction(max(late) - min(late)) / (refreshes * conform.footage)


def _lateness(into: Fraction, onto: Fraction) -> tuple[list[float], Fraction]:
    """How late each frame that shows comes, in refreshes, and refreshes to a frame on average."""
    count = min(into.denominator * onto.denominator, MAX_EXACT_FRAMES)
    refreshes = into * onto  # to a frame, on average
    shown: dict[int, Fraction] = {}
    for j in range(1, count + 1):  # frame 0 comes on alone, as frame `count` does
        on = ceil(ceil(j * into) * onto)
        shown[on] = on - j * refreshes
    return [float(refreshes_late) for refreshes_late in shown.values()], refreshes


def _seen_ratio(rate: Fraction, display: Display) -> Fraction:
    return Showing(cadence(rate, display), share=Fraction(1)).seen_ratio


def expected_repeat_error_s(conform: Conform, audience: Audience) -> float:
    """Share-weighted mean over the audience of `repeat_error_s`; as shot if the rates agree."""
    if conform.speed == 1:
        return standing(conform.footage, audience).ranked_error_s
    return sum(float(share) * repeat_error_s(conform, d) for d, share in audience.displays)


class Proposal(NamedTuple):
    """A rate to conform to, with the displays on which it is even."""

    conform: Conform
    even_on: tuple[Display, ...]


def proposals(rate: Fraction, displays: Sequence[Display]) -> tuple[Proposal, ...]:
    """Rates even on the displays: on all of them if there are any, else on most; nearest first."""
    found = [
        Proposal(Conform(rate, new), tuple(d for d in displays if cadence(new, d).even))
        for new in DELIVERED
    ]
    most = max(len(proposal.even_on) for proposal in found)
    best = [p for p in found if len(p.even_on) == most and most]
    return tuple(sorted(best, key=lambda p: max(p.conform.speed, p.conform.length)))
