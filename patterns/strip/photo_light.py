"""Shares of the exposure for which the hold cells of a photo were lit (READING.md).

Light of a pixel = sensitivity x (what the strip shows) + stray light. Both are smooth fields over
the strip, each from patches where it is known: known terms with free factors plus a Gaussian
process (Rasmussen and Williams, "Gaussian Processes for Machine Learning", 2006, sections 2.2, 2.7
and 5.4.1; from memory), whose reach, strength and jitter are weighed by how likely they make the
patches.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import product

import numpy as np

from patterns.picture.arrays import FloatArray
from patterns.strip.layout import HALFTONES
from patterns.strip.photo_pixels import LightCurve, Patch, Pixels, fit_curve

FAINT = 4.0  # logarithm of likelihood below the best from which on a choice does not count
TONES = slice(1, None)  # all halftones but the black one
FRACTIONS = np.array([float(Fraction(name.partition(" ")[0])) for name in HALFTONES[TONES]])
TONE_WEIGHT = np.array([0.5, 0.8, 0.8, 1.0, 1.0, 1.0, 1.0])  # the darkest are the least sure
LEAST = 1e-4
ROUNDS = 2  # of curve and fields in turn: the fields hardly change with the curve
# Found by the simulation: stated uncertainty over true errors, and what errors remain
# where noise is next to nothing.
CALIBRATION, FLOOR = 0.95, 0.008


@dataclass(frozen=True)
class Scales:
    """Choices that are weighed: reaches in strip lengths, strengths in units of the values."""

    along: tuple[float, ...]
    across: tuple[float, ...]
    strength: tuple[float, ...]
    jitter: tuple[float, ...]


@dataclass(frozen=True)
class Known:
    """Patches: places (n, 2) in strip lengths, variances (n,), terms with free factors (n, t)."""

    at: FloatArray
    noise: FloatArray
    terms: FloatArray


@dataclass(frozen=True)
class Field:
    """The quantity at the places asked for."""

    weights: FloatArray  # (places, n): times the patches' values gives the quantity
    factors: FloatArray  # (t, n): times the values gives the terms' factors
    covariance: FloatArray  # (places, places) of the uncertainty, without `jitter`
    jitter: float  # RMS by which single patches deviate beyond their noise


@dataclass(frozen=True)
class _Choice:
    along: float
    across: float
    strength: float
    jitter: float

    def likeness(self, a: FloatArray, b: FloatArray) -> FloatArray:
        return self.strength**2 * _likeness(a, b, self.along, self.across)


def _likeness(a: FloatArray, b: FloatArray, along: float, across: float) -> FloatArray:
    apart = (a[:, None] - b[None]) / np.array([along, across])
    return np.asarray(np.exp(-0.5 * (apart**2).sum(-1)), np.float64)


def _weigh(known: Known, values: FloatArray, scales: Scales) -> list[tuple[float, _Choice]]:
    """Logarithm of the likelihood of each choice, the terms' factors integrated out."""
    basis = np.c_[values, known.terms]
    found = []
    for along, across in product(scales.along, scales.across):
        shape = _likeness(known.at, known.at, along, across)
        for jitter in scales.jitter:
            scale = 1 / np.sqrt(known.noise + jitter**2)
            strengths, turned = np.linalg.eigh(scale[:, None] * shape * scale)
            seen = turned.T @ (scale[:, None] * basis)
            for strength in scales.strength:
                weight = 1 / (1 + strength**2 * np.maximum(strengths, 0))
                normal = (seen[:, 1:] * weight[:, None]).T @ seen[:, 1:]
                factors = np.linalg.solve(normal, (seen[:, 1:] * weight[:, None]).T @ seen[:, 0])
                rest = seen[:, 0] - seen[:, 1:] @ factors
                likely = np.log(weight).sum() / 2 + np.log(scale).sum()
                likely -= ((weight * rest**2).sum() + np.linalg.slogdet(normal)[1]) / 2
                found.append((float(likely), _Choice(along, across, strength, jitter)))
    return found


def _under(choice: _Choice, known: Known, where: FloatArray, terms: FloatArray) -> Field:
    """Field under one choice (their equations 2.41 and 2.42)."""
    own = choice.likeness(known.at, known.at) + np.diag(known.noise + choice.jitter**2)
    inverse = np.linalg.inv(own)
    near = choice.likeness(where, known.at) @ inverse
    normal = known.terms.T @ inverse @ known.terms
    factors = np.linalg.solve(normal, known.terms.T @ inverse)
    beyond = terms - near @ known.terms
    covariance = choice.likeness(where, where) - near @ choice.likeness(known.at, where)
    covariance += beyond @ np.linalg.solve(normal, beyond.T)
    weights = near + beyond @ factors
    return Field(weights, np.asarray(factors, np.float64), covariance, choice.jitter)


def smooth_field(
    known: Known, values: FloatArray, where: FloatArray, terms: FloatArray, scales: Scales
) -> Field:
    """Field at the places `where` (places, 2), whose terms are `terms` (places, t).

    `values` (n,) were measured at the `known` patches; `scales` are the choices that are weighed.
    """
    weighed = _weigh(known, values, scales)
    best = max(likely for likely, _ in weighed)
    kept = [(likely - best, choice) for likely, choice in weighed if likely > best - FAINT]
    share = np.exp([likely for likely, _ in kept])
    share /= share.sum()
    fields = [_under(choice, known, where, terms) for _, choice in kept]
    means = np.array([field.weights @ values for field in fields])
    off = means - share @ means
    return Field(
        np.einsum("k,kij->ij", share, np.array([f.weights for f in fields])),
        np.einsum("k,kij->ij", share, np.array([f.factors for f in fields])),
        np.einsum("k,kij->ij", share, np.array([f.covariance for f in fields]))
        + np.einsum("k,ki,kj->ij", share, off, off),
        float(np.sqrt(share @ np.array([f.jitter**2 for f in fields]))),
    )


STRAY = Scales(
    (0.06, 0.1, 0.17, 0.3), (0.015, 0.03, 0.06, 0.2), (0.001, 0.003, 0.01, 0.03),
    (0.0002, 0.0006, 0.0015),
)  # fmt: skip
SENSITIVITY = Scales(
    (0.1, 0.25), (0.03, 0.1), (0.001, 0.003, 0.01, 0.03),
    (0.001, 0.003, 0.006, 0.01, 0.015, 0.02, 0.03),
)  # fmt: skip


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
