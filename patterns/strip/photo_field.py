"""A smooth quantity over the strip, from patches where it is known, with its uncertainty.

Known terms with free factors plus a Gaussian process (Rasmussen and Williams, "Gaussian
Processes for Machine Learning", 2006, sections 2.2, 2.7 and 5.4.1; from memory), whose reach,
strength and jitter are weighed by how likely they make the patches.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from patterns.picture.arrays import FloatArray

FAINT = 4.0  # logarithm of likelihood below the best from which on a choice does not count


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
