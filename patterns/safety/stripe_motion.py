"""Stripes over time: whether they stand, drift one way, reverse, oscillate or flash.

The wave of the stripes that were found is followed through every frame: its phase says
how far they moved, in cycles, and its amplitude whether they faded.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from math import isfinite, pi

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import BoolArray, Float32Array, FloatingArray
from patterns.safety.flashes import Swings
from patterns.safety.report import StripeFinding
from patterns.safety.stripes import StripeRules, Stripes, find_stripes
from patterns.safety.viewing import FINE

LOOK_EVERY_S = Fraction(1, 5)
LEAST_BETWEEN_S = Fraction(1, 15)
CUT_SHARE = 0.1  # mean change of luminance, of peak white, that is taken for a cut
MAX_INTERVALS = 100
MANY_PAIRS = 20  # more of them than this are not worse; their area is
KEEP_S = Fraction(1, 2)  # stripes that flash are dark now and then: do not lose them at once

# Our choices, no source.
REVERSAL_CYCLES = 0.4  # a step this near to half a cycle swaps light and dark
DRIFT_CYCLES_PER_S = 0.5  # slower than this is as good as standing
JUMP_CYCLES = 0.2  # a step this far from those around it is not their motion
SWING_CYCLES = 1 / 8  # the way back that counts as a change of direction
FADE = 0.5  # of the amplitude: fading to this and back is flashing


def _wrapped(cycles: float) -> float:
    """Cycles from -1/2 to 1/2; an infinite number stays, as far from everything as can be."""
    return (cycles + 0.5) % 1 - 0.5 if isfinite(cycles) else 1.0


class _Zigzag:
    """Whether a number turns back by at least `step`: swings up and down that follow each other."""

    def __init__(self, step: float, start: float) -> None:
        self._swings, self._seen = Swings(step), 0
        self.see(start)

    def see(self, value: float) -> None:
        up, down = self._swings.see(np.array([value], np.float32))
        self._seen += bool(up[0] | down[0])

    @property
    def turns(self) -> bool:
        return self._seen > 1


@dataclass
class _Track:
    """One set of stripes while it is shown."""

    stripes: Stripes
    start_s: Fraction
    end_s: Fraction
    waves: tuple[npt.NDArray[np.complexfloating], FloatingArray]
    seen_s: Fraction = Fraction(0)
    word: str = "stationary"
    phase: float | None = None
    amplitude: float = 0.0
    cycles: float = 0.0
    reversals: int = 0
    usual: float | None = None
    jump: float = float("inf")
    jump_s: Fraction | None = None
    swing: _Zigzag = field(default_factory=lambda: _Zigzag(SWING_CYCLES, 0.0))
    fades: _Zigzag = field(default_factory=lambda: _Zigzag(FADE, 1.0))

    def see(self, time_s: Fraction, screen_fine: Float32Array) -> None:
        """Follow the wave into the next frame."""
        rows, columns = self.waves
        product = screen_fine @ columns
        value = complex(rows @ (product[:, 0] + 1j * product[:, 1]))
        if self.phase is None:
            self.amplitude = abs(value)
        strength = abs(value) / self.amplitude if self.amplitude else 0.0
        self.fades.see(strength)
        if strength < FADE / 2:
            return  # no wave, no phase
        self.seen_s = time_s
        phase = float(np.angle(value)) / (2 * pi)
        if self.phase is not None:
            self._step(time_s, _wrapped(phase - self.phase))
        self.phase = phase

    def _step(self, time_s: Fraction, step: float) -> None:
        """Add a step of so many cycles, unless it is a jump between others, such as a cut."""
        usual = step if self.usual is None else self.usual
        jumps = abs(_wrapped(step - usual)) >= JUMP_CYCLES
        if jumps and abs(_wrapped(step - self.jump)) >= JUMP_CYCLES:
            # One is a cut or the seam of a loop; two within a second are a pattern that reverses.
            self.reversals += self.jump_s is not None and time_s - self.jump_s < 1
            self.jump, self.jump_s = step, time_s
            return
        self.usual, self.jump = step, float("inf")
        self.reversals += abs(step) >= REVERSAL_CYCLES
        self.cycles += step
        self.swing.see(self.cycles)

    def confirm(self, time_s: Fraction) -> None:
        """Take it that up to `time_s` these were the stripes, and say what they did.

        Asked only when they were just seen: after a cut the wave of what follows is noise.
        """
        self.end_s = time_s
        self.word = self._motion()

    def _motion(self) -> str:
        if self.fades.turns:
            return "flashing"
        if self.reversals:
            return "reversing"
        if self.swing.turns:
            return "oscillating"
        span = float(self.end_s - self.start_s)
        drifts = span and abs(self.cycles) / span >= DRIFT_CYCLES_PER_S
        return "drifting" if drifts else "stationary"


def _waves(
    stripes: Stripes, shape: tuple[int, int]
) -> tuple[npt.NDArray[np.complexfloating], FloatingArray]:
    """Row and column factors of the wave, confined to the box round the stripes."""
    inside_rows = np.repeat(stripes.region.any(axis=1), shape[0] // stripes.region.shape[0])
    inside_columns = np.repeat(stripes.region.any(axis=0), shape[1] // stripes.region.shape[1])
    x, y = stripes.frequency
    rows = np.exp(-2j * pi * y * np.arange(shape[0])) * _taper(inside_rows)
    columns = np.exp(-2j * pi * x * np.arange(shape[1])) * _taper(inside_columns)
    both = np.stack([columns.real, columns.imag], axis=1)
    return rows, np.asarray(both, np.float32)


def _taper(inside: BoolArray) -> FloatingArray:
    # A window without sharp ends, so that the mean light does not leak into the wave.
    places = np.flatnonzero(inside)
    window = np.zeros(len(inside))
    window[places[0] : places[-1] + 1] = np.hanning(places[-1] - places[0] + 3)[1:-1]
    return window


def _same(one: Stripes, other: Stripes) -> bool:
    """Whether two findings are the same stripes: within half a cycle over the smaller of them."""
    apart = np.hypot(*np.subtract(one.frequency, other.frequency))
    pairs = max(min(one.pairs, other.pairs), 1.0)
    return bool(apart <= np.hypot(*one.frequency) * max(0.05, 0.5 / pairs))


class StripeWatch:
    """Looks for stripes a few times a second and follows those it found at every frame.

    `rules`: the criteria.
    `fine`: how many cells of the pictures lie along the side of a cell of the grid.
    """

    def __init__(self, rules: StripeRules, fine: int = FINE) -> None:
        self._fine = fine
        self._most = 0.0
        self._sample: Float32Array | None = None
        self._rules = rules
        self._next_look_s: Fraction | None = None
        self._track: _Track | None = None
        self._worst: list[StripeFinding] | None = None
        self._intervals: tuple[list[tuple[Fraction, Fraction]], ...] = ([], [])

    def see(self, time_s: Fraction, screen_fine: Float32Array) -> Stripes | None:
        """Take the next frame's luminance (cd/m2); returns stripes larger than any before."""
        if self._track is not None:
            self._track.see(time_s, screen_fine)
        if self._is_time(time_s, screen_fine):
            self._next_look_s = time_s + LOOK_EVERY_S
            found = self._look(time_s, screen_fine)
            if found is not None and found.share * min(found.pairs, MANY_PAIRS) > self._most:
                self._most = found.share * min(found.pairs, MANY_PAIRS)
                return found
        return None

    def _is_time(self, time_s: Fraction, screen_fine: Float32Array) -> bool:
        """Whether to look: now and then, and soon after a cut."""
        sample = screen_fine[4::9, 4::9].copy()
        before, self._sample = self._sample, sample
        if self._next_look_s is None or time_s >= self._next_look_s or before is None:
            return True
        cut = float(np.abs(sample - before).mean()) >= CUT_SHARE * self._rules.viewing.peak_cd_m2
        return cut and time_s >= self._next_look_s - LOOK_EVERY_S + LEAST_BETWEEN_S

    def _look(self, time_s: Fraction, screen_fine: Float32Array) -> Stripes | None:
        found = find_stripes(screen_fine, self._fine)
        track = self._track
        if track is not None:
            if found is not None and _same(found, track.stripes):
                track.confirm(time_s)
                if found.share > track.stripes.share:
                    track.stripes = found
                return found
            if found is None and time_s - track.end_s < KEEP_S:
                return None
            self._close(track)
        if found is not None:
            waves = _waves(found, (screen_fine.shape[0], screen_fine.shape[1]))
            self._track = _Track(found, time_s, time_s, waves)
            self._track.see(time_s, screen_fine)
        return found

    def _close(self, track: _Track, *, still: bool = False) -> None:
        interval = (track.start_s, max(track.end_s, track.seen_s))
        findings = self._rules.findings(track.stripes, track.word, interval, still)
        self._track = None
        for kept, finding in zip(self._intervals, findings, strict=True):
            kept.extend(finding.intervals[: MAX_INTERVALS - len(kept)])
        if self._worst is None:
            self._worst = list(findings)
        self._worst = [max(pair, key=_rank) for pair in zip(self._worst, findings, strict=True)]

    def findings(self, end_s: Fraction, *, still: bool = False) -> tuple[StripeFinding, ...]:
        """Close the account at `end_s`; returns one finding for each criterion.

        `end_s`: when the last frame goes.
        `still`: the picture is a still: it is shown for as long as anyone likes.
        """
        if self._track is not None:
            if end_s - self._track.end_s <= KEEP_S:
                self._track.confirm(end_s)
            self._close(self._track, still=still)
        if self._worst is None:
            return self._rules.findings(None, "none", (end_s, end_s), still)
        pairs = zip(self._worst, self._intervals, strict=True)
        return tuple(finding._replace(intervals=tuple(times)) for finding, times in pairs)


def _rank(finding: StripeFinding) -> tuple[bool, float]:
    return finding.exceeds, min(finding.pairs, MANY_PAIRS) * finding.share
