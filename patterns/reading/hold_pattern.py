"""The pattern in which holds repeat: 3, 2 of 24 on 60 Hz.

The shortest period is taken at which holds agree with those one period later, as far as
dropped frames and slow slips let them; a pattern counts only if two periods were seen.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

from patterns.timing.notation import first_turn

__all__ = ["explained", "hold_pattern", "pattern_text"]

LONGEST = 30  # frames
LEAST_AGREEMENT = 0.75
MEAN_FITS = Fraction(1, 50)
WITHIN_BEST = 0.03  # a shorter period is preferred if it agrees nearly as often


def pattern_text(pattern: Sequence[int]) -> str:
    """'3:2', '2', '6:5 x24'."""
    if len(pattern) <= 8:
        return ":".join(str(hold) for hold in pattern)
    words, start = [], 0
    for end in range(1, len(pattern) + 1):
        if end == len(pattern) or pattern[end] != pattern[start]:
            run = end - start
            words.append(f"{pattern[start]}" if run == 1 else f"{pattern[start]} x{run}")
            start = end
    return ":".join(words)


def _agreement(holds: Sequence[int | None], period: int) -> float:
    pairs = [
        (a, b)
        for a, b in zip(holds, holds[period:], strict=False)
        if a is not None and b is not None
    ]
    # two whole periods must have been seen, so that chance does not pass for a pattern
    if len(pairs) < max(period, 3):
        return 0.0
    return sum(a == b for a, b in pairs) / len(pairs)


def _root(pattern: tuple[int, ...]) -> tuple[int, ...]:
    """Shortest pattern that makes this one by repeating: (3, 3) is (3,)."""
    for length in range(1, len(pattern)):
        if pattern[:length] * (len(pattern) // length) == pattern:
            return pattern[:length]
    return pattern


def hold_pattern(
    holds: Sequence[int | None], mean: Fraction | None = None
) -> tuple[int, ...] | None:
    """Repeating pattern of holds, the longest first, or None.

    Parameters
    ----------
    holds
        Refreshes of consecutive frames; None where a frame's hold was not seen.
    mean
        Refreshes to a frame as arithmetic has it, if that is known.
    """
    agreements = {
        period: _agreement(holds, period) for period in range(1, min(LONGEST, len(holds)) + 1)
    }
    best = max(agreements.values(), default=0.0)
    if best < LEAST_AGREEMENT:
        return None
    period = next(p for p, share in agreements.items() if share >= best - WITHIN_BEST)
    turns: Counter[tuple[int, ...]] = Counter()
    for start in range(len(holds) - period + 1):
        window = [hold for hold in holds[start : start + period] if hold is not None]
        if len(window) == period:
            turns[first_turn(tuple(window))] += 1
    if not turns:
        return None
    pattern = _root(turns.most_common(1)[0][0])
    # Two stalls some frames apart look like a period of that length. Steady holds are the
    # simpler word for them, unless the pattern tells more frames than that by chance.
    steady = (Counter(hold for hold in holds if hold is not None).most_common(1)[0][0],)
    least = 2 if _is_cadence(pattern, mean) else 3
    more = explained(holds, pattern) - explained(holds, steady)
    return pattern if len(pattern) == 1 or more >= least else steady


def _is_cadence(pattern: tuple[int, ...], mean: Fraction | None) -> bool:
    """Whether a steady clip may be held so: no hold is two longer than another; the mean fits."""
    if max(pattern) - min(pattern) > 1:
        return False
    return mean is None or abs(Fraction(sum(pattern), len(pattern)) / mean - 1) < MEAN_FITS


def explained(holds: Sequence[int | None], pattern: tuple[int, ...]) -> int:
    """Holds that are as the pattern says, stretch by stretch: between them it may slip."""
    stretch = 2 * len(pattern)
    total = 0
    for first in range(0, len(holds), stretch):
        part = holds[first : first + stretch]
        total += max(
            sum(hold == pattern[(k + turn) % len(pattern)] for k, hold in enumerate(part))
            for turn in range(len(pattern))
        )
    return total
