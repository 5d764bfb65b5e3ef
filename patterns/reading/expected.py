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
from dataclasses import dataclass
from fractions import Fraction
from math import sqrt

import numpy as np

from patterns.picture.arrays import FloatArray
from patterns.reading.holds import HeldFrame
from patterns.timing.cadence import Cadence
from patterns.timing.notation import first_turn

__all__ = ["Expected", "TimingError", "best_phase", "expected", "timing_error"]

LONGEST_PATTERN = 30
STEADY = 0.02  # drift over a passage, of a refresh, below which the clip kept its own time


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
        Repeating holds, the longest first; None if they repeat only after 30 frames.
    error
        Timing error of the ideal holds of the frames that were measured; None if none was.
    """

    cadence: Cadence
    pattern: tuple[int, ...] | None
    error: TimingError | None


def _errors(numbers: FloatArray, starts_s: FloatArray, rate: float, own_time: bool) -> FloatArray:
    late = starts_s - numbers / rate
    if own_time or len(numbers) < 3 or np.ptp(numbers) == 0:
        return np.asarray(late - late.mean(), np.float64)
    return np.asarray(late - np.polyval(np.polyfit(numbers, late, 1), numbers), np.float64)


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
    rms2 = 0.0
    spans = []
    for passage in sorted({frame.passage for frame in frames}):
        own = [frame for frame in frames if frame.passage == passage]
        numbers = np.array([frame.number for frame in own], float)
        if refresh_hz is not None:
            starts = np.array([frame.step for frame in own], float) / float(refresh_hz)
        else:
            starts = np.array([frame.start_s for frame in own], float)
        late = starts - numbers / float(rate)
        kept = refresh_hz is not None and bool(
            np.ptp(late) * float(refresh_hz) <= 1 + STEADY or _bounded(late, float(refresh_hz))
        )
        error_s = _errors(numbers, starts, float(rate), kept)
        rms2 += float((error_s**2).sum())
        spans.append(float(np.ptp(error_s)))
    return TimingError(1000 * sqrt(rms2 / len(frames)), 1000 * max(spans), len(frames))


def _bounded(late_s: FloatArray, refresh_hz: float) -> bool:
    """Whether the lateness does not drift: its halves lie within a refresh of each other."""
    half = len(late_s) // 2
    drift = abs(float(np.median(late_s[half:]) - np.median(late_s[:half])))
    return drift * refresh_hz <= 0.5 + STEADY


def best_phase(numbers: Sequence[int], steps: Sequence[int], ratio: Fraction) -> Fraction:
    """Phase and shift psi for which ceil(n R/F - psi) is the refresh of most frames.

    Frame n comes on at refresh k if n R/F - k <= psi < n R/F - k + 1.
    """
    lows = np.array([float(n * ratio - k) for n, k in zip(numbers, steps, strict=True)], np.float64)
    candidates = np.unique(np.round(lows, 9))
    if len(candidates) > 400:
        candidates = candidates[np.linspace(0, len(candidates) - 1, 400).astype(int)]
    inside = (lows[None] <= candidates[:, None] + 1e-7) & (
        candidates[:, None] < lows[None] + 1 - 1e-7
    )
    return Fraction(float(candidates[int(inside.sum(axis=1).argmax())]) + 1e-7)


def _ideal(frames: Sequence[HeldFrame], ratio: Fraction) -> list[HeldFrame]:
    """Return the same frames at the refreshes that the arithmetic gives them."""
    made = []
    for passage in sorted({frame.passage for frame in frames}):
        own = [frame for frame in frames if frame.passage == passage and frame.step is not None]
        numbers = [frame.number for frame in own]
        psi = float(best_phase(numbers, [frame.step or 0 for frame in own], ratio))
        lows = np.array([float(n * ratio) for n in numbers])
        steps = np.ceil(lows - psi).astype(int)
        made += [
            HeldFrame(frame.number, None, 0.0, None, int(step), None, passage)
            for frame, step in zip(own, steps.tolist(), strict=True)
        ]
    return made


def expected(cadence: Cadence, frames: Sequence[HeldFrame]) -> Expected:
    """What the cadence expects of these frames; those without a known refresh are left out."""
    pattern = None
    if cadence.period_frames <= LONGEST_PATTERN:
        pattern = first_turn(cadence.holds)
    stepped = [frame for frame in frames if frame.step is not None]
    error = None
    if len(stepped) >= 3:
        ideal = _ideal(stepped, cadence.ratio)
        error = timing_error(ideal, cadence.rate, cadence.refresh_hz)
    return Expected(cadence, pattern, error)
