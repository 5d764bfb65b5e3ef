"""How evenly a rate is shown on the displays that an audience has, and which rate is best.

Rates are ranked by the share-weighted RMS timing error as it is seen: between slow slips, of the
frames that show; then by how often they slip (../planning/PLAN.md, "Ranking").
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from math import sqrt
from typing import NamedTuple

from patterns.errors import RequestError
from patterns.timing.cadence import (
    LONGEST_PATTERN,
    Cadence,
    Display,
    SlowSlip,
    cadence,
    parse_display,
    slow_slip,
)

_SHARE = re.compile(r"(\d{1,9}(?:\.\d{1,9})?)(%?)")


class Audience(NamedTuple):
    """Displays and the share of the audience that looks at each; shares add up to 1."""

    displays: tuple[tuple[Display, Fraction], ...]

    @classmethod
    def of(cls, weighted: Iterable[tuple[Display, Fraction]]) -> Audience:
        """Audience whose shares are in proportion to the weights; equal displays are merged.

        Raises `RequestError`: no display, or all weights 0.
        """
        weights: dict[Display, Fraction] = {}
        for display, weight in weighted:
            weights[display] = weights.get(display, Fraction(0)) + weight
        total = sum(weights.values(), Fraction(0))
        if not total:
            raise RequestError("the displays' shares add up to 0: give such as --display 60:0.8")
        return cls(tuple((d, w / total) for d, w in weights.items() if w))


# Most phones, tablets and computers refresh at 60 Hz, a growing part at 120 Hz (common
# practice, no source; the shares are a guess to be replaced).
DEFAULT_AUDIENCE = Audience.of(
    [(Display.fixed(60), Fraction(4, 5)), (Display.fixed(120), Fraction(1, 5))]
)


def parse_share(text: str) -> tuple[Display, Fraction]:
    """Display and weight from '60:0.8', '60:80%', '48-120:0.2' or '60' (weight 1).

    Raises `RequestError`: not a display, or a weight that is not a number of 0 or more.
    """
    name, colon, share = text.strip().partition(":")
    display = parse_display(name)
    if not colon:
        return display, Fraction(1)
    found = _SHARE.fullmatch(share.strip())
    if not found:
        raise RequestError(
            f"display {text!r} has no share after the colon: give such as 60:0.8 or 60:80%"
        )
    return display, Fraction(found[1]) / (100 if found[2] else 1)


@dataclass(frozen=True)
class Showing:
    """One rate on one display of the audience, with the share that the display has."""

    cadence: Cadence
    share: Fraction

    @property
    def display(self) -> Display:
        """The display."""
        return self.cadence.display

    @property
    def even(self) -> bool:
        """Whether every frame is held equally long."""
        return self.cadence.even

    @cached_property
    def slip(self) -> SlowSlip | None:
        """Fast pattern and slow slip, where the cadence has that form."""
        return slow_slip(self.cadence)

    @property
    def seen_ratio(self) -> Fraction:
        """Refreshes per frame of what is seen: of the fast pattern, where there is one."""
        if self.slip:
            return Fraction(sum(self.slip.pattern), len(self.slip.pattern))
        return self.cadence.ratio

    @property
    def seen_frames(self) -> int:
        """Frames after which what is seen repeats."""
        return self.seen_ratio.denominator

    @property
    def seen_holds(self) -> tuple[int, ...] | None:
        """Refreshes per frame of what is seen, None if longer than 12 frames."""
        if self.slip:
            return self.slip.pattern
        short = self.seen_frames <= LONGEST_PATTERN
        return self.cadence.first_holds(self.seen_frames) if short else None

    @property
    def seen_rms_s(self) -> float:
        """RMS timing error between slow slips of the frames that show, seconds.

        sqrt((1 - 1/b^2)/12)/R for b frames; where frames are dropped, each of a refreshes
        shows the frame due last, so sqrt((1 - 1/a^2)/12)/F: 120 on 60 Hz is even.
        """
        count, step_hz = self._steps(self.seen_ratio)
        return sqrt((1 - 1 / count**2) / 12) / float(step_hz)

    @property
    def jump_s(self) -> Fraction:
        """Latest less earliest of the frames that show, against an even clock, seconds."""
        count, step_hz = self._steps(self.cadence.ratio)
        return (1 - Fraction(1, count)) / step_hz

    def _steps(self, ratio: Fraction) -> tuple[int, Fraction]:
        """Lateness takes this many values, evenly spread over one period of this frequency."""
        if ratio < 1:
            return ratio.numerator, self.cadence.rate
        return ratio.denominator, self.cadence.refresh_hz


class RateStanding(NamedTuple):
    """How one rate stands with an audience."""

    rate: Fraction
    showings: tuple[Showing, ...]

    @property
    def expected_error_s(self) -> float:
        """Share-weighted mean of the displays' RMS timing errors, seconds."""
        return sum(float(s.share) * s.cadence.timing_error_rms_s for s in self.showings)

    @property
    def ranked_error_s(self) -> float:
        """The same between slow slips, of the frames that show: the rank goes by it; seconds."""
        return sum(float(s.share) * s.seen_rms_s for s in self.showings)

    @property
    def slips_per_second(self) -> Fraction:
        """Share-weighted slow slips a second."""
        return sum((s.share / s.slip.interval_s for s in self.showings if s.slip), Fraction(0))

    @property
    def dropped_per_second(self) -> Fraction:
        """Share-weighted frames a second that never show."""
        return sum((s.share * s.cadence.dropped_per_second for s in self.showings), Fraction(0))

    @property
    def even_everywhere(self) -> bool:
        """Whether every display holds every frame equally long."""
        return all(s.even for s in self.showings)

    @property
    def worst(self) -> Showing:
        """Display that shows most of an error between slips, of equal ones by its whole span."""
        return max(self.showings, key=lambda s: (s.seen_rms_s, s.jump_s))

    @property
    def evenness(self) -> tuple[float, Fraction, Fraction]:
        """What rates are ranked by, less being better: error (to a nanosecond), slips, drops."""
        return round(self.ranked_error_s, 9), self.slips_per_second, self.dropped_per_second


def standing(rate: Fraction, audience: Audience) -> RateStanding:
    """Put one rate before an audience."""
    showings = (Showing(cadence(rate, display), share) for display, share in audience.displays)
    return RateStanding(rate, tuple(showings))


def rank(rates: Iterable[Fraction], audience: Audience) -> tuple[RateStanding, ...]:
    """Standings of the distinct rates, best first; equal ones by the higher rate."""
    standings = [standing(rate, audience) for rate in dict.fromkeys(rates)]
    return tuple(sorted(standings, key=lambda s: (s.evenness, -s.rate)))


def near_rate(rate: Fraction) -> Fraction | None:
    """Rate that differs by 1000/1001 and goes by nearly the same name: 30 and 30000/1001.

    None for a rate whose near one the trade does not use (25, 12.5, ...).
    """
    if (rate.denominator == 1 and rate % 12 == 0) or rate in (30, 90, 15):
        return rate * 1000 / 1001
    whole = rate * 1001 / 1000
    return whole if whole.denominator == 1 else None
