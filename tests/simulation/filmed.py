"""A display and a camera as arithmetic: what a strip reader would say of each picture.

Quick, because no picture is made: each exposure is a weighted sum of what was on screen, and
the strip is taken to be read where one frame, or two, give nearly all of its light. The
cadence is computed here from its definition (the newest frame that is due at each refresh).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np

from patterns.picture.arrays import FloatArray
from patterns.reading.sightings import Sightings, Watched
from patterns.strip.code import Identity
from patterns.strip.read import Seen, Unread

__all__ = ["Camera", "Picture", "film", "fixed", "smoothed", "variable"]

RISE = float(np.log(9))
SAMPLES = 12
GARBLED = -1  # stands for light that belongs to no frame, as a computed in-between has in cells


@dataclass(frozen=True)
class Picture:
    """What the screen shows from `start_s` on: shares of frames; GARBLED for no frame."""

    start_s: float
    shares: tuple[tuple[int, float], ...]


@dataclass(frozen=True)
class Camera:
    """How it is filmed.

    Exposure, jitter and response are in capture intervals, in the same and in seconds; `lost`
    and `unread` are shares of pictures; `covered` is a stretch in seconds in which nothing is
    read; `clock_hz` rounds times; `lag` is the share of the last picture that the camera's noise
    reduction keeps; white times `gain` is clipped at 1, and levels are off by `noise`.
    """

    capture_hz: float
    start_s: float = 0.1
    exposure: float = 0.4
    jitter: float = 0.0
    response_s: float = 0.0
    lost: float = 0.0
    unread: float = 0.0
    covered: tuple[float, float] | None = None
    clock_hz: int = 90000
    fast: float = 1.0
    lag: float = 0.0
    gain: float = 0.9
    noise: float = 0.0


@dataclass
class _Eye:
    identity: Identity
    cells: int
    gain: float
    log: Sightings = field(default_factory=Sightings)

    def take(self, stamp: Fraction, light: dict[int, float], off: float) -> None:
        """Read one picture from the light of each frame in it, largest first; a level is off."""
        order = sorted(light, key=lambda n: -light[n])
        clear = [n for n in order if n != GARBLED and light[n] * max(self.gain, 1) > 0.08]
        garbled = light.get(GARBLED, 0.0)
        total = sum(light.values())
        low, high = (min(clear), max(clear)) if clear else (0, 0)
        whole = sum(light[n] for n in clear) > 0.88 * total and garbled < 0.25 * total
        if whole and 1 <= len(clear) <= 2 and high - low <= 10:
            going, coming = (min(1.0, light[n] * max(self.gain, 1)) for n in (low, high))
            share = min(max(coming / (going + coming) + off, 0), 1) if high > low else 0.0
            clipped = self.gain > 1
            later = high if high > low else None
            self.log.take(stamp, Seen(low, later, share, self.identity, clipped))
            return
        lit = () if garbled else tuple(n % self.cells for n in order if light[n] > 0.2)
        self.log.take(stamp, Unread("in transition between frames", lit, self.cells))


def film(pictures: Sequence[Picture], rate: Fraction, camera: Camera, seed: int) -> Watched:
    """What the strips of a recording say."""
    rng = np.random.default_rng([seed, 9])
    starts = np.array([p.start_s for p in pictures])
    eye = _Eye(Identity.of(rate, 0x7A21), 24, camera.gain)
    step_s = 1 / camera.capture_hz
    constant = max(camera.response_s / RISE, 1e-9)
    kept: dict[int, float] = {}
    for i in range(int((starts[-1] - camera.start_s) / step_s) - 2):
        at_s = camera.start_s + (i + rng.uniform(-camera.jitter, camera.jitter)) * step_s
        stamp = Fraction(
            round((i + 0.37) * step_s * camera.fast * camera.clock_hz), camera.clock_hz
        )
        light = _exposed(pictures, starts, at_s, camera.exposure * step_s, constant)
        for n in set(kept) | set(light):
            kept[n] = camera.lag * kept.get(n, 0.0) + (1 - camera.lag) * light.get(n, 0.0)
        kept = {n: v for n, v in kept.items() if v > 1e-3}
        if rng.random() < camera.lost:
            continue
        hidden = camera.covered and camera.covered[0] <= i * step_s < camera.covered[1]
        if hidden or rng.random() < camera.unread:
            eye.log.take(stamp, Unread("no strip"))
        else:
            eye.take(stamp, kept, camera.noise * float(rng.standard_normal()))
    return eye.log.watched()


def _exposed(
    pictures: Sequence[Picture], starts: FloatArray, at_s: float, exposure_s: float, constant: float
) -> dict[int, float]:
    times = at_s + (np.arange(SAMPLES) + 0.5) / SAMPLES * exposure_s
    last = int(np.searchsorted(starts, times[-1], side="right")) - 1
    first = max(0, last - 8)
    since = times[:, None] - starts[None, first : last + 1]
    lit = np.where(since > 0, -np.expm1(-np.maximum(since, 0) / constant), 0.0)
    lit[:, 0] = 1.0
    lit[:, :-1] -= lit[:, 1:]
    light: dict[int, float] = {}
    for picture, share in zip(pictures[first : last + 1], lit.mean(axis=0), strict=True):
        for number, part in picture.shares:
            light[number] = light.get(number, 0.0) + part * float(share)
    return {n: v for n, v in light.items() if v > 1e-4}


def fixed(
    rate: float,
    refresh_hz: float,
    seconds: float,
    phase: float,
    *,
    lost: frozenset[int] = frozenset(),
    late: frozenset[int] = frozenset(),
    stalls: frozenset[int] = frozenset(),
    order: dict[int, int] | None = None,
) -> list[Picture]:
    """On a fixed refresh the newest frame that is due.

    After `stalls` all comes a refresh later; `order` renames frames (swaps, loops).
    """
    shown: list[Picture] = []
    before = None
    ahead = phase
    left = set(stalls)
    for k in range(int(seconds * refresh_hz)):
        due = int(np.floor((k + ahead) * rate / refresh_hz + 1e-9))
        came = int(np.floor((k - 1 + ahead) * rate / refresh_hz + 1e-9))
        while due in lost or (due in late and due > came):
            due -= 1
        if before is not None and due != before and before in left:
            left.remove(before)
            ahead -= 1
        elif due != before:
            number = due if order is None else order.get(due, due)
            shown.append(Picture(k / refresh_hz, ((number, 1.0),)))
            before = due
    return shown


def variable(
    rate: float, seconds: float, jitter_s: float, rng: np.random.Generator
) -> list[Picture]:
    """A display that follows the player, whose frames are up to `jitter_s` early or late."""
    count = int(seconds * rate)
    times = np.arange(count) / rate + rng.uniform(-jitter_s, jitter_s, count)
    times = np.maximum.accumulate(times + np.arange(count) * 1e-6)
    return [Picture(float(t), ((n, 1.0),)) for n, t in enumerate(times)]


def smoothed(
    rate: float, refresh_hz: float, seconds: float, phase: float, *, flow: bool
) -> list[Picture]:
    """A screen that makes a picture of its own for each refresh, between two frames.

    By blending, in light as a panel adds it up; or by optical flow, whose cells belong to neither.
    """
    shown = []
    for k in range(int(seconds * refresh_hz)):
        place = (k + phase) * rate / refresh_hz
        number = int(np.floor(place + 1e-9))
        part = place - number
        shares: tuple[tuple[int, float], ...] = ((number, 1 - part), (number + 1, part))
        if part < 0.06 or part > 0.94:
            shares = ((number + (part > 0.5), 1.0),)
        elif flow:
            shares = ((number, 0.6 * (1 - part)), (number + 1, 0.6 * part), (GARBLED, 0.4))
        shown.append(Picture(k / refresh_hz, shares))
    return shown
