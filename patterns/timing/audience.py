"""How evenly a rate is shown on the displays that an audience has, and which rate is best.

The measure is the expected timing error: the RMS error of each display's cadence (see
`patterns.timing.cadence`), weighted with the display's share. One exception is stated
wherever it is used: where the odd holds come less than once in four seconds (29.97 on
60 Hz: one in 16.7 s) the clip is even between them, its error grows too slowly to be
seen as unevenness, and it is ranked by how often it slips. The four seconds are our
convention.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from math import floor, sqrt

from patterns.errors import RequestError
from patterns.timing.cadence import Display, holds, parse_display

__all__ = [
    "DEFAULT_AUDIENCE",
    "SLOW_SLIP_HZ",
    "Audience",
    "RateStanding",
    "Showing",
    "near_rate",
    "parse_share",
    "rank",
    "standing",
]

SLOW_SLIP_HZ = Fraction(1, 4)
LISTED_HOLDS = 12  # longest period, in frames, whose holds are written out

_SHARE = re.compile(r"(\d{1,9}(?:\.\d{1,9})?)(%?)")


@dataclass(frozen=True)
class Audience:
    """Displays and the share of the audience that looks at each; shares add up to 1."""

    displays: tuple[tuple[Display, Fraction], ...]

    @classmethod
    def of(cls, weighted: Iterable[tuple[Display, Fraction]]) -> Audience:
        """Audience whose shares are in proportion to the weights; equal displays are merged.

        Raises
        ------
        RequestError
            No display, or all weights 0.
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

    Raises
    ------
    RequestError
        Not a display, or a weight that is not a number of 0 or more.
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
    """One rate on one display, in closed form (no list of holds, so any rate is quick).

    Attributes
    ----------
    display, share
        The display and the share of the audience that it has.
    refresh_hz, ratio
        Refresh that it runs at for this rate, and refreshes per frame.
    """

    display: Display
    share: Fraction
    rate: Fraction
    refresh_hz: Fraction
    ratio: Fraction

    @property
    def even(self) -> bool:
        """Whether every frame is held equally long."""
        return self.ratio.denominator == 1

    @property
    def odd_per_second(self) -> Fraction:
        """Holds a second that differ from the usual one: |R - n F|, n = R/F rounded."""
        return abs(self.refresh_hz - floor(self.ratio + Fraction(1, 2)) * self.rate)

    @property
    def slips(self) -> bool:
        """Whether it is even but for odd holds that are more than four seconds apart."""
        return not self.even and self.ratio > Fraction(1, 2) and self.odd_per_second < SLOW_SLIP_HZ

    @property
    def beat_hz(self) -> Fraction:
        """How often a second the pattern of holds repeats; 0 when even."""
        return Fraction(0) if self.even else self.rate / self.ratio.denominator

    @property
    def span_s(self) -> Fraction:
        """Latest less earliest frame against an even clock, seconds: (1 - 1/q)/R."""
        return (1 - Fraction(1, self.ratio.denominator)) / self.refresh_hz

    @property
    def rms_s(self) -> float:
        """RMS timing error over the whole pattern, seconds: sqrt((1 - 1/q^2)/12)/R."""
        q = self.ratio.denominator
        return sqrt((1 - 1 / q**2) / 12) / float(self.refresh_hz)

    @property
    def dropped_per_second(self) -> Fraction:
        """Frames a second that never show."""
        return max(Fraction(0), self.rate - self.refresh_hz)

    @property
    def usual_hold(self) -> int:
        """Refreshes for which most frames are held."""
        return floor(self.ratio + Fraction(1, 2))

    @property
    def odd_hold(self) -> int:
        """Refreshes of the odd hold; the usual one when even."""
        if self.even:
            return self.usual_hold
        low = floor(self.ratio)
        return low + 1 if self.usual_hold == low else low

    @property
    def holds(self) -> tuple[int, ...] | None:
        """Refreshes per frame over one period, None if it is longer than 12 frames."""
        q = self.ratio.denominator
        return holds(self.rate, self.refresh_hz, q) if q <= LISTED_HOLDS else None


@dataclass(frozen=True)
class RateStanding:
    """How one rate stands with an audience."""

    rate: Fraction
    showings: tuple[Showing, ...]

    @property
    def expected_error_s(self) -> float:
        """Share-weighted mean of the displays' RMS timing errors, seconds."""
        return sum(float(s.share) * s.rms_s for s in self.showings)

    @property
    def ranked_error_s(self) -> float:
        """The same with slow slips counted as even: what rates are ranked by, seconds."""
        return sum(float(s.share) * s.rms_s for s in self.showings if not s.slips)

    @property
    def slips_per_second(self) -> Fraction:
        """Share-weighted slow slips a second."""
        return sum((s.share * s.odd_per_second for s in self.showings if s.slips), Fraction(0))

    @property
    def even_everywhere(self) -> bool:
        """Whether every display holds every frame equally long."""
        return all(s.even for s in self.showings)

    @property
    def worst(self) -> Showing:
        """Display on which the timing error spans most; slow slips only if nothing else errs."""
        return max(self.showings, key=lambda s: (not s.even and not s.slips, s.span_s))

    @property
    def key(self) -> tuple[float, Fraction, Fraction]:
        """Sort key: ranked error (to a nanosecond), slow slips, then the higher rate first."""
        return round(self.ranked_error_s, 9), self.slips_per_second, -self.rate


def standing(rate: Fraction, audience: Audience) -> RateStanding:
    """How `rate` stands with `audience`."""
    showings = []
    for display, share in audience.displays:
        refresh_hz = display.refresh_for(rate)
        showings.append(Showing(display, share, rate, refresh_hz, refresh_hz / rate))
    return RateStanding(rate, tuple(showings))


def rank(rates: Iterable[Fraction], audience: Audience) -> tuple[RateStanding, ...]:
    """Standings of the distinct rates, best first.

    By expected timing error; equal ones by slow slips; equal ones again by the higher
    rate, from frame to frame of which the picture moves less.
    """
    return tuple(sorted((standing(r, audience) for r in dict.fromkeys(rates)), key=lambda s: s.key))


def near_rate(rate: Fraction) -> Fraction | None:
    """Rate that differs by 1000/1001 and goes by nearly the same name: 30 and 30000/1001.

    None for a rate whose near one the trade does not use (25, 12.5, ...).
    """
    if (rate.denominator == 1 and rate % 12 == 0) or rate in (30, 90, 15):
        return rate * 1000 / 1001
    whole = rate * 1001 / 1000
    return whole if whole.denominator == 1 else None
