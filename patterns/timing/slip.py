"""A cadence that nearly repeats: the fast pattern that is seen, and the slow slip on top.

23.976 on 60 Hz repeats only after 400 frames, but what a viewer sees is 24 on 60 (3, 2,
3, 2 ...) that breaks step every 8.3 s. With R/F near a fraction a/b of small b, the
pattern of a/b drifts by |R/F - a/b| refreshes a frame, and can only be kept to steps of
1/b refresh: it breaks step every 1/(b |R/F - a/b|) frames. For b = 1 a break is one odd
hold (29.97 on 60: one of 3 among 499 of 2, every 16.7 s).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import floor

from patterns.timing.cadence import Cadence, holds

LONGEST_PATTERN = 12  # frames; a longer one is not recognised as a pattern by eye
SHORTEST_INTERVAL_S = 2
LEAST_REPEATS = 4


@dataclass(frozen=True)
class SlowSlip:
    """Fast pattern and slow slip of a cadence.

    Attributes
    ----------
    pattern
        Refreshes per frame of the fast pattern, over one of its periods.
    interval_s
        Seconds from one break of step to the next, on average.
    longer
        Whether a break adds time (true) or takes some away.
    """

    pattern: tuple[int, ...]
    interval_s: Fraction
    longer: bool


def _nearest(ratio: Fraction, b: int) -> Fraction:
    return Fraction(floor(ratio * b + Fraction(1, 2)), b)


def slow_slip(cadence: Cadence) -> SlowSlip | None:
    """Fast pattern and slow slip, or None where the cadence has no such form.

    The shortest pattern of at most 12 frames whose breaks lie 2 s or more, and four
    repeats or more, apart (our convention); None for a cadence that is itself as short.
    """
    ratio, rate = cadence.ratio, cadence.rate
    if ratio.denominator == 1:
        return None
    for b in range(1, LONGEST_PATTERN + 1):
        base = _nearest(ratio, b)
        if base.denominator != b or base == 0:
            continue
        if base == ratio:
            return None
        interval_s = 1 / (b * abs(ratio - base) * rate)
        if interval_s >= max(Fraction(SHORTEST_INTERVAL_S), LEAST_REPEATS * b / rate):
            return SlowSlip(holds(rate, base * rate, b), interval_s, ratio > base)
    return None
