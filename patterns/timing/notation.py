"""How a cadence is written, everywhere: 3:2, 3:2:3:2:2, or 2 where it is even.

A cyclic pattern has no first frame; it is written from the turn that has its longest holds
first, so that the same cadence is always the same text.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

__all__ = ["first_turn", "pattern_text"]

LONGEST_WRITTEN = 8  # holds; a longer pattern is not taken in at a glance


def first_turn(pattern: tuple[int, ...]) -> tuple[int, ...]:
    """Turn of a cyclic pattern by which it is named: the one with the longest holds first."""
    return max(pattern[i:] + pattern[:i] for i in range(len(pattern)))


def pattern_text(pattern: Sequence[int]) -> str:
    """Write one period of holds, in refreshes: '3:2', '2', '2 (3 in 1 of 12)'.

    Above eight frames the usual hold is given, with the others and how many there are.
    """
    if len(pattern) <= LONGEST_WRITTEN:
        return ":".join(str(hold) for hold in first_turn(tuple(pattern)))
    counts = Counter(pattern)
    usual = max(counts, key=lambda hold: (counts[hold], hold))
    others = [
        f"{hold} in {counts[hold]} of {len(pattern)}"
        for hold in sorted(counts, reverse=True)
        if hold != usual
    ]
    return f"{usual} ({', '.join(others)})" if others else str(usual)
