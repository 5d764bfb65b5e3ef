"""Long-exposure photos of the simulated screen, with the true share of every hold cell."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction

import numpy as np
from PIL import Image
from scipy import ndimage

from patterns.picture.arrays import Float32Array, FloatArray, UInt8Array
from tests.simulation.camera import Optics, Pose, Sensor, Veil, develop, lens, veil_maps, warp_light
from tests.simulation.conditions import Case, draw_case
from tests.simulation.film import Scene, frame_light, stage
from tests.simulation.screen import RISE, Playback, Screen

__all__ = ["cell_errors", "expose", "frame_shares", "photo_case", "take"]

Retouch = Callable[[Float32Array], Float32Array]
STEPS_PER_REFRESH = 64


def photo_case(level: str, rate: Fraction, refresh_hz: int, seed: int) -> Case:
    """Case of a photo: the camera on a stand and nearer, low noise, a stronger tone curve."""
    case = draw_case(level, rate, refresh_hz, 120, seed)
    rng = np.random.default_rng([seed, 7])
    units = 180 if case.upright else 320
    hard = level == "hard"
    pose = Pose(
        case.pose.tilt_deg * (1 if hard else 0.7), case.pose.azimuth_deg, case.pose.roll_deg,
        units * float(rng.uniform(4.5, 6.5) if not hard else rng.uniform(3, 4.5)), False,
    )  # fmt: skip
    veil = replace(case.veil, ripple=case.veil.ripple / 4, spot=case.veil.spot / 3)
    veil = Veil(max(veil.darkest, 0.6), veil.flat, veil.spot, veil.ripple, veil.ripple_px)
    gain = float(rng.uniform(0.6, 0.95) / (1 + veil.flat + veil.spot))
    sensor = Sensor(gain, case.sensor.shot / 2, case.sensor.read / 3, float(rng.uniform(0, 0.5)))
    return replace(case, pose=pose, veil=veil, sensor=sensor)


def frame_shares(
    screen: Screen, played: Playback, begin_s: float, exposure_s: float
) -> dict[int, float]:
    """Share of the light of an exposure that each frame gives."""
    steps = int(exposure_s * float(screen.refresh_hz) * STEPS_PER_REFRESH)
    time = begin_s + (np.arange(steps) + 0.5) / steps * exposure_s
    light = screen.backlight.at(time)
    constant = max(screen.response_s / RISE, 1e-9)
    ends = np.append(played.starts_s[1:], np.inf)

    def answer(since: FloatArray) -> FloatArray:
        return np.where(since > 0, -np.expm1(-np.maximum(since, 0) / constant), 0.0)

    shares: dict[int, float] = {}
    for start, end, number in zip(played.starts_s, ends, played.numbers, strict=True):
        lit = answer(time - start) - (answer(time - end) if np.isfinite(end) else 0)
        share = float((lit * light).sum() / light.sum())
        if share > 1e-6:
            shares[int(number)] = shares.get(int(number), 0.0) + share
    return shares


def take(case: Case, exposure_s: float, cells: int) -> tuple[UInt8Array, FloatArray]:
    """Photo as R'G'B' after JPEG, and the share of each of `cells` hold cells."""
    scene = stage(case, int(case.capture_hz * (exposure_s + 0.5)))
    shares = frame_shares(case.screen, scene.played, 0.2, exposure_s)
    truth = np.zeros(cells)
    for n, w in shares.items():
        truth[n % cells] += w
    return expose(scene, shares), truth


def expose(
    scene: Scene, shares: Mapping[int, float], retouch: Retouch = lambda signal: signal
) -> UInt8Array:
    """Photo as R'G'B' after JPEG of frames that each gave a share of the light.

    `retouch` is what a camera makes of its signal beside one curve for all pixels.
    """
    case = scene.case
    total = sum(w * frame_light(scene, n) for n, w in shares.items())
    assert isinstance(total, np.ndarray)
    rng = np.random.default_rng([case.seed, 3])
    down = np.eye(3)
    down[1, 2] = scene.first_row
    through = lens(scene.matrix @ down, scene.shape)
    # the lens blurs before the sensor samples: dots must not alias more than they would
    scale = scene.clip.width / case.pose.length_px
    soft = ndimage.gaussian_filter(total.astype(np.float32), case.optics.blur_px * scale)
    seen = warp_light(soft, through, 0.01)
    signal = develop(seen, Optics(0.2), case.sensor, veil_maps(case.veil, scene.shape, rng), rng)
    codes = np.clip(np.rint(255 * retouch(signal)), 0, 255).astype(np.uint8)
    file = io.BytesIO()
    Image.fromarray(codes).convert("RGB").save(file, "JPEG", quality=int(rng.integers(82, 95)))
    return np.asarray(Image.open(file))


def cell_errors(cells: FloatArray, truth: FloatArray) -> FloatArray:
    """Error of each cell's hold: as a fraction of the true one, or of the mean if that is more.

    A hold is told relative to the mean, and is no less than nothing.
    """
    relative, true = np.maximum(cells, 0) / cells.mean(), truth / truth.mean()
    return np.asarray(np.abs(relative - true) / np.maximum(true, 1), np.float64)
