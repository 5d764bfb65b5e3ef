"""Counts and losses in words, the same for every kind of reading."""

from __future__ import annotations

from fractions import Fraction

from patterns.reading.reading import Reading
from patterns.timing.rates import format_decimal

__all__ = ["counted", "loss_words", "number_list", "plural"]

LISTED = 12


def plural(count: int, one: str, many: str) -> str:
    """'1 refresh', '2 refreshes'."""
    return f"{count} {one if count == 1 else many}"


def counted(count: int, noun: str) -> str:
    """'no frame', '1 frame', '2 frames'."""
    return f"no {noun}" if count == 0 else plural(count, noun, f"{noun}s")


def number_list(numbers: tuple[int, ...]) -> str:
    """'12, 13, 40 and 7 more'."""
    shown = ", ".join(str(number) for number in numbers[:LISTED])
    more = len(numbers) - LISTED
    return f"{shown} and {more} more" if more > 0 else shown


def loss_words(reading: Reading) -> str:
    """Say what was lost: '2 frames dropped in 9.8 s'; what the cadence loses is told apart."""
    seconds = f"{reading.seconds:.1f} s"
    must = reading.expected.cadence.dropped_per_second if reading.expected else Fraction(0)
    if must and reading.dropped:
        each = format_decimal(must, 1)
        beyond = (
            "none beyond that seen"
            if reading.unseen
            else "none beyond that"
            if not reading.drops_beyond
            else f"{reading.drops_beyond} beyond it"
        )
        return f"{each} frames a second must be lost, {beyond} in {seconds}"
    text = f"{counted(len(reading.dropped), 'frame')} dropped in {seconds}"
    if reading.kind == "recording" and reading.unseen:
        text += f" as far as was seen ({plural(len(reading.unseen), 'frame', 'frames')} unseen)"
    # a frame held on for a dropped one is told by the drop
    lost = set(reading.dropped)
    stalls = [number for number in reading.repeated if number + 1 not in lost]
    if stalls and reading.kind == "recording":
        text += f", {len(stalls)} held too long"
    if reading.out_of_order:
        text += f", {counted(len(reading.out_of_order), 'frame')} out of order"
    return text
