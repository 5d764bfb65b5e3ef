"""A simulated screen: which frame it shows at each refresh, and how much of each lights when.

Everything is linear in light, so that what a camera row collects is a weighted sum of
frames; this file makes the weights. The screen answers to a new frame as a first-order
system (exponentially), which is the usual model of a liquid-crystal cell.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from patterns.picture.arrays import FloatArray, IntArray

__all__ = ["Backlight", "Playback", "Screen", "play", "weights"]

RISE = np.log(9)  # 10 % to 90 % of an exponential takes so many time constants
SAMPLES = 48  # instants at which an exposure is summed
MEMORY = 6  # frames that still glow


@dataclass(frozen=True)
class Backlight:
    """Light behind the cells: on for `duty` of each 1/hz, from `phase` of it on; hz 0: steady."""

    hz: float = 0.0
    duty: float = 1.0
    phase: float = 0.0

    def at(self, time_s: FloatArray) -> FloatArray:
        """Light at instants, with a mean of 1."""
        if not self.hz:
            return np.ones_like(time_s)
        return np.where((time_s * self.hz - self.phase) % 1 < self.duty, 1 / self.duty, 0.0)


@dataclass(frozen=True)
class Screen:
    """A display of fixed refresh; `response_s` is its 10 % to 90 % time, `gamma` its tone curve."""

    refresh_hz: Fraction
    response_s: float
    backlight: Backlight
    gamma: float = 2.4


@dataclass(frozen=True)
class Playback:
    """What the screen was given: frame `numbers[i]` from `starts_s[i]` on.

    `dropped` lists the frames left out on purpose and `stalled` those held a frame longer.
    """

    starts_s: FloatArray
    numbers: IntArray
    dropped: tuple[int, ...]
    stalled: tuple[int, ...]


def play(
    rate: Fraction,
    refresh_hz: Fraction,
    seconds: float,
    rng: np.random.Generator,
    *,
    first: int = 0,
    drops_per_s: float = 0.0,
    stalls_per_s: float = 0.0,
    late_per_s: float = 0.0,
) -> Playback:
    """Play a clip: frame n at the first refresh at or after n / rate, with injected mistakes.

    A dropped frame leaves the one before it on; a stall delays all later frames by one
    frame's time; a late frame comes on some refreshes late, and is held that much shorter.
    """
    count = int(seconds * rate) + 3
    phase = Fraction(int(rng.integers(0, 1000)), 1000)
    chance = rng.random((2, count))
    dropped = chance[0] < drops_per_s / float(rate)
    stalled = chance[1] < stalls_per_s / float(rate)
    dropped[:2] = stalled[:2] = False
    starts: list[float] = []
    numbers: list[int] = []
    delay, shown = 0, -1
    for i in range(count):
        refresh = -((-(i + delay) * refresh_hz / rate + phase).__floor__())
        if not dropped[i]:
            if refresh == shown:  # the next frame falls on the same refresh: this one never shows
                numbers[-1] = first + i
            else:
                starts.append(float(refresh / refresh_hz))
                numbers.append(first + i)
                shown = refresh
        if stalled[i]:
            delay += 1
    if late_per_s:
        _delay(starts, rng.random((2, len(starts))), late_per_s / float(rate), float(refresh_hz))
    return Playback(
        np.array(starts),
        np.array(numbers),
        tuple(int(first + i) for i in np.nonzero(dropped)[0]),
        tuple(int(first + i) for i in np.nonzero(stalled)[0]),
    )


def _delay(starts: list[float], chance: FloatArray, share: float, refresh_hz: float) -> None:
    """Make a share of the frames late by a refresh or more, but not so late as never to come."""
    for i in range(2, len(starts) - 1):
        most = round((starts[i + 1] - starts[i]) * refresh_hz) - 1
        if chance[0, i] < share and most >= 1:
            starts[i] += (1 + int(chance[1, i] * most)) / refresh_hz


def weights(
    screen: Screen, played: Playback, begin_s: FloatArray, exposure_s: float
) -> tuple[IntArray, FloatArray]:
    """Light of each frame in exposures that begin at `begin_s` (rows,).

    Returns
    -------
    numbers, light
        (MEMORY,) frame numbers, oldest first, and (rows, MEMORY): 1 would be a frame lit
        all the time by the mean backlight.
    """
    offsets = (np.arange(SAMPLES) + 0.5) / SAMPLES * exposure_s
    time = begin_s[:, None] + offsets
    last = int(np.searchsorted(played.starts_s, time.max(), side="right"))
    first = max(0, last - MEMORY)
    starts = played.starts_s[first:last]
    constant = max(screen.response_s / RISE, 1e-9)
    since = time[..., None] - starts
    answer = np.where(since > 0, -np.expm1(-np.maximum(since, 0) / constant), 0.0)
    answer[..., 0] = 1  # what came before has long gone
    lit = answer - np.concatenate([answer[..., 1:], np.zeros_like(answer[..., :1])], axis=-1)
    light = (lit * screen.backlight.at(time)[..., None]).mean(axis=1)
    return played.numbers[first:last], light
