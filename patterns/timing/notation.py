"""How cadences, counts, intervals and lists are written, everywhere: 3:2, 3:2:3:2:2, or even 2.

A cyclic pattern has no first frame; it is written from the turn that has its longest holds
first, so that the same cadence is always the same text.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

from patterns.timing.rates import format_decimal

LONGEST_WRITTEN = 8  # holds; a longer pattern is not taken in at a glance
LISTED = 12  # numbers; the others are counted


def first_turn(pattern: tuple[int, ...]) -> tuple[int, ...]:
    """Turn of a cyclic pattern by which it is named: the one with the longest holds first."""
    return max(pattern[i:] + pattern[:i] for i in range(len(pattern)))


def pattern_text(pattern: Sequence[int]) -> str:
    """Write one period of holds, in refreshes: '3:2', 'even 2', '2 (3 in 1 of 12)'.

    Above eight frames the usual hold is given, with the others and how many there are.
    """
    if len(set(pattern)) == 1:
        return f"even {pattern[0]}"
    if len(pattern) <= LONGEST_WRITTEN:
        return ":".join(str(hold) for hold in first_turn(tuple(pattern)))
    counts = Counter(pattern)
    usual = max(counts, key=lambda hold: (counts[hold], hold))
    others = (hold for hold in sorted(counts, reverse=True) if hold != usual)
    odd = ", ".join(f"{hold} in {counts[hold]} of {len(pattern)}" for hold in others)
    return f"{usual} ({odd})"


def plural(count: int, one: str, many: str = "") -> str:
    """'1 frame', '2 frames'; '1 refresh', '2 refreshes' where the plural is given."""
    return f"{count} {one if count == 1 else many or f'{one}s'}"


def counted(count: int, noun: str) -> str:
    """'no frame', '1 frame', '2 frames'."""
    return plural(count, noun) if count else f"no {noun}"


def joined(parts: Sequence[str], word: str = "and") -> str:
    """'60', '60 and 90', '60, 90 and 120'."""
    return f" {word} ".join(filter(None, [", ".join(parts[:-1]), *parts[-1:]]))


def number_list(numbers: Sequence[int]) -> str:
    """'12, 13, 40 and 7 more'."""
    shown = ", ".join(map(str, numbers[:LISTED]))
    more = len(numbers) - LISTED
    return f"{shown} and {more} more" if more > 0 else shown


def interval_text(value_s: Fraction) -> str:
    """'8.3 s', '200 s', '17 min', '28 h', '12 days', '3 years', '100 years or more'."""
    if value_s < 600:
        return f"{format_decimal(value_s, 1 if value_s < 100 else 0)} s"
    for unit_s, name in ((60, "min"), (3600, "h"), (86_400, "days")):
        if value_s < 100 * unit_s:
            return f"{float(value_s / unit_s):.0f} {name}"
    years = float(value_s / 31_557_600)
    return f"{years:.0f} years" if years < 100 else "100 years or more"


def per_second(value_hz: Fraction) -> str:
    """'once in 8.3 s', 'twice a second', '12.5 times a second'."""
    if value_hz < 1:
        return f"once in {interval_text(1 / value_hz)}"
    number = format_decimal(value_hz, 1)
    return {"1": "once", "2": "twice"}.get(number, f"{number} times") + " a second"
