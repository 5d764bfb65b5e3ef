"""Shares of the exposure for which the hold cells of a photo were lit (READING.md).

Light of a pixel = sensitivity x (what the strip shows) + stray light, both smooth fields
(`photo_field`). The light curve is IEC 61966-2-1 (sRGB) bent by the general cubic from 0 to 1,
code = s + s (1 - s) (p + q s), and an exponent a close to 1; chosen so that the halftones have
the light of their white area, and all hold cells together that of white.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from patterns.picture.arrays import FloatArray
from patterns.picture.planes import srgb_to_light
from patterns.strip.layout import HALFTONES
from patterns.strip.photo_field import Known, Scales, smooth_field
from patterns.strip.photo_pixels import Patch, Pixels
from patterns.strip.placement import SIGNALS

CURVE_ROUNDS = 10
STEP = 1e-3
PLAIN = np.array([1.0, 0.0, 0.0])
TRUST = np.array([0.15, 0.02, 0.02])  # pulls the curve to the plain one where little is known
LARGEST_MOVE = 0.25
STEEPEST = 0.8  # of p, either way: the darkest levels' slope stays above a fifth
FLATTEST = 0.9  # of p + q: the lightest levels' slope stays above a tenth
SIGNAL = np.linspace(0, 1, 1025)


@dataclass(frozen=True)
class LightCurve:
    """What a camera writes: 0 at 0 and 1 at 1; plain IEC 61966-2-1 at a = 1, p = q = 0."""

    a: float = 1.0
    p: float = 0.0
    q: float = 0.0

    def _bent(self) -> FloatArray:
        return np.asarray(SIGNAL + SIGNAL * (1 - SIGNAL) * (self.p + self.q * SIGNAL), np.float64)

    def light(self, code: FloatArray) -> FloatArray:
        """Light of codes between 0 and 1, any shape."""
        bent = np.maximum.accumulate(self._bent())
        bent += 1e-9 * np.arange(len(bent))  # a curve on trial may stand still
        signal = np.interp(code, bent / bent[-1], SIGNAL)
        return np.asarray(srgb_to_light(signal) ** self.a, np.float64)

    def table(self) -> FloatArray:
        """Light of the narrow-range luma codes, (256,)."""
        return self.light(SIGNALS)

    @property
    def rises(self) -> bool:
        """Whether the curve rises everywhere."""
        return self.a > 0 and bool((np.diff(self._bent()) > 0).all())


def fit_curve(misfit: Callable[[LightCurve], FloatArray]) -> tuple[LightCurve, float]:
    """Find the curve for which what is known comes out right (Gauss-Newton).

    `misfit`: gives, for a curve, the logarithms of measured over known light, (n,).
    Returns the curve, and the RMS of what remains as a fraction of the light.
    """
    parameters = PLAIN
    pull = TRUST**2
    for _ in range(CURVE_ROUNDS):
        now = misfit(LightCurve(*parameters))
        moved = parameters + STEP * np.eye(3)
        slope = np.array([(misfit(LightCurve(*m)) - now) / STEP for m in moved]).T
        target = slope.T @ now + pull * (parameters - PLAIN)
        change = np.linalg.solve(slope.T @ slope + np.diag(pull), -target)
        parameters = parameters + np.clip(change, -LARGEST_MOVE, LARGEST_MOVE)
        parameters[1] = np.clip(parameters[1], -STEEPEST, STEEPEST)
        parameters[2] = min(parameters[2], FLATTEST - parameters[1])
    curve = LightCurve(*parameters)
    return curve, float(np.sqrt(np.mean(misfit(curve) ** 2)))


STRAY = Scales(
    (0.06, 0.1, 0.17, 0.3), (0.015, 0.03, 0.06, 0.2), (0.001, 0.003, 0.01, 0.03),
    (0.0002, 0.0006, 0.0015),
)  # fmt: skip
SENSITIVITY = Scales(
    (0.1, 0.25), (0.03, 0.1), (0.001, 0.003, 0.01, 0.03),
    (0.001, 0.003, 0.006, 0.01, 0.015, 0.02, 0.03),
)  # fmt: skip
TONES = slice(1, None)  # all halftones but the black one
FRACTIONS = np.array([float(Fraction(name.partition(" ")[0])) for name in HALFTONES[TONES]])
TONE_WEIGHT = np.array([0.5, 0.8, 0.8, 1.0, 1.0, 1.0, 1.0])  # the darkest are the least sure
LEAST = 1e-4
ROUNDS = 2  # of curve and fields in turn: the fields hardly change with the curve
# Found by the simulation: stated uncertainty over true errors, and what errors remain
# where noise is next to nothing.
CALIBRATION, FLOOR = 0.95, 0.008


@dataclass(frozen=True)
class Shares:
    """Shares of the hold cells."""

    share: FloatArray  # of white's light, (cells,); together about 1
    sigma: FloatArray  # standard uncertainty of each relative to the mean, times the mean
    number: FloatArray  # shares of the number cells; empty where these are too small
    number_sigma: FloatArray  # their standard uncertainties
    curve: LightCurve
    misfit: float  # how well what is known of the curve comes out, RMS of a fraction


def _places(patches: tuple[Patch, ...]) -> FloatArray:
    return np.array([patch.at for patch in patches]).reshape(-1, 2)


def _light(patches: tuple[Patch, ...], table: FloatArray) -> FloatArray:
    """Mean light of each patch."""
    return np.array([table[p.codes].mean() for p in patches], np.float64)


def _noise(patches: tuple[Patch, ...], table: FloatArray, *, pooled: bool = False) -> FloatArray:
    """Variance of each patch's mean; `pooled`, as few pixels do not show their own noise well."""
    count = np.array([len(p.codes) for p in patches])
    spread = np.array([table[p.codes].var() for p in patches])
    if pooled:
        spread = (spread + (spread * count).sum() / count.sum()) / 2
    return np.asarray(spread / count, np.float64)


class _Model:
    """Stray light and sensitivity at hold cells and halftones, linear in the patches' light."""

    def __init__(self, pixels: Pixels, curve: LightCurve) -> None:
        self._pixels, self._dark = pixels, pixels.black + pixels.paper
        table = curve.table()
        white, dark = _light(pixels.white, table), _light(self._dark, table)
        self.unit = max(float(np.median(white)), LEAST)
        held, tones = _places(pixels.held), _places(pixels.halftones)
        lit, unlit = _places(pixels.white), _places(self._dark)
        middle = held.mean(axis=0)

        def slopes(at: FloatArray) -> FloatArray:
            return np.concatenate([np.ones((len(at), 1)), at - middle], axis=1)

        plain = np.linalg.lstsq(slopes(lit), white / self.unit, rcond=None)[0]
        paper = slopes(unlit) @ plain * (np.arange(len(unlit)) >= len(pixels.black))
        where = np.concatenate([held, tones, _places(pixels.number), lit])
        noise = _noise(self._dark, table, pooled=True) / self.unit**2
        known = Known(unlit, noise, np.c_[slopes(unlit), paper])
        terms = np.c_[slopes(where), np.zeros(len(where))]
        self.stray = smooth_field(known, dark / self.unit, where, terms, STRAY)
        cells = len(where) - len(lit)
        bright = (white - (self.stray.weights @ dark)[cells:]) / self.unit
        known = Known(lit, _noise(pixels.white, table) / self.unit**2, slopes(lit))
        where = where[:cells]
        self.sensitivity = smooth_field(known, bright, where, slopes(where), SENSITIVITY)

    def fields(self, table: FloatArray) -> tuple[FloatArray, FloatArray, float]:
        """Stray light and sensitivity at hold cells, halftones, number cells; the paper's light."""
        dark, white = _light(self._dark, table), _light(self._pixels.white, table)
        stray = self.stray.weights @ dark
        cells = len(self.sensitivity.weights)
        sensitivity = self.sensitivity.weights @ (white - stray[cells:])
        paper = float(self.stray.factors[-1] @ dark)
        return stray[:cells], np.maximum(sensitivity, LEAST), paper

    def held(
        self, table: FloatArray, stray: FloatArray, paper: float
    ) -> tuple[FloatArray, FloatArray]:
        """Light of the hold cells without stray light, and what noise leaves in the pixels."""
        light, noise = [], []
        for patch, veil in zip(self._pixels.held, stray[: len(self._pixels.held)], strict=True):
            c = patch.covered
            seen = table[patch.codes] - veil - paper * (1 - c)
            light.append(c @ seen / (c @ c))
            noise.append(((seen - light[-1] * c) ** 2).sum() / max(len(c) - 1, 1))
        return np.array(light), np.array(noise)

    def misfit(self, curve: LightCurve) -> FloatArray:
        """Logarithms of measured over known light: the halftones', then the hold row's sum."""
        table = curve.table()
        stray, sensitivity, paper = self.fields(table)
        cells, tones = len(self._pixels.held), _light(self._pixels.halftones, table)
        own = slice(cells, cells + len(tones))
        tones = (tones - stray[own]) / sensitivity[own]
        off = np.log(np.maximum(tones[TONES], LEAST) / FRACTIONS)
        # the patches take the same part of their fields, whatever that is
        off -= np.average(off, weights=TONE_WEIGHT**2)
        light, _ = self.held(table, stray, paper)
        total = max(float((light / sensitivity[:cells]).sum()), LEAST)
        return np.append(TONE_WEIGHT * off, np.log(total))

    def shares(self, curve: LightCurve) -> tuple[FloatArray, FloatArray]:
        """Shares of the hold cells and their covariance."""
        cells = len(self._pixels.held)
        stray, sensitivity, paper = self.fields(curve.table())
        light, noise = self.held(curve.table(), stray, paper)
        sensitivity = sensitivity[:cells]
        # all cells together show how noise grows with light
        line = np.polyfit(light, noise, 1)
        even = np.maximum(np.polyval(line, light), noise.mean() / 4)
        squares = np.array([p.covered @ p.covered for p in self._pixels.held])
        sums = np.array([p.covered.sum() for p in self._pixels.held]) / squares
        share = light / sensitivity
        apart = np.outer(sensitivity, sensitivity) / self.unit**2
        veil = self.stray.covariance[:cells, :cells] * np.outer(sums, sums)
        gain = self.sensitivity.covariance[:cells, :cells]
        gain = gain + np.eye(cells) * self.sensitivity.jitter**2
        pixel = np.diag(even / squares) / self.unit**2
        return share, (pixel + veil + np.outer(share, share) * gain) / apart

    def numbers(self, curve: LightCurve) -> tuple[FloatArray, FloatArray]:
        """Shares of the number cells and their standard uncertainties."""
        table, patches = curve.table(), self._pixels.number
        if not patches:
            return np.empty(0), np.empty(0)
        cells = len(self.sensitivity.weights)
        own = slice(cells - len(patches), None)
        stray, sensitivity, _ = self.fields(table)
        share = (_light(patches, table) - stray[own]) / sensitivity[own]
        noise = _noise(patches, table) / self.unit**2
        veil = np.diag(self.stray.covariance)[:cells][own]
        gain = np.diag(self.sensitivity.covariance)[own] + self.sensitivity.jitter**2
        sigma = np.sqrt(noise + veil + share**2 * gain) * self.unit / sensitivity[own]
        return share, sigma


def _relative_sigma(share: FloatArray, covariance: FloatArray) -> FloatArray:
    """Standard uncertainty of shares over their mean, which is itself measured."""
    cells, mean = len(share), max(float(share.mean()), LEAST)
    change = np.eye(cells) - np.outer(share / mean, np.ones(cells)) / cells
    return np.asarray(np.sqrt(np.diag(change @ covariance @ change.T)) / mean, np.float64)


def measure_shares(pixels: Pixels) -> Shares:
    """Shares of the hold cells of a photo."""
    curve, misfit = LightCurve(), 0.0
    for _ in range(ROUNDS):
        curve, misfit = fit_curve(_Model(pixels, curve).misfit)
    model = _Model(pixels, curve)
    share, covariance = model.shares(curve)
    mean = max(float(share.mean()), LEAST)
    relative = share / mean
    sigma = CALIBRATION * _relative_sigma(share, covariance)
    floor = FLOOR * np.maximum(relative, 0.5)
    # an error of the curve is one of all cells' scale but for what differs from the mean
    bent = misfit * np.abs(relative - 1)
    doubt = np.sqrt(sigma**2 + floor**2 + bent**2) * mean
    return Shares(share, doubt, *model.numbers(curve), curve, misfit)
