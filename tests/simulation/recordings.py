"""What recordings are said to show, against the truth: `python -m tests.simulation.recordings`.

Every claim of a reading is checked: refresh, pattern, evenness within the spread it states,
drops, holds within what it states, timing error, speed, motion smoothing. A case is *right* if
the main thing is told and nothing is false, *refused* if it is left open, *wrong* otherwise.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from dataclasses import dataclass, field, replace
from fractions import Fraction

import numpy as np

from patterns.reading.reading import Reading
from patterns.reading.recording import judge_recording
from patterns.timing.cadence import Display
from tests.simulation.filmed import Camera, Picture, film, fixed, smoothed, variable

__all__ = ["KINDS", "Case", "draw", "faults_of", "told"]

RATES = ("24000/1001", "24", "25", "30000/1001", "30", "50", "60000/1001", "60")
REFRESHES = ("48", "50", "60000/1001", "60", "72", "75", "90", "100", "120", "144", "165")
CAPTURES = (119.88, 120.0, 239.76, 240.0, 480.0)


@dataclass(frozen=True)
class Case:
    """A recording: what the screen did, and how it was filmed."""

    kind: str
    rate: Fraction
    refresh_hz: Fraction | None  # None: variable
    pictures: list[Picture]
    camera: Camera
    seed: int
    display: Display | None = None
    passages: int = 1
    smooth: bool = False

    def __str__(self) -> str:
        on = "variable" if self.refresh_hz is None else f"{float(self.refresh_hz):.6g}"
        c = self.camera
        given = "" if self.display is None else f", given {self.display.name}"
        return (
            f"{self.kind} {self.seed}: {float(self.rate):.6g} on {on} at {c.capture_hz:.6g}, "
            f"exposure {c.exposure:.2f}, jitter {c.jitter:.2f}, response {1000 * c.response_s:.1f} "
            f"ms, clock {c.clock_hz}, gain {c.gain:.2f}{given}"
        )


def _drawn(seed: int, salt: int) -> tuple[np.random.Generator, Fraction, Fraction, Camera]:
    rng = np.random.default_rng([seed, salt])
    rate = Fraction(str(rng.choice(RATES)))
    capture = float(rng.choice(CAPTURES))
    fitting = [r for r in REFRESHES if Fraction(r) >= rate and 2 * Fraction(r) <= capture * 1.44]
    refresh = Fraction(str(rng.choice(fitting)))
    camera = Camera(
        capture,
        0.1 + float(rng.random()) * 0.05,
        float(rng.uniform(0.1, 0.9)),
        float(rng.choice([0.0, 0.05, 0.12])),
        float(rng.choice([0.0, 0.2, 0.6])) / float(refresh),
        fast=1 + float(rng.uniform(-1e-4, 1e-4)),
    )
    return rng, rate, refresh, camera


def _plain(seed: int) -> Case:
    rng, rate, refresh, camera = _drawn(seed, 1)
    shown = fixed(float(rate), float(refresh), float(rng.uniform(3, 9)), float(rng.random()))
    return Case("plain", rate, refresh, shown, camera, seed, _given(rng, refresh))


def _given(rng: np.random.Generator, refresh: Fraction) -> Display | None:
    return Display.fixed(refresh) if rng.random() < 0.3 else None


# The cases that the issue behind this trial names, in turn: rate, refresh, capture rate.
NAMED = (
    (24, 60, 119.88), (25, 120, 120), (50, 120, 120), (60, 144, 240), (30, 144, 240),
    (25, 144, 240), (24, 165, 240), (60, 165, 240), (24, 60, 120), (30, 60, 120),
)  # fmt: skip


def _named(seed: int) -> Case:
    rng = np.random.default_rng([seed, 2])
    rate, refresh, capture = NAMED[seed % len(NAMED)]
    camera = Camera(capture, 0.1 + float(rng.random()) / capture, float(rng.uniform(0.1, 0.6)))
    shown = fixed(rate, refresh, 6, float(rng.random()))
    return Case("named", Fraction(rate), Fraction(refresh), shown, camera, seed)


def _disturbed(seed: int) -> Case:
    rng, rate, refresh, camera = _drawn(seed, 3)
    count = int(6 * rate)
    lost = frozenset(np.flatnonzero(rng.random(count) < 0.03).tolist()) - {0, 1, 2}
    late = frozenset(np.flatnonzero(rng.random(count) < 0.05).tolist()) - lost
    late = late if refresh >= 2 * rate else frozenset()
    late = late - {n + 1 for n in lost | late}
    shown = fixed(float(rate), float(refresh), 6, float(rng.random()), lost=lost, late=late)
    return Case("lost and late", rate, refresh, shown, camera, seed, _given(rng, refresh))


def _short(seed: int) -> Case:
    """A second of a player that cannot keep up: little to tell one refresh from another by."""
    rng, rate, refresh, camera = _drawn(seed, 18)
    if rng.random() < 0.4:  # as slow as a camera may be
        camera = replace(camera, capture_hz=2 * float(refresh))
    count = int(2 * rate)
    lost = frozenset(np.flatnonzero(rng.random(count) < 0.12).tolist()) - {0, 1, 2}
    late = frozenset(np.flatnonzero(rng.random(count) < 0.05).tolist()) - lost
    late = (late if refresh >= 2 * rate else frozenset()) - {n + 1 for n in lost | late}
    stalls = frozenset(np.flatnonzero(rng.random(count) < 0.04).tolist())
    shown = fixed(
        float(rate), float(refresh), float(rng.uniform(1.2, 2)), float(rng.random()),
        lost=lost, late=late, stalls=stalls,
    )  # fmt: skip
    return Case("short, lost, late, stalls", rate, refresh, shown, camera, seed)


def _late(seed: int) -> Case:
    rng = np.random.default_rng([seed, 4])
    late = frozenset(np.flatnonzero(rng.random(200) < 0.05).tolist())
    shown = fixed(24, 120, 6, float(rng.random()), late=late)
    capture = float(rng.choice([240, 480, 239.76]))
    camera = Camera(capture, 0.1 + float(rng.random()) / 240, 0.4, float(rng.choice([0, 0.1])))
    return Case("late", Fraction(24), Fraction(120), shown, camera, seed)


def _variable(seed: int) -> Case:
    rng = np.random.default_rng([seed, 5])
    rate = float(rng.choice([24, 25, 30, 50, 60]))
    jitter_s = float(rng.choice([0.0, 0.0015, 0.0025, 0.005]))
    shown = variable(rate, 6, jitter_s, rng)
    capture = float(rng.choice([120, 240, 239.76]))
    camera = Camera(capture, 0.1 + float(rng.random()) / 120, 0.4, float(rng.choice([0, 0.1])))
    given = Display(Fraction(48), Fraction(120)) if rng.random() < 0.4 else None
    return Case("variable refresh", Fraction(rate), None, shown, camera, seed, given)


def _coarse(seed: int) -> Case:
    rng, rate, refresh, camera = _drawn(seed, 6)
    camera = Camera(
        camera.capture_hz, camera.start_s, camera.exposure, 0.0, camera.response_s,
        lost=float(rng.choice([0.0, 0.01, 0.03])), clock_hz=int(rng.choice([600, 1000])),
    )  # fmt: skip
    shown = fixed(float(rate), float(refresh), 6, float(rng.random()))
    return Case("coarse clock, pictures lost", rate, refresh, shown, camera, seed)


def _smoothing(seed: int) -> Case:
    rng = np.random.default_rng([seed, 7])
    rate, refresh = [(24, 60), (30, 60), (25, 50), (24, 120), (30, 120), (24, 60)][seed % 6]
    shown = smoothed(rate, refresh, 6, 0.02, flow=bool(seed % 2))
    capture = float(rng.choice([120, 240, 240, 480]))
    capture = max(capture, 2.0 * refresh)
    camera = Camera(
        capture, 0.1 + float(rng.random()) / 120, float(rng.uniform(0.1, 0.8)),
        float(rng.choice([0, 0.1])), float(rng.choice([0.0, 0.3, 0.6])) / refresh,
    )  # fmt: skip
    return Case(
        "motion smoothing", Fraction(rate), Fraction(refresh), shown, camera, seed, smooth=True
    )


def _slow(seed: int) -> Case:
    rng = np.random.default_rng([seed, 8])
    rate, refresh = [(24, 60), (25, 50), (30, 60), (24, 120), (30, 120), (60, 120)][seed % 6]
    shown = fixed(rate, refresh, 6, float(rng.random()))
    capture = max(float(rng.choice([240, 480])), 2.0 * refresh)
    response_s = float(rng.uniform(1.2, 2.6)) / refresh
    camera = Camera(
        capture, 0.1 + float(rng.random()) / 60, float(rng.uniform(0.1, 0.6)),
        response_s=response_s,
    )  # fmt: skip
    return Case("slow panel", Fraction(rate), Fraction(refresh), shown, camera, seed)


def _renamed(seed: int) -> Case:
    rng = np.random.default_rng([seed, 10])
    rate, refresh = [(24, 60), (30, 60), (25, 50), (24, 120), (60, 60)][seed % 5]
    count = 7 * rate
    way = seed % 3
    if way == 0:  # frames swapped in pairs
        order = {n: n ^ 1 for n in range(count)}
        kind, passages = "swapped pairs", 1
    elif way == 1:  # a loop under a second
        length = int(rng.integers(rate // 2, rate))
        order = {n: n % length for n in range(count)}
        kind, passages = "short loop", count // length
    else:  # sought back once by less than a second
        at, back = int(rng.integers(2 * rate, 4 * rate)), int(rng.integers(rate // 4, rate))
        order = {n: n - (back if n >= at else 0) for n in range(count)}
        kind, passages = "sought back", 2
    shown = fixed(rate, refresh, 6, float(rng.random()), order=order)
    capture = max(float(rng.choice([120, 240, 480])), 2.0 * refresh)
    camera = Camera(capture, 0.1 + float(rng.random()) / 60, float(rng.uniform(0.1, 0.6)))
    return Case(kind, Fraction(rate), Fraction(refresh), shown, camera, seed, passages=passages)


def _hidden(seed: int) -> Case:
    rng = np.random.default_rng([seed, 11])
    rate, refresh = [(24, 60), (30, 60), (25, 50), (24, 120), (60, 60)][seed % 5]
    lost = frozenset(np.flatnonzero(rng.random(6 * rate) < 0.03).tolist()) - {0, 1, 2}
    shown = fixed(rate, refresh, 6, float(rng.random()), lost=lost)
    capture = max(float(rng.choice([120, 240])), 2.0 * refresh)
    begin = float(rng.uniform(1, 4))
    reduced = bool(seed % 2)
    camera = Camera(
        capture, 0.1 + float(rng.random()) / 60, float(rng.uniform(0.1, 0.6)),
        covered=None if reduced else (begin, begin + float(rng.uniform(0.15, 0.8))),
        lag=float(rng.uniform(0.3, 0.7)) if reduced else 0.0,
        unread=0.0 if reduced else float(rng.choice([0.0, 0.3])),
    )  # fmt: skip
    kind = "noise reduction" if reduced else "finger before the strip"
    return Case(kind, Fraction(rate), Fraction(refresh), shown, camera, seed)


def _twice(seed: int) -> Case:
    rng = np.random.default_rng([seed, 12])
    refresh = int(rng.choice([60, 120]))
    rate = int(rng.choice([24, 25, 30, 50]))
    lost = frozenset(rng.choice(np.arange(8, 4 * rate), 3, replace=False).tolist())
    lost = lost if seed % 2 else frozenset()
    shown = fixed(rate, refresh, 5, float(rng.random()), lost=lost)
    capture = 2 * refresh * float(rng.choice([1, 1, 0.999, 1.0002]))
    camera = Camera(
        capture, 0.1 + float(rng.random()) / capture, float(rng.uniform(0.05, 0.9)),
        float(rng.choice([0, 0.1])), float(rng.choice([0, 0.3])) / refresh,
    )  # fmt: skip
    given = Display.fixed(refresh) if rng.random() < 0.4 else None
    return Case(
        "at twice the refresh", Fraction(rate), Fraction(refresh), shown, camera, seed, given
    )


def _converted(seed: int) -> Case:
    rng = np.random.default_rng([seed, 13])
    holds = [(4, 2, 2, 2), (3, 3, 3, 1), (4, 4, 4, 3), (2, 1), (3, 1)][seed % 5]
    shown, k = [], 0
    for n in range(150):
        shown.append(Picture(k / 60, ((n, 1.0),)))
        k += holds[n % len(holds)]
        k += int(rng.random() < 0.02)
    rate = Fraction(60 * len(holds), sum(holds))
    capture = float(rng.choice([120, 240, 480]))
    camera = Camera(capture, 0.1 + float(rng.random()) / 60, float(rng.uniform(0.1, 0.6)))
    rate = rate if rate.denominator == 1 else Fraction(24)
    return Case("odd holds", rate, Fraction(60), shown, camera, seed)


def _clipped(seed: int) -> Case:
    rng = np.random.default_rng([seed, 14])
    rate, refresh = [(24, 60), (25, 50), (30, 60), (24, 120)][seed % 4]
    smooth = bool(rng.random() < 0.4)
    shown = fixed(rate, refresh, 5, float(rng.random()))
    if smooth:
        shown = smoothed(rate, refresh, 5, 0.02, flow=False)
    capture = max(float(rng.choice([240, 480])), 2.0 * refresh)
    camera = Camera(
        capture, 0.1 + float(rng.random()) / 60, float(rng.uniform(0.1, 0.6)),
        response_s=float(rng.uniform(0.1, 1.4)) / refresh,
        gain=float(rng.uniform(1.1, 4)), noise=0.02,
    )  # fmt: skip
    return Case(
        "white clipped", Fraction(rate), Fraction(refresh), shown, camera, seed, smooth=smooth
    )


KINDS = {
    "plain": _plain, "named": _named, "lost and late": _disturbed, "late": _late,
    "variable": _variable, "coarse": _coarse, "smoothing": _smoothing, "slow": _slow,
    "renamed": _renamed, "hidden": _hidden, "twice": _twice, "odd": _converted,
    "clipped": _clipped, "short": _short,
}  # fmt: skip


def draw(kind: str, seed: int) -> Case:
    """One case of a kind."""
    return KINDS[kind](seed)


@dataclass
class _Truth:
    """What was on screen, over the stretch that the reading judges."""

    starts_s: np.ndarray
    numbers: list[int]
    holds_s: np.ndarray
    lateness_s: np.ndarray = field(init=False)
    even: bool = True

    @classmethod
    def of(cls, case: Case) -> _Truth:
        starts = np.array([p.start_s for p in case.pictures])
        numbers = [max(p.shares, key=lambda s: s[1])[0] for p in case.pictures]
        return cls(starts, numbers, np.append(np.diff(starts), 0.0))


def _matched(reading: Reading, truth: _Truth) -> list[tuple[int, int]]:
    """Place in the holds and in the truth of each frame, which come in the same order."""
    pairs, at = [], 0
    for i, frame in enumerate(reading.holds):
        while at < len(truth.numbers) and truth.numbers[at] != frame.number:
            at += 1
        if at == len(truth.numbers):
            break
        pairs.append((i, at))
        at += 1
    return pairs


def _lateness(case: Case, truth: _Truth, places: list[int], free: bool) -> np.ndarray:
    """Onset less the frame's due time, seconds, less its mean or its line, by stretch of order."""
    numbers = np.array([truth.numbers[p] for p in places], float)
    starts = truth.starts_s[places]
    groups = np.cumsum(np.concatenate([[0], np.diff(numbers) < -1]))
    late = starts - numbers / float(case.rate)
    out = np.empty_like(late)
    for g in np.unique(groups):
        own = groups == g
        x, y = numbers[own], late[own]
        if free and len(x) > 2:
            out[own] = y - np.polyval(np.polyfit(x, y, 1), x)
        else:
            out[own] = y - y.mean()
    return out


def _pattern_fits(pattern: tuple[int, ...], holds: list[int]) -> bool:
    """Whether true holds go as the pattern says, in seven of ten."""
    hits = 0
    size = 2 * len(pattern)
    for first in range(0, len(holds), size):
        part = holds[first : first + size]
        hits += max(
            sum(h == pattern[(k + turn) % len(pattern)] for k, h in enumerate(part))
            for turn in range(len(pattern))
        )
    return hits >= 0.7 * len(holds)


def faults_of(case: Case, reading: Reading) -> list[str]:
    """Every false claim of a reading, in words."""
    truth = _Truth.of(case)
    text = " ".join([reading.verdict, *reading.explanation, *reading.warnings])
    if case.smooth:
        claimed = [reading.pattern, reading.even, reading.error]
        return [f"a cadence of a screen that makes pictures: {claimed}"] if any(claimed) else []
    faults = _refresh_faults(case, reading) + _loss_faults(case, reading, truth)
    if (reading.capture_hz or 0) > 1.01 * case.camera.capture_hz / case.camera.fast:
        faults.append(f"a camera of {reading.capture_hz}")
    pairs = _matched(reading, truth)
    if len(pairs) < 3:
        return faults
    faults += _hold_faults(case, reading, truth, pairs)
    if case.passages == 1 or case.kind == "sought back":
        faults += _error_faults(case, reading, truth, pairs)
    if len(reading.blended) > 2 or "motion smoothing" in reading.verdict.split(":")[0]:
        faults.append(f"{len(reading.blended)} blends that are none")
    if "% too" in text and case.kind != "odd holds":
        faults.append("another speed")
    return faults


def _refresh_faults(case: Case, reading: Reading) -> list[str]:
    found = reading.refresh_hz
    if found is None:
        return []
    true = case.refresh_hz
    named = {found, *reading.refresh_candidates} if reading.refresh_from == "holds" else {found}
    if true is None or all(abs(float(hz / true) - 1) > 3e-4 for hz in named):
        return [f"refresh {float(found):.6g}"]
    return []


def _loss_faults(case: Case, reading: Reading, truth: _Truth) -> list[str]:
    faults = []
    shown = set(truth.numbers)
    invented = sorted(set(reading.dropped) & shown)
    if invented:
        faults.append(f"invented drops {invented[:5]}")
    if case.passages == 1 and len(reading.holds) > 3:
        low, high = reading.holds[0].number, reading.holds[-1].number
        missing = {n for n in range(low, high) if n not in shown}
        silent = missing - set(reading.dropped) - set(reading.unseen)
        if silent and "slower than" not in reading.verdict:
            faults.append(f"silent on {sorted(silent)[:5]}")
    if reading.out_of_order and case.kind != "swapped pairs":
        faults.append(f"{len(reading.out_of_order)} out of order")
    if "no frame dropped" in reading.verdict and reading.unseen and "seen" not in reading.verdict:
        faults.append(f"no frame dropped, beside {len(reading.unseen)} unseen")
    return faults


def _hold_faults(
    case: Case, reading: Reading, truth: _Truth, pairs: list[tuple[int, int]]
) -> list[str]:
    faults = []
    step_s = 1 / case.camera.capture_hz
    within_s = reading.details.get("holds_within_ms", 1000 * step_s) / 1000
    within_s += 2 * case.camera.jitter * step_s + 1e-4 + 1 / case.camera.clock_hz
    for i, at in pairs:
        frame, hold_s = reading.holds[i], truth.holds_s[at]
        if hold_s and abs(frame.hold_s - hold_s) > within_s:
            faults.append(f"frame {frame.number} held {frame.hold_s:.4f}, truly {hold_s:.4f}")
        if frame.refreshes is not None and reading.refresh_hz and hold_s:
            true = hold_s * float(reading.refresh_hz)
            if abs(frame.refreshes - true) > 0.3:
                faults.append(
                    f"frame {frame.number}: {frame.refreshes} refreshes, truly {true:.2f}"
                )
    if reading.pattern is not None and reading.refresh_hz is not None:
        low, high = pairs[0][1], pairs[-1][1]
        counts = [round(h * float(reading.refresh_hz)) for h in truth.holds_s[low : high + 1]]
        fits = _pattern_fits(tuple(h for h in reading.pattern if h), counts)
        if not fits:
            faults.append(f"pattern {reading.pattern}")
    return faults


def _error_faults(
    case: Case, reading: Reading, truth: _Truth, pairs: list[tuple[int, int]]
) -> list[str]:
    faults = []
    step_ms = 1000 / case.camera.capture_hz
    low, high = pairs[0][1], pairs[-1][1]
    everything = list(range(low, high + 1))
    if reading.even:
        late = _lateness(case, truth, everything, free=True)
        within_ms = reading.details.get("even_within_ms", step_ms) or 0.0
        span_ms = 1000 * float(np.ptp(late))
        if span_ms > within_ms * 1.02 + 0.2:
            faults.append(f"even within {within_ms:.1f} ms, truly {span_ms:.1f}")
        if reading.unseen:
            faults.append("even though frames were not seen")
    if reading.even is False:
        span_ms = 1000 * float(np.ptp(_lateness(case, truth, everything, free=True)))
        if span_ms < 0.2 and len(everything) > truth.numbers[high] - truth.numbers[low]:
            faults.append("uneven, though even")
    if reading.error is not None and case.kind not in ("swapped pairs", "odd holds"):
        late = _lateness(case, truth, [at for _, at in pairs], free=True)
        free = float(np.sqrt((late**2).mean()))
        late = _lateness(case, truth, [at for _, at in pairs], free=False)
        kept = float(np.sqrt((late**2).mean()))
        within = max(reading.details.get("error_within_ms", 0.0), 0.5 + 0.1 * free * 1000)
        off = min(abs(reading.error.rms_ms - 1000 * rms) for rms in (free, kept))
        if off > within:
            faults.append(f"error {reading.error.rms_ms:.2f} ms, truly {1000 * free:.2f}")
    return faults


def told(case: Case, reading: Reading) -> bool:
    """Whether the main thing was told."""
    if case.smooth:
        text = " ".join([reading.verdict, *reading.explanation, *reading.warnings])
        return "motion smoothing" in text
    return bool(reading.pattern) or reading.even is not None


def main() -> None:
    """Run and print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="0-11", help="first to last")
    parser.add_argument("--kind", choices=sorted(KINDS))
    options = parser.parse_args()
    first, last = map(int, options.seeds.split("-"))
    counts: dict[str, Counter[str]] = {}
    for kind in [options.kind] if options.kind else list(KINDS):
        for seed in range(first, last + 1):
            case = draw(kind, seed)
            watched = film(case.pictures, case.rate, case.camera, seed)
            reading = judge_recording(watched, file="x", display=case.display)
            faults = faults_of(case, reading)
            verdict = "wrong" if faults else "right" if told(case, reading) else "refused"
            counts.setdefault(case.kind, Counter())[verdict] += 1
            if faults:
                sys.stderr.write(f"WRONG {case}: {'; '.join(faults[:3])}\n   {reading.verdict}\n")
            elif verdict == "refused":
                sys.stderr.write(f"refused {case}\n   {reading.verdict}\n")
    whole: Counter[str] = Counter()
    sys.stdout.write("| what | cases | right | refused | wrong |\n|---|---|---|---|---|\n")
    for kind, count in counts.items():
        whole += count
        sys.stdout.write(_row(kind, count))
    sys.stdout.write(_row("**all**", whole))


def _row(name: str, c: Counter[str]) -> str:
    return f"| {name} | {c.total()} | {c['right']} | {c['refused']} | {c['wrong']} |\n"


if __name__ == "__main__":
    main()
