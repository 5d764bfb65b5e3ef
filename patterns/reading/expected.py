"""What the cadence arithmetic expects of the very frames that were measured.

The holds of a clip on a display are known but for the phase between the two, which only
turns the pattern. So the phase is taken that agrees with most frames' refreshes; the
timing error of those ideal holds is computed over the same frames in the same way as
the measured one, and the two can be compared over any length.

The error is the project's own: start less n/rate, less its mean. In the terms of ITU-T
P.931 (1998), which measures frame rate by the inter-arrival time of frames, the holds
are inter-arrival times; P.931 sets no limits for their unevenness.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby
from math import sqrt

import numpy as np

from patterns.picture.arrays import FloatArray
from patterns.reading.hold_pattern import arithmetic_pattern
from patterns.reading.holds import HeldFrame
from patterns.timing.cadence import Cadence

STEADY = 0.02  # drift over a passage, of a refresh, below which the clip kept its own time
MOST_PHASES = 400


@dataclass(frozen=True)
class TimingError:
    """Unevenness of when frames came on, milliseconds; `frames` is how many it is made of."""

    rms_ms: float
    span_ms: float
    frames: int


@dataclass(frozen=True)
class Expected:
    """What a clip does on a display by arithmetic.

    Attributes
    ----------
    cadence
        Rate and refresh.
    pattern
        Repeating holds, the longest first, slow slips left out; None if none repeats.
    error
        Timing error of the ideal holds of the frames that were measured, or of the cadence;
        None if none was.
    """

    cadence: Cadence
    pattern: tuple[int, ...] | None
    error: TimingError | None


def _passages(frames: Sequence[HeldFrame]) -> list[list[HeldFrame]]:
    ordered = sorted(frames, key=lambda frame: frame.passage)
    return [list(own) for _, own in groupby(ordered, key=lambda frame: frame.passage)]


def _errors(numbers: FloatArray, late_s: FloatArray, own_time: bool) -> FloatArray:
    """Lateness less its mean; less its line as well where the clip did not keep its time."""
    if own_time or len(numbers) < 3 or np.ptp(numbers) == 0:
        return np.asarray(late_s - late_s.mean(), np.float64)
    return np.asarray(late_s - np.polyval(np.polyfit(numbers, late_s, 1), numbers), np.float64)


def timing_error(
    frames: Sequence[HeldFrame], rate: Fraction, refresh_hz: Fraction | None = None
) -> TimingError | None:
    """Timing error of measured frames; None for fewer than three.

    Parameters
    ----------
    frames
        Measured frames.
    rate
        The clip's frames a second.
    refresh_hz
        The display's refresh: then times are counted in its refreshes, and so free of the
        camera's jitter. A drift that stays below one refresh is part of the error; a
        greater one is a clip played at another speed, or a camera's wrong clock, and is
        taken out.
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
        error_s = _errors(numbers, late, kept)
        rms2 += float((error_s**2).sum())
        spans.append(float(np.ptp(error_s)))
    return TimingError(1000 * sqrt(rms2 / len(frames)), 1000 * max(spans), len(frames))


def _kept_time(late: FloatArray) -> bool:
    """Whether the lateness, in refreshes, does not drift: at all, or from half to half."""
    half = len(late) // 2
    drift = abs(float(np.median(late[half:]) - np.median(late[:half]))) if half else 0.0
    return bool(np.ptp(late) <= 1 + STEADY) or drift <= 0.5 + STEADY


def best_phase(numbers: Sequence[int], steps: Sequence[int], ratio: Fraction) -> Fraction:
    """Phase and shift psi for which ceil(n R/F - psi) is the refresh of most frames.

    Frame n comes on at refresh k if n R/F - k <= psi < n R/F - k + 1.
    """
    lows = np.array([float(n * ratio - k) for n, k in zip(numbers, steps, strict=True)], np.float64)
    candidates = np.unique(np.round(lows, 9))
    if len(candidates) > MOST_PHASES:
        candidates = candidates[np.linspace(0, len(candidates) - 1, MOST_PHASES).astype(int)]
    inside = (lows[None] <= candidates[:, None] + 1e-7) & (
        candidates[:, None] < lows[None] + 1 - 1e-7
    )
    return Fraction(float(candidates[int(inside.sum(axis=1).argmax())]) + 1e-7)


def _ideal(frames: Sequence[HeldFrame], ratio: Fraction) -> list[HeldFrame]:
    """Return the same frames at the refreshes that the arithmetic gives them."""
    made = []
    for own in _passages(frames):
        numbers = [frame.number for frame in own]
        psi = float(best_phase(numbers, [frame.step or 0 for frame in own], ratio))
        steps = np.ceil(np.array([float(n * ratio) for n in numbers]) - psi).astype(int)
        made += [replace(f, step=int(step)) for f, step in zip(own, steps, strict=True)]
    return made


def expected(cadence: Cadence, frames: Sequence[HeldFrame] | None = None) -> Expected:
    """What the cadence expects of these frames, or at large where none are given.

    Frames without a known refresh are left out.
    """
    pattern = arithmetic_pattern(cadence)
    if frames is None:
        rms_s, span_s = cadence.timing_error_rms_s, cadence.timing_error_span_s
        return Expected(cadence, pattern, TimingError(1000 * rms_s, float(1000 * span_s), 0))
    ideal = _ideal([frame for frame in frames if frame.step is not None], cadence.ratio)
    return Expected(cadence, pattern, timing_error(ideal, cadence.rate, cadence.refresh_hz))
