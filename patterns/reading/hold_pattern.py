"""The pattern in which holds repeat, measured and by arithmetic: 3, 2 of 24 on 60 Hz.

The shortest period is taken at which holds agree with those one period later, as far as
dropped frames and slow slips let them; a pattern counts only if two periods were seen.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from fractions import Fraction
from itertools import pairwise

from patterns.reading.holds import HeldFrame
from patterns.timing.cadence import Cadence, frame_starts
from patterns.timing.notation import first_turn

LONGEST = 30  # frames
LEAST_AGREEMENT = 0.75
MEAN_FITS = Fraction(1, 50)
WITHIN_BEST = 0.03  # a shorter period is preferred if it agrees nearly as often
LOOKED_AT = 240  # frames of a cadence whose period is longer
CONVERTED_TO = tuple(
    Fraction(hz) for hz in (24, 25, 30, 48, 50, 60, Fraction(30000, 1001), Fraction(60000, 1001))
)


def holds_in_order(
    frames: Sequence[HeldFrame], lost: Collection[int] | None = None
) -> list[int | None]:
    """Refreshes of the frames in their order, to look for a pattern in.

    Between two passages stands None. If the numbers that were `lost` are given, 0 stands for
    each of them between two frames, and None for each other number there.
    """
    row: list[int | None] = []
    for before, frame in pairwise([None, *frames]):
        assert frame is not None
        if before is not None and before.passage != frame.passage:
            row.append(None)
        elif before is not None and lost is not None:
            row += [0 if n in lost else None for n in range(before.number + 1, frame.number)]
        row.append(frame.refreshes)
    return row


def drops_beyond(
    frames: Sequence[HeldFrame], dropped: int, rate: Fraction, refresh_hz: Fraction | None
) -> int:
    """Drops that the cadence does not make.

    A display (or timeline) slower than the clip must lose frames: there it is the refreshes
    without a new frame that count.
    """
    if refresh_hz is None or refresh_hz >= rate:
        return dropped
    return sum(frame.refreshes - 1 for frame in frames if frame.refreshes)


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
    lengths = range(1, len(pattern) + 1)
    return next(pattern[:n] for n in lengths if pattern[:n] * (len(pattern) // n) == pattern)


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
    periods = range(1, min(LONGEST, len(holds)) + 1)
    agreements = {period: _agreement(holds, period) for period in periods}
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
    # simpler word for them, unless the pattern explains more frames than that by chance.
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


def arithmetic_pattern(found: Cadence) -> tuple[int, ...] | None:
    """Pattern of a cadence as measured ones are found: slow slips do not count; None if none."""
    if found.period_frames <= LONGEST:
        return first_turn(found.holds)
    return hold_pattern(found.first_holds(LOOKED_AT))


def converted_by(rate: Fraction, refresh_hz: Fraction, pattern: tuple[int, ...]) -> Fraction | None:
    """Rate to which a player converted, by repeats or drops, if that makes this pattern.

    Frame n comes on with converted frame ceil(n T/F), which the display shows at refresh
    ceil(k R/T).
    """
    for timeline in CONVERTED_TO:
        if timeline in (rate, refresh_hz):
            continue
        period = (timeline / rate).denominator * (refresh_hz / timeline).denominator
        if period > LONGEST or period % len(pattern):
            continue
        into = list(frame_starts(rate, timeline, period + 1))
        onto = list(frame_starts(timeline, refresh_hz, into[-1] + 1))
        holds = tuple(onto[b] - onto[a] for a, b in pairwise(into))
        if first_turn(holds) == first_turn(pattern * (period // len(pattern))):
            return timeline
    return None
