"""Holds as they were measured beside what the cadence arithmetic expects of the same frames.

The timing error is the project's own: start less n/rate, less its mean. In the terms of ITU-T
P.931 (1998) holds are inter-arrival times of frames; it sets no limits for their unevenness.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from fractions import Fraction
from itertools import groupby, pairwise
from math import ceil, sqrt
from statistics import median
from typing import NamedTuple

import numpy as np

from patterns.picture.arrays import FloatArray
from patterns.timing.cadence import Cadence, frame_starts
from patterns.timing.notation import first_turn

LONGEST = 30  # frames
SLOWEST_DISPLAY_HZ = 48  # no display in use refreshes slower
LEAST_AGREEMENT = 0.75
MEAN_FITS = Fraction(1, 50)
WITHIN_BEST = 0.03  # a shorter period is preferred if it agrees nearly as often
LOOKED_AT = 240  # frames of a cadence whose period is longer
CONVERTED_TO = tuple(
    map(Fraction, ("24", "25", "30", "48", "50", "60", "30000/1001", "60000/1001"))
)
STEADY = 0.02  # drift over a passage, of a refresh, below which the clip kept its own time
MOST_PHASES = 400


class HeldFrame(NamedTuple):
    """A frame whose coming and going were both seen."""

    number: int  # frame number
    start_s: float | None  # when it came on, seconds on the file's clock; None in a photo
    hold_s: float  # how long it was held
    refreshes: int | None = None  # the same in refreshes, or pictures of the file; None: unknown
    step: int | None = None  # refresh, or picture, at which it came on; None if unknown
    start_exact: Fraction | None = None  # `start_s`, where the file's clock gives it exactly
    passage: int = 0  # which stretch without a seek it belongs to, from 0
    within_s: float = 0.0  # `hold_s` is right to this, where it was measured


Frames = Sequence[HeldFrame]


def number_steps(frames: Frames) -> Counter[int]:
    """By how much numbers go on from frame to frame, and how often; {1: 1} for a lone frame."""
    pairs = ((a, b) for a, b in pairwise(frames) if a.passage == b.passage)
    return Counter(b.number - a.number for a, b in pairs) or Counter({1: 1})


def holds_in_order(frames: Frames, lost: Collection[int] | None = None) -> list[int | None]:
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


def drops_beyond(frames: Frames, dropped: int, rate: Fraction, refresh_hz: Fraction | None) -> int:
    """Drops that the cadence does not make.

    A display (or timeline) slower than the clip must lose frames: there it is the refreshes
    without a new frame that count.
    """
    if refresh_hz is None or refresh_hz >= rate:
        return dropped
    return sum(frame.refreshes - 1 for frame in frames if frame.refreshes)


def too_long(frames: Frames, rate: Fraction, refresh_hz: Fraction | None) -> tuple[int, ...]:
    """Numbers of frames held longer than the cadence ever holds one."""
    if refresh_hz is not None:
        most = ceil(refresh_hz / rate)
        return tuple(f.number for f in frames if f.refreshes is not None and f.refreshes > most)
    longest_s = 1 / float(rate) + 1 / SLOWEST_DISPLAY_HZ
    return tuple(f.number for f in frames if f.hold_s - f.within_s > longest_s)


def _agreement(holds: Sequence[int | None], period: int) -> float:
    later = zip(holds, holds[period:], strict=False)
    pairs = [(a, b) for a, b in later if a is not None and b is not None]
    # two whole periods must have been seen, so that chance does not pass for a pattern
    if len(pairs) < max(period, 3):
        return 0.0
    return sum(a == b for a, b in pairs) / len(pairs)


def hold_pattern(
    holds: Sequence[int | None], mean: Fraction | None = None
) -> tuple[int, ...] | None:
    """Repeating pattern of holds (None where one was not seen), the longest first, or None.

    `mean`: refreshes to a frame as arithmetic has it, if that is known.
    """
    agreements: dict[int, float] = {}
    for period in range(1, min(LONGEST, len(holds)) + 1):
        agreements[period] = _agreement(holds, period)
        if agreements[period] == 1:
            break  # none that is longer is better
    best = max(agreements.values(), default=0.0)
    if best < LEAST_AGREEMENT:
        return None
    period = next(p for p, share in agreements.items() if share >= best - WITHIN_BEST)
    windows = (holds[start : start + period] for start in range(len(holds) - period + 1))
    seen = (tuple(hold for hold in window if hold is not None) for window in windows)
    turns = Counter(first_turn(window) for window in seen if len(window) == period)
    if not turns:
        return None
    turn = turns.most_common(1)[0][0]
    # the shortest that makes it by repeating: (3, 3) is (3,)
    roots = (turn[:n] for n in range(1, period + 1))
    pattern = next(root for root in roots if root * (period // len(root)) == turn)
    # Two stalls some frames apart look like a period of that length. Steady holds are the
    # simpler word for them, unless the pattern explains more frames than that by chance.
    steady = (Counter(hold for hold in holds if hold is not None).most_common(1)[0][0],)
    # and a steady clip may be held so if no hold is two longer than another and the mean fits.
    off = 0 if mean is None else abs(Fraction(sum(pattern), len(pattern)) / mean - 1)
    least = 2 if max(pattern) - min(pattern) <= 1 and off < MEAN_FITS else 3
    more = explained(holds, pattern) - explained(holds, steady)
    return pattern if len(pattern) == 1 or more >= least else steady


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


class TimingError(NamedTuple):
    """Unevenness of when frames came on, milliseconds; `frames` is how many it is made of."""

    rms_ms: float
    span_ms: float
    frames: int


class Expected(NamedTuple):
    """What a clip does on a display by arithmetic."""

    cadence: Cadence  # rate and refresh
    pattern: tuple[int, ...] | None  # repeating holds, slow slips left out; None if none repeats
    # of the ideal holds of the frames that were measured, or of the cadence; None if none was
    error: TimingError | None


def _passages(frames: Frames) -> list[list[HeldFrame]]:
    ordered = sorted(frames, key=lambda frame: frame.passage)
    return [list(own) for _, own in groupby(ordered, key=lambda frame: frame.passage)]


def timing_error(
    frames: Frames, rate: Fraction, refresh_hz: Fraction | None = None
) -> TimingError | None:
    """Timing error of measured frames of a clip at `rate`; None for fewer than three.

    With the display's `refresh_hz` times are counted in its refreshes, and so free of the camera's
    jitter. A drift that stays below one refresh is part of the error; a greater one is a clip
    played at another speed, or a camera's wrong clock, and is taken out.
    """
    if refresh_hz is not None:
        frames = [frame for frame in frames if frame.step is not None]
    if len(frames) < 3:
        return None
    rms2, spans = 0.0, []
    for own in _passages(frames):
        numbers = np.array([frame.number for frame in own], float)
        if refresh_hz is not None:
            starts = np.array([frame.step for frame in own], float) / float(refresh_hz)
        else:
            starts = np.array([frame.start_s for frame in own], float)
        late = starts - numbers / float(rate)
        kept = refresh_hz is not None and _kept_time(late * float(refresh_hz))
        drifts = not kept and len(numbers) > 2 and np.ptp(numbers) > 0
        line = np.polyfit(numbers, late, 1) if drifts else [late.mean()]
        error_s = late - np.polyval(line, numbers)
        rms2 += float((error_s**2).sum())
        spans.append(float(np.ptp(error_s)))
    return TimingError(1000 * sqrt(rms2 / len(frames)), 1000 * max(spans), len(frames))


def _kept_time(late: FloatArray) -> bool:
    """Whether the lateness, in refreshes, does not drift: at all, or from half to half."""
    half = len(late) // 2
    drift = abs(median(late[half:].tolist()) - median(late[:half].tolist())) if half else 0.0
    return bool(np.ptp(late) <= 1 + STEADY) or drift <= 0.5 + STEADY


def _best_phase(lows: FloatArray) -> float:
    """Phase and shift psi for which ceil(n R/F - psi) is the refresh k of most frames.

    `lows`: n R/F - k of each; it comes on there if that is <= psi < that + 1.
    """
    candidates = np.array(sorted(set(np.round(lows, 9).tolist())))
    if len(candidates) > MOST_PHASES:
        candidates = candidates[np.linspace(0, len(candidates) - 1, MOST_PHASES).astype(int)]
    tried = candidates[:, None]
    inside = (lows[None] <= tried + 1e-7) & (tried < lows[None] + 1 - 1e-7)
    return float(candidates[int(inside.sum(axis=1).argmax())]) + 1e-7


def _ideal(frames: Frames, ratio: Fraction) -> list[HeldFrame]:
    """Return the same frames at the refreshes that the arithmetic gives them."""
    made = []
    for own in _passages(frames):
        due = [frame.number * ratio for frame in own]
        lows = [float(n - (f.step or 0)) for n, f in zip(due, own, strict=True)]
        psi = _best_phase(np.array(lows, np.float64))
        steps = np.ceil(np.array([float(n) for n in due]) - psi).astype(int)
        made += [f._replace(step=int(step)) for f, step in zip(own, steps, strict=True)]
    return made


def expected(cadence: Cadence, frames: Frames | None = None) -> Expected:
    """What the cadence expects of these frames, or at large where none are given.

    Frames without a known refresh are left out.
    """
    pattern = arithmetic_pattern(cadence)
    if frames is None:
        rms_s, span_s = cadence.timing_error_rms_s, cadence.timing_error_span_s
        return Expected(cadence, pattern, TimingError(1000 * rms_s, float(1000 * span_s), 0))
    ideal = _ideal([frame for frame in frames if frame.step is not None], cadence.ratio)
    return Expected(cadence, pattern, timing_error(ideal, cadence.rate, cadence.refresh_hz))
