# ruff: noqa: T201 - a command that prints its table
"""Motion of our own clips as it is measured, beside their closed form.

`python -m tests.footage.truth` prints the table: pattern by rate, H.264.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from fractions import Fraction as F
from pathlib import Path

import numpy as np

from patterns.clip import Clip
from patterns.footage.flow import Look
from patterns.footage.measure import Facts, Measurer, working_side
from patterns.footage.motion import EDGES_ALONE, EXACT, STILL
from patterns.frame_source import FrameSource
from patterns.picture.arrays import FloatArray
from patterns.scenes.bars.motion import BarsMotion
from patterns.scenes.motion import RING_RADIUS_M, Motion, speed_at
from patterns.scenes.orbit.motion import OrbitMotion
from patterns.scenes.terrain.motion import TerrainMotion
from patterns.video.probe import probe
from patterns.video.reader import read_luma
from tests.reading.edits import encode

MOTIONS: dict[str, Motion] = {
    "bars": BarsMotion(F(-200), F(192), F(64)),
    "slow bars": BarsMotion(F(30), F(192), F(64)),
    "flight": TerrainMotion(),
    "fast flight": TerrainMotion(ground_speed_m_s=F(20)),
    "sideways": TerrainMotion(flight="sideways"),
    "looking down": TerrainMotion(ground_speed_m_s=F(20), pitch_deg=F(60)),
    "shallow view": TerrainMotion(pitch_deg=F(15)),
    "orbit": OrbitMotion(),
    "fast orbit": OrbitMotion(turn_deg_s=F(12)),
    "low orbit": OrbitMotion(turn_deg_s=F(8), height_m=F(15), radius_m=F(60)),
}
RATES = (24, 25, 30, 50, 60)


def true_speed(motion: Motion, size: tuple[int, int], x: FloatArray, y: FloatArray) -> FloatArray:
    """Pixels a second; of an orbit also in its sky, and none where its subject may stand."""
    width, height = size
    speed = speed_at(motion, width, height, x, y)
    if not isinstance(motion, OrbitMotion):
        return speed
    # The sky is painted on a wall about the subject. With everything so far away only the turn
    # of the view counts, but for some per cent: V = w x P, projected as in `scenes/motion.py`.
    right, down = x - width / 2, y - height / 2
    f, sine, cosine = (getattr(motion._camera(width), name) for name in ("f", "sin_p", "cos_p"))
    aside = float(motion.radius_m) / RING_RADIUS_M
    across = f * cosine * (aside - 1) + sine * down - cosine * right**2 / f
    turned = np.hypot(across, right * (down * cosine + f * sine) / f)
    sky = abs(np.radians(float(motion.turn_deg_s))) * turned
    return np.where(np.abs(right) < 0.09 * width, np.nan, np.where(np.isnan(speed), sky, speed))


@dataclass(frozen=True)
class Compared:
    """What was measured, and the truth at the same places: typical, and fastest at the border."""

    facts: Facts
    speeds: FloatArray
    true: FloatArray
    true_fastest: float


def compared(
    motion: Motion, rate: int, path: Path, *, size: tuple[int, int] = (768, 432), seconds: int = 2
) -> Compared:
    """Render, encode and measure a clip."""
    clip = Clip(motion, F(rate), F(1, 2 * rate), *size, seconds * rate, "none")
    source = FrameSource(clip)
    drawn = [source.draw(n).y.astype(np.float32) for n in range(clip.frames)]
    info = probe(encode(drawn, F(rate), path, 16))
    measurer, times = Measurer(info), []
    for time_s, luma in read_luma(path):
        times.append(time_s)
        measurer.take(luma)
    facts = measurer.facts(times)
    shown, true = _at_places(motion, rate, size, measurer.looks)
    s, zero = np.linspace(0, 1, 201), np.zeros(201)
    border = np.c_[[s, zero], [s, zero + 1], [zero, s], [zero + 1, s]]
    fastest = np.nanmax(true_speed(motion, size, border[0] * size[0], border[1] * size[1]))
    return Compared(facts, shown, true, float(fastest))


def _at_places(
    motion: Motion, rate: int, size: tuple[int, int], looks: list[Look]
) -> tuple[FloatArray, FloatArray]:
    """Speeds of the places that count, as measured and true, pixels a second."""
    side = working_side(*size)
    flows = [look.flow for look in looks]
    passed = np.array([look.last - look.first for look in looks])[:, None, None]
    speed = np.stack([np.hypot(f.dx, f.dy) for f in flows])
    known = np.stack([f.sure & (f.error < EXACT * speed[n]) for n, f in enumerate(flows)])
    edge = np.stack([f.edge for f in flows])
    known = known & ~edge if (known & ~edge).mean() > EDGES_ALONE else known
    truth = np.stack([true_speed(motion, size, f.x * side, f.y * side) for f in flows])
    often = known.sum(axis=0) >= max(2, len(flows) // 4)
    px_s = np.where(known, speed / passed * rate * side, np.nan)[:, often]
    shown = np.nanmedian(px_s, axis=0)
    true = (np.where(known, truth, 0).sum(axis=0) / np.maximum(1, known.sum(axis=0)))[often]
    used = np.nan_to_num(true) > STILL * size[0]
    return shown[used], true[used]


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder:
        for name, motion in MOTIONS.items():
            for rate in RATES:
                found = compared(motion, rate, Path(folder) / "clip.mp4")
                (shot,) = found.facts.shots
                typical = np.median(found.speeds) / np.median(found.true) - 1
                fastest = shot.fastest_px_s / found.true_fastest - 1
                spread = 3 * shot.fastest_error_px_s / max(1e-9, shot.fastest_px_s)
                tenth = np.mean(np.abs(found.speeds / found.true - 1) < 0.1)
                least = "at least" if shot.lower_bound else ""
                print(
                    f"{name:14}{rate:3} typical {typical:+6.1%}, places within a tenth {tenth:4.0%}"
                    f", fastest {least} {fastest:+6.1%} give or take {spread:.1%}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
