"""What an animated picture's clock can hold, and what is refused because it cannot.

Animated WebP counts in milliseconds, GIF in hundredths of a second, APNG in exact
fractions of 16 bits (RFC 9649; GIF89a specification, graphic control extension; PNG
third edition, fcTL). Viewers show a picture that asks for 10 ms or less for 100 ms, in a
GIF one below 20 ms: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import ceil
from typing import Literal

from patterns.errors import RequestError
from patterns.timing.rates import format_decimal

__all__ = [
    "FORMATS",
    "AnimationFormat",
    "FormatName",
    "PlayedTiming",
    "least_slow",
    "played_timing",
]

FormatName = Literal["webp", "apng", "gif"]
LEAST_UNITS = 5  # a refresh must be this many units long, or rounding would itself judder

WELL_HELD = Fraction(1, 20)  # of a refresh, by which rounding may shift a change


@dataclass(frozen=True)
class AnimationFormat:
    """A format's clock.

    Attributes
    ----------
    name, suffix
        Its name for people, and of its files.
    unit_s
        What durations are counted in; 0: any fraction of two 16-bit numbers.
    least_s
        Shortest duration that viewers honour.
    """

    name: str
    suffix: str
    unit_s: Fraction
    least_s: Fraction


FORMATS: dict[FormatName, AnimationFormat] = {
    "webp": AnimationFormat("WebP", ".webp", Fraction(1, 1000), Fraction(11, 1000)),
    "apng": AnimationFormat("APNG", ".png", Fraction(0), Fraction(11, 1000)),
    "gif": AnimationFormat("GIF", ".gif", Fraction(1, 100), Fraction(2, 100)),
}


@dataclass(frozen=True)
class PlayedTiming:
    """Durations as they are written.

    Attributes
    ----------
    format
        Whose clock they follow.
    wanted_s
        What each should last.
    durations_s
        What each is told to last; their sum is as near to the whole as the clock allows.
    """

    format: AnimationFormat
    wanted_s: Fraction
    durations_s: tuple[Fraction, ...]

    @property
    def exact(self) -> bool:
        """Whether every duration is what it should be."""
        return all(d == self.wanted_s for d in self.durations_s)

    @property
    def worst_shift_s(self) -> Fraction:
        """How far a change comes before or after its due moment, at the worst."""
        at, worst = Fraction(0), Fraction(0)
        for number, duration in enumerate(self.durations_s, start=1):
            at += duration
            worst = max(worst, abs(at - number * self.wanted_s))
        return worst

    @property
    def words(self) -> str:
        """Say what the file really plays."""
        wanted = format_decimal(1000 * self.wanted_s, 2)
        if self.exact:
            return f"{self.format.name} plays each refresh for {wanted} ms, exactly as it should"
        told = sorted(set(self.durations_s))
        list_ms = " or ".join(format_decimal(1000 * d, 2) for d in told)
        shift = format_decimal(1000 * self.worst_shift_s, 2)
        share = format_decimal(100 * self.worst_shift_s / self.wanted_s, 1)
        return (
            f"{self.format.name} cannot hold {wanted} ms a refresh: it plays {list_ms} ms, so "
            f"that a change comes up to {shift} ms ({share} % of a refresh) off its moment"
        )


def least_slow(name: FormatName, refresh_hz: Fraction) -> int:
    """Least slowing that a format holds well: exactly, or to a twentieth of a refresh."""
    form = FORMATS[name]
    least = max(form.least_s, LEAST_UNITS * form.unit_s)
    first = max(1, ceil(least * refresh_hz))
    for slow in range(first, first + 4):
        step = slow / refresh_hz
        exact = not form.unit_s or (step / form.unit_s).denominator == 1
        if exact or form.unit_s / 2 <= WELL_HELD * step:
            return slow
    return first


def played_timing(
    name: FormatName, refresh_hz: Fraction, slow: int, refreshes: int
) -> PlayedTiming:
    """Durations of `refreshes` pictures, each one refresh slowed `slow` times.

    Raises
    ------
    RequestError
        The format would show something else: its clock is too coarse, or viewers do not
        play that fast. The message says which slowing it can hold.
    """
    form = FORMATS[name]
    wanted = slow / refresh_hz
    if wanted < max(form.least_s, LEAST_UNITS * form.unit_s):
        ms = format_decimal(1000 * wanted, 1)
        unit = f"counts in steps of {format_decimal(1000 * form.unit_s, 0)} ms"
        reason = (
            f"{form.name} {unit}, too coarse for" if form.unit_s * LEAST_UNITS > wanted
            else f"viewers of {form.name} do not play"
        )  # fmt: skip
        raise RequestError(
            f"{reason} refreshes of {ms} ms, and it would mislead: slow it at least "
            f"{least_slow(name, refresh_hz)} times (--slow), or make the split clip, a video"
        )
    if not form.unit_s:
        held = wanted
        if max(wanted.numerator, wanted.denominator) > 65535:
            held = wanted.limit_denominator(65535)
        return PlayedTiming(form, wanted, (held,) * refreshes)
    ends = [round(k * wanted / form.unit_s) * form.unit_s for k in range(refreshes + 1)]
    return PlayedTiming(form, wanted, tuple(b - a for a, b in pairwise(ends)))
