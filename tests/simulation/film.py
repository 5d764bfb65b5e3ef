"""Filming a case: pictures of the simulated camera and what each of them truly shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import numpy as np

from patterns.clip import Clip
from patterns.frame_source import FrameSource
from patterns.picture.arrays import Float32Array, FloatArray, IntArray, UInt8Array
from patterns.scenes.bars.motion import BarsMotion
from patterns.strip.layout import strip_layout
from tests.simulation.camera import FastSensor, lens, veil_maps, view, warp_light
from tests.simulation.conditions import Case
from tests.simulation.screen import Playback, play, weights

__all__ = ["START_S", "Scene", "Truth", "film", "frame_light", "stage", "truth_of"]

START_S = 0.1  # of the screen's time, when the first picture begins
ROW_STEP = 16  # camera rows between which the weights are interpolated
MOTION = BarsMotion(speed_px_s=Fraction(120), period_px=Fraction(120), width_px=Fraction(60))
STEADY = 0.9  # share of one frame in every row of the strip: no transition to speak of
LIT = 0.3  # of the mean backlight: darker pictures fall into the pauses of the backlight


@dataclass(frozen=True)
class Truth:
    """What one picture shows: share of each frame in the light of the strip."""

    shares: dict[int, float]
    steady: bool
    lit: bool


@dataclass(frozen=True)
class Scene:
    """A case ready to be filmed."""

    case: Case
    clip: Clip
    played: Playback
    matrix: FloatArray
    shape: tuple[int, int]
    strip_rows: tuple[int, int]
    first_row: int
    corners: FloatArray


def stage(
    case: Case,
    pictures: int,
    *,
    drops_per_s: float = 1.0,
    stalls_per_s: float = 0.5,
    late_per_s: float = 0.0,
) -> Scene:
    """Play the clip of a case and set up the camera."""
    rng = np.random.default_rng([case.seed, 1])
    width, height = (720, 1280) if case.upright else (1280, 720)
    clip = Clip(MOTION, case.rate, 1 / (2 * case.rate), width, height, 65536)
    band = strip_layout(width, height, case.rate).band_height
    strip_rows = (height - band, height)
    played = play(
        case.rate, case.screen.refresh_hz, pictures / case.capture_hz + 0.3, rng,
        first=int(rng.integers(0, 60000)), drops_per_s=drops_per_s, stalls_per_s=stalls_per_s,
        late_per_s=late_per_s,
    )  # fmt: skip
    matrix = view(case.pose, (width, height), strip_rows)
    ends = np.array(
        [(0, strip_rows[0]), (width, strip_rows[0]), (width, height), (0, height)], float
    )
    seen = np.c_[ends, np.ones(4)] @ matrix.T
    seen = seen[:, :2] / seen[:, 2:]
    margin = 0.04 * case.pose.length_px + 12
    low, high = seen.min(axis=0) - margin, seen.max(axis=0) + margin
    grow = 0.08 * case.pose.length_px  # part of the clip is in view as well
    low, high = low - grow * rng.random(2), high + grow * rng.random(2)
    shift = np.eye(3)
    shift[:2, 2] = -low
    wide, high_px = (int(v) // 2 * 2 for v in high - low)
    return Scene(
        case, clip, played, shift @ matrix, (high_px, wide), strip_rows,
        max(0, int(height - 4 * band)), seen - low,
    )  # fmt: skip


@lru_cache(maxsize=2)
def _source(clip: Clip) -> FrameSource:
    return FrameSource(clip)


def frame_light(scene: Scene, number: int) -> Float32Array:
    """Light of the lower part of a frame on the screen, 0 to 1."""
    luma = _source(scene.clip).draw(number).y[scene.first_row :]
    return _light_of_codes(scene.case.screen.gamma)[luma]


@lru_cache
def _light_of_codes(gamma: float) -> Float32Array:
    """Light of each of the 256 codes of luma."""
    signal = np.clip((np.arange(256, dtype=np.float32) - 16) / 219, 0, 1)
    return np.asarray(signal ** np.float32(gamma), np.float32)


class _Views:
    """Warped frames, the last few kept."""

    def __init__(self, scene: Scene) -> None:
        self._scene, self._kept = scene, dict[int, Float32Array]()
        down = np.eye(3)
        down[1, 2] = scene.first_row
        self._lens = lens(scene.matrix @ down, scene.shape)

    def of(self, number: int) -> Float32Array:
        if number not in self._kept:
            while len(self._kept) > 8:
                del self._kept[next(iter(self._kept))]
            light = frame_light(self._scene, number)
            self._kept[number] = warp_light(light, self._lens, 0.01)
        return self._kept[number]


def _light(scene: Scene, time_s: float) -> tuple[IntArray, FloatArray]:
    """Frames, and the light of each in every picture row, (rows, frames)."""
    case, height = scene.case, scene.shape[0]
    anchors = np.arange(0, height + ROW_STEP, ROW_STEP)
    numbers, light = weights(
        case.screen, scene.played, time_s + case.readout_s * anchors / height, case.exposure_s
    )
    rows = np.arange(height)
    return numbers, np.stack([np.interp(rows, anchors, column) for column in light.T], 1)


def _truth(scene: Scene, numbers: IntArray, per_row: FloatArray) -> Truth:
    top, bottom = (
        np.clip(scene.corners[:, 1].min(), 0, scene.shape[0] - 1),
        scene.corners[:, 1].max(),
    )
    strip = per_row[int(top) : int(bottom) + 1]
    lit = bool(strip.sum(axis=1).min() > LIT)
    shares = strip / np.maximum(strip.sum(axis=1, keepdims=True), 1e-9)
    steady = bool(shares.min(axis=0).max() > STEADY)
    mean = shares.mean(axis=0)
    return Truth({int(n): float(s) for n, s in zip(numbers, mean, strict=True)}, steady, lit)


def truth_of(scene: Scene, picture: int) -> Truth:
    """What a picture of a film shows."""
    return _truth(scene, *_light(scene, START_S + picture / scene.case.capture_hz))


def _mixture(scene: Scene, views: _Views, time_s: float) -> tuple[Float32Array, Truth]:
    numbers, per_row = _light(scene, time_s)
    total = np.zeros(scene.shape, np.float32)
    for i, number in enumerate(numbers):
        if per_row[:, i].max() > 1e-3:
            total += per_row[:, i, None].astype(np.float32) * views.of(int(number))
    return total, _truth(scene, numbers, per_row)


def film(scene: Scene, pictures: int) -> Iterator[tuple[UInt8Array, Truth]]:
    """Pictures as narrow-range luma before compression, with their truth."""
    case = scene.case
    rng = np.random.default_rng([case.seed, 2])
    veil = veil_maps(case.veil, scene.shape, rng)
    views = _Views(scene)
    sensor = FastSensor(case.sensor, scene.shape, rng)
    heading = rng.uniform(0, 2 * np.pi)
    swing = rng.uniform(20, 60)
    for i in range(pictures):
        total, truth = _mixture(scene, views, START_S + i / case.capture_hz)
        # a slow swing, so that the strip stays in view, and a jitter on it
        far = min(case.shake.drift_px * swing / (2 * np.pi), 9) * np.sin(2 * np.pi * i / swing)
        offset = far * np.array([np.sin(heading), np.cos(heading)])
        offset += case.shake.jitter_px * rng.standard_normal(2) / 2
        moved = _moved(total, offset)
        yield sensor.luma(case.optics.seen(moved), veil, rng), truth


def _moved(light: Float32Array, offset: FloatArray) -> Float32Array:
    """Shift a picture by (rows, columns), bilinear between pixels; its edges are repeated."""
    whole = np.floor(offset).astype(int)
    part = (offset - whole).astype(np.float32)
    far = int(np.abs(whole).max()) + 2
    padded = np.pad(light, far, mode="edge")
    top, left = far + whole[0], far + whole[1]
    height, width = light.shape
    upper = padded[top : top + height + 1, left : left + width + 1]
    rows = upper[:-1] + part[0] * (upper[1:] - upper[:-1])
    return np.asarray(rows[:, :-1] + part[1] * (rows[:, 1:] - rows[:, :-1]), np.float32)
