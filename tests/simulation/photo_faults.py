"""Photos of screens, exposures and cameras as they go wrong, each with what truly happened.

A case is drawn by its name and a seed. The clip plays on a screen of fixed refresh, at its
own speed or another, through drops, stalls, a pause or the loop's seam; the camera collects
light in one exposure or several; its tone curve, vignetting and reflections are of many kinds.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from math import floor
from typing import Any

import numpy as np
from scipy import ndimage

from patterns.picture.arrays import Float32Array, FloatArray, UInt8Array
from tests.simulation.camera import Sensor, Veil
from tests.simulation.film import stage
from tests.simulation.photo import expose, frame_shares, photo_case
from tests.simulation.screen import Playback

__all__ = ["Photo", "Shown", "cases", "photograph"]

BEGIN_S = 0.5  # of the playback, when the exposure begins
F = Fraction
SLOW, FAST = (F(24000, 1001), F(24), F(25), F(30000, 1001), F(30)), (
    F(48), F(50), F(60000, 1001), F(60), F(120),
)  # fmt: skip
TONES = ("s-curve", "logistic", "shoulder", "lifted", "local", "local strong")
STRAYS = ("vignette", "flat", "spot", "window")


@dataclass(frozen=True)
class Photo:
    """A case: what is played, how it goes wrong, and how it is photographed.

    `parts` are (begin, length) of the exposures, seconds after `BEGIN_S`. `told_s` is the
    exposure that the reader is told, None if it is not. Drops, stalls and the pause are
    numbers of frames (counted from the clip's start) and seconds.
    """

    group: str
    name: str
    rate: Fraction
    refresh_hz: int
    seed: int
    parts: tuple[tuple[float, float], ...] = ((0.0, 1.0),)
    told_s: float | None = 1.0
    display_told: bool = True
    dropped: tuple[int, ...] = ()
    late: tuple[int, ...] = ()
    pause: tuple[int, float] | None = None
    speed: float = 1.0
    clip_frames: int = 65536
    first: int = 0
    tone: str = "s-curve"
    stray: str = "usual"
    level: str = "moderate"


@dataclass(frozen=True)
class Shown:
    """What truly happened in an exposure.

    Attributes
    ----------
    light
        Share of the exposure's light that each frame gave.
    holds
        Frame to the refreshes of each of its showings that lie wholly inside one exposure.
    lost
        Frames that were due between the first and the last that was shown, and were not.
    cut
        Frames that an exposure's begin or end cut.
    """

    light: dict[int, float]
    holds: dict[int, list[int]] = field(default_factory=dict)
    lost: tuple[int, ...] = ()
    cut: tuple[int, ...] = ()


def _playback(case: Photo, rng: np.random.Generator) -> tuple[list[tuple[int, int]], list[int]]:
    """(number, first refresh) of what is shown, one after the other, and numbers left out."""
    refresh, phase = F(case.refresh_hz), F(int(rng.integers(0, 1000)), 1000)
    speed = F(case.speed).limit_denominator(100)
    shown: list[tuple[int, int]] = []
    lost, delay = [], F(0)
    seconds = BEGIN_S + case.parts[-1][0] + sum(case.parts[-1]) + 0.5
    for i in range(int(seconds * float(case.rate * speed)) + 8):
        number = case.first + i % case.clip_frames
        at = floor((F(i) / case.rate / speed + delay) * refresh + phase) + 1
        if case.pause and i == case.pause[0]:
            delay += F(case.pause[1]).limit_denominator(1000)
        if i in case.late:
            at += 1
        if i in case.dropped:
            lost.append(number)
        elif shown and shown[-1][1] >= at:
            lost.append(shown[-1][0])
            shown[-1] = (number, shown[-1][1])
        else:
            shown.append((number, at))
    return shown, lost


def _truth(case: Photo, shown: list[tuple[int, int]], lost: list[int]) -> Shown:
    """Judge the playback by what was lit while the exposures ran."""
    holds: dict[int, list[int]] = {}
    cut, first, last = [], None, 0
    for (number, on), (_, off) in pairwise(shown):
        start_s, end_s = on / case.refresh_hz, off / case.refresh_hz
        inside = touched = False
        for begin, length in case.parts:
            begin_s = BEGIN_S + begin
            touched |= end_s > begin_s and start_s < begin_s + length
            inside |= start_s >= begin_s - 1e-9 and end_s <= begin_s + length + 1e-9
        if touched:
            first = number if first is None else first
            last = number
            if inside:
                holds.setdefault(number, []).append(off - on)
            else:
                cut.append(number)
    assert first is not None
    between = range(first + 1, last) if last > first else ()
    return Shown({}, holds, tuple(n for n in lost if n in between), tuple(cut))


def _tone(kind: str) -> Any:
    """What a camera makes of its signal beside the S-curve."""

    def local(signal: Float32Array, keep: float) -> Float32Array:
        light = np.maximum(signal, 1e-3) ** 2.2
        base = ndimage.gaussian_filter(np.log(light), signal.shape[1] / 25)
        out = np.exp(np.log(light) - base + keep * base)
        out *= signal.max() ** 2.2 / np.quantile(out, 0.9995)  # as bright as it was
        return np.asarray(np.clip(out, 0, 1) ** (1 / 2.2), np.float32)

    kinds = {
        "s-curve": lambda s: s,
        "logistic": lambda s: (_logistic(s) - _logistic(0)) / (_logistic(1) - _logistic(0)),
        "shoulder": lambda s: s * (1 + s / 0.85**2 / 1.6) / (1 + s) * 1.05,
        "lifted": lambda s: 0.03 + 0.97 * s**0.85,
        "local": lambda s: local(s, 0.8),
        "local strong": lambda s: local(s, 0.5),
    }
    return kinds[kind]


def _logistic(signal: Any) -> Any:
    return 1 / (1 + np.exp(-5 * (signal - 0.45)))


def _stray(kind: str, usual: Veil, rng: np.random.Generator) -> Veil:
    kinds = {
        "usual": usual,
        "window": usual,
        "vignette": replace(usual, darkest=0.35),
        "flat": replace(usual, flat=float(rng.uniform(0.05, 0.12))),
        "spot": replace(usual, spot=float(rng.uniform(0.1, 0.25))),
    }
    return kinds[kind]


def photograph(case: Photo) -> tuple[UInt8Array, Shown]:
    """Take the photo."""
    rng = np.random.default_rng([case.seed, sum(map(ord, case.name)), 5])
    drawn = photo_case(case.level, case.rate, case.refresh_hz, case.seed)
    veil = _stray(case.stray, drawn.veil, rng)
    gain = drawn.sensor.gain * (1 + drawn.veil.flat + drawn.veil.spot) / (1 + veil.flat + veil.spot)
    sensor = Sensor(gain, drawn.sensor.shot, drawn.sensor.read, drawn.sensor.contrast)
    scene = stage(replace(drawn, veil=veil, sensor=sensor), 10)
    shown, lost = _playback(case, rng)
    played = Playback(
        np.array([at / case.refresh_hz for _, at in shown]),
        np.array([number for number, _ in shown]), (), (),
    )  # fmt: skip
    whole = sum(length for _, length in case.parts)
    light: dict[int, float] = {}
    for begin, length in case.parts:
        part = frame_shares(drawn.screen, played, BEGIN_S + begin, length)
        for number, share in part.items():
            light[number] = light.get(number, 0.0) + share * length / whole
    curve = _tone(case.tone)
    pane = _window(rng) if case.stray == "window" else None

    def retouch(signal: Float32Array) -> Float32Array:
        if pane is not None:
            signal = np.clip(signal**2.2 + pane(signal.shape), 0, 1) ** np.float32(1 / 2.2)
        return np.asarray(np.clip(curve(signal), 0, 1), np.float32)

    picture = expose(scene, light, retouch)
    return picture, replace(_truth(case, shown, lost), light=light)


def _window(rng: np.random.Generator) -> Any:
    """Reflection of a window with sharp edges across part of the picture."""
    left, wide, strength = rng.uniform(0.1, 0.6), rng.uniform(0.1, 0.3), rng.uniform(0.02, 0.06)

    def pane(shape: tuple[int, int]) -> FloatArray:
        x = np.arange(shape[1]) / shape[1]
        added = np.where((x > left) & (x < left + wide), strength, 0.0)
        return np.broadcast_to(ndimage.gaussian_filter1d(added, 3.0), shape)

    return pane


def _steady(seed: int, rng: np.random.Generator) -> Iterator[Photo]:
    for i, rate in enumerate((*SLOW, *FAST) * 2):
        hz = (60, 50, 60, 144, 90, 60, 60, 60, 60, 60, 60, 120, 75, 60, 120, 144, 75, 120, 90, 60)[
            i
        ]
        known = bool(i % 3)
        yield Photo("steady", f"steady {i}", rate, hz, seed + i, display_told=known)
    for i in range(4):
        rate = (*SLOW, *FAST)[int(rng.integers(9))]
        yield Photo("steady", f"hard {i}", rate, 60, seed + 20 + i, level="hard")


def _lost(seed: int, rng: np.random.Generator) -> Iterator[Photo]:
    for i, rate in enumerate((F(24), F(25), F(30), F(50), F(60), F(24), F(30), F(60000, 1001))):
        at = int((BEGIN_S + rng.uniform(0.2, 0.8)) * float(rate))
        gone = (at,) if i % 2 else (at, at + int(rng.integers(1, 4)))
        yield Photo("lost", f"lost {i}", rate, 60, seed + 100 + i, dropped=gone)
    for i, rate in enumerate((F(24), F(25), F(30), F(24))):
        at = int((BEGIN_S + rng.uniform(0.3, 0.7)) * float(rate))
        gone = (at, at + int(1.1 * float(rate)))
        yield Photo(
            "two in 2 s", f"two {i}", rate, 60, seed + 110 + i, ((0.0, 2.0),), 2.0, dropped=gone
        )
    for i, rate in enumerate((F(24), F(30), F(60))):
        at = int((BEGIN_S + rng.uniform(0.3, 0.7)) * float(rate))
        late = Photo("late", f"late {i}", rate, 120, seed + 120 + i, late=(at,))
        yield late
        yield replace(late, group="stall", name=f"stall {i}", late=(), pause=(at, 1 / float(rate)))


def _exposures(seed: int) -> Iterator[Photo]:
    lengths = (0.25, 0.5, 0.9, 0.95, 1.3, 2.0, 1 / 8)
    for i, length in enumerate(lengths * 2):
        rate = (F(24), F(25), F(30), F(60), F(50), F(24000, 1001), F(30))[(i + i // 7) % 7]
        known = length if i % 2 else None
        yield Photo(
            "exposure", f"exposure {i}", rate, 60, seed + 200 + i, ((0.0, length),), known,
            display_told=i % 3 > 0,
        )  # fmt: skip
    for i, rate in enumerate((F(24), F(50))):
        yield Photo("exposure", f"exposure untold {i}", rate, 60, seed + 220 + i, told_s=None)


def _faults(seed: int, rng: np.random.Generator) -> Iterator[Photo]:
    for i, rate in enumerate((F(24), F(25), F(30), F(60))):
        told = None if i == 1 else 1.0
        at = int((BEGIN_S + rng.uniform(0.2, 0.8)) * float(rate))
        plain = Photo("", "", rate, 60, seed + 300 + i, told_s=told)
        yield replace(plain, group="seam", name=f"seam {i}", clip_frames=at)
        length = float(rng.uniform(0.1, 0.5))
        yield replace(plain, group="pause", name=f"pause {i}", pause=(at, length))
        yield replace(plain, group="half speed", name=f"half {i}", speed=0.5)
        yield replace(plain, group="double speed", name=f"double {i}", speed=2.0)
        gap = float(rng.uniform(0.01, 0.06))
        parts = tuple((k * (0.25 + gap), 0.25) for k in range(4))
        yield replace(plain, group="stack", name=f"stack {i}", parts=parts)


def _light(seed: int) -> Iterator[Photo]:
    rates = (F(24), F(25), F(30), F(50), F(24), F(60))
    for i, tone in enumerate(TONES[1:] * 3):
        drops = (19,) if i % 3 == 1 else ()
        yield Photo(
            "tone", f"{tone} {i}", rates[i % 6], 60, seed + 400 + i, tone=tone, dropped=drops
        )
    for i, stray in enumerate(STRAYS * 3):
        drops = (20,) if i % 3 == 1 else ()
        yield Photo(
            "stray", f"{stray} {i}", rates[i % 6], 60, seed + 430 + i, stray=stray, dropped=drops
        )


def cases(seed: int) -> list[Photo]:
    """All cases of a seed."""
    rng = np.random.default_rng([seed, 9])
    first = seed * 1000
    found = [*_steady(first, rng), *_lost(first, rng), *_exposures(first), *_faults(first, rng)]
    found += [*_light(first)]
    # clips are looked at anywhere in their length, but for those whose seam is photographed
    starts = rng.integers(0, 60000, len(found))
    return [
        c if c.clip_frames < 65536 else replace(c, first=int(n))
        for c, n in zip(found, starts, strict=True)
    ]
