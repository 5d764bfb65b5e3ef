"""The conditions of the simulation: what 'moderate' and 'hard' mean, drawn by a seed."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from tests.simulation.camera import Optics, Pose, Sensor, Shake, Veil
from tests.simulation.screen import Backlight, Screen

__all__ = ["CAPTURES", "DISPLAYS", "LEVELS", "LIMITS", "RATES", "Case", "Limits", "draw_case"]

RATES = tuple(
    Fraction(*r)
    for r in (
        (24000, 1001),
        (24, 1),
        (25, 1),
        (30000, 1001),
        (30, 1),
        (50, 1),
        (60000, 1001),
        (60, 1),
    )
)
DISPLAYS = (50, 60, 90, 120, 144)
CAPTURES = (120, 240, 480)
LEVELS = ("moderate", "hard")


@dataclass(frozen=True)
class Limits:
    """Ranges (lowest, highest) from which a case is drawn evenly."""

    unit_px: tuple[float, float]  # pixels per grid unit: the strip is 320 (180) units long
    tilt_deg: tuple[float, float]
    roll_deg: float  # either side of upright, on its side, upside down
    drift_px: tuple[float, float]  # per picture
    jitter_px: tuple[float, float]
    blur_px: tuple[float, float]
    shot: tuple[float, float]
    read: tuple[float, float]
    gain: tuple[float, float]
    darkest: tuple[float, float]
    flat: tuple[float, float]
    spot: tuple[float, float]
    ripple: tuple[float, float]
    response: tuple[float, float]  # refreshes, 10 % to 90 %
    exposure: tuple[float, float]  # of the capture interval
    readout: tuple[float, float]  # of the capture interval, top to bottom row
    crf: tuple[float, float]  # of the H.264 encoder
    backlights: tuple[str, ...]


LIMITS = {
    "moderate": Limits(
        unit_px=(2.1, 2.8), tilt_deg=(0, 20), roll_deg=12, drift_px=(0, 0.3), jitter_px=(0, 0.4),
        blur_px=(0.5, 0.8), shot=(0.0002, 0.0008), read=(0.003, 0.008), gain=(0.6, 1.15),
        darkest=(0.7, 1), flat=(0, 0.02), spot=(0, 0.05), ripple=(0, 0.05), response=(0.05, 0.5),
        exposure=(0.25, 0.6), readout=(0.1, 0.5), crf=(20, 24), backlights=("steady", "pulsed"),
    ),
    "hard": Limits(
        unit_px=(1.8, 2.1), tilt_deg=(20, 35), roll_deg=45, drift_px=(0.2, 0.9), jitter_px=(0.3, 1),
        blur_px=(0.8, 1.1), shot=(0.0008, 0.002), read=(0.008, 0.015), gain=(0.35, 1.7),
        darkest=(0.45, 0.8), flat=(0.01, 0.05), spot=(0.03, 0.15), ripple=(0.04, 0.12),
        response=(0.4, 1), exposure=(0.5, 0.95), readout=(0.4, 0.9), crf=(25, 28),
        backlights=("steady", "pulsed", "black frames"),
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Case:
    """One recording to simulate."""

    level: str
    rate: Fraction
    capture_hz: int
    upright: bool
    screen: Screen
    pose: Pose
    shake: Shake
    optics: Optics
    veil: Veil
    sensor: Sensor
    exposure_s: float
    readout_s: float
    crf: int
    seed: int


def _backlight(kind: str, refresh_hz: int, rng: np.random.Generator) -> Backlight:
    if kind == "pulsed":  # as dimmed screens do: well above the refresh
        return Backlight(refresh_hz * int(rng.integers(4, 9)), float(rng.uniform(0.4, 0.8)))
    if kind == "black frames":
        return Backlight(refresh_hz, float(rng.uniform(0.35, 0.6)), float(rng.random()))
    return Backlight()


def draw_case(level: str, rate: Fraction, refresh_hz: int, capture_hz: int, seed: int) -> Case:
    """Draw the rest of a case within the limits of its level."""
    rng = np.random.default_rng([seed, refresh_hz, capture_hz, int(rate * 1001)])
    limits = LIMITS[level]

    def between(name: str) -> float:
        return float(rng.uniform(*getattr(limits, name)))

    upright = bool(rng.random() < 0.2)
    units = 180 if upright else 320
    turn = float(rng.choice([0, 0, 0, 90, 180, 270])) + float(rng.uniform(-1, 1)) * limits.roll_deg
    pose = Pose(
        between("tilt_deg"), float(rng.uniform(0, 360)), turn, units * between("unit_px"),
        bool(rng.random() < 0.1),
    )  # fmt: skip
    refresh = Fraction(refresh_hz)
    ripple_px = float(rng.uniform(3, 40))
    light = _backlight(str(rng.choice(limits.backlights)), refresh_hz, rng)
    return Case(
        level, rate, capture_hz, upright,
        Screen(refresh, between("response") / refresh_hz, light, float(rng.uniform(2.0, 2.4))),
        pose, Shake(between("drift_px"), between("jitter_px")), Optics(between("blur_px")),
        Veil(between("darkest"), between("flat"), between("spot"), between("ripple"), ripple_px),
        Sensor(between("gain"), between("shot"), between("read"), float(rng.uniform(0, 0.3))),
        between("exposure") / capture_hz, between("readout") / capture_hz,
        round(between("crf")), seed,
    )  # fmt: skip
