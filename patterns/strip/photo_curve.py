"""The light curve of one photo, found from the halftones that are in it.

Two things in the photo are known without any curve. A halftone of known area fraction
gives that share of white's light, since it is made of black and white alone; and exactly
one hold cell is lit at any instant, so that the light of all of them adds up to white's.
A camera writes light as IEC 61966-2-1 (sRGB) says and bends the code by its own tone
curve. That bend is taken as the general cubic from 0 to 1,
code = s + s (1 - s) (p + q s) of the standard's signal s, which gives what stays of it
down to the darkest levels; an exponent a close to 1 takes up the rest. All three are
chosen so that both facts come out right when each pixel is turned to light and averaged
after: dots that the camera resolves do no harm, they only add less.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from patterns.picture.arrays import FloatArray
from patterns.picture.light import srgb_to_light

__all__ = ["LightCurve", "fit_curve"]

ROUNDS = 10
STEP = 1e-3
PLAIN = np.array([1.0, 0.0, 0.0])
TRUST = np.array([0.15, 0.02, 0.02])  # pulls the curve to the plain one where little is known
LARGEST_MOVE = 0.25
STEEPEST = 0.8  # of p, either way: the darkest levels' slope stays above a fifth
FLATTEST = 0.9  # of p + q: the lightest levels' slope stays above a tenth
SIGNAL = np.linspace(0, 1, 1025)
CODES = np.clip((np.arange(256) - 16) / 219, 0, 1)  # signal of narrow-range luma codes


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
        return self.light(CODES)

    @property
    def rises(self) -> bool:
        """Whether the curve rises everywhere."""
        return self.a > 0 and bool((np.diff(self._bent()) > 0).all())


def fit_curve(misfit: Callable[[LightCurve], FloatArray]) -> tuple[LightCurve, float]:
    """Find the curve for which what is known comes out right (Gauss-Newton).

    Parameters
    ----------
    misfit
        Gives, for a curve, the logarithms of measured over known light, (n,).

    Returns
    -------
    curve, rms
        The curve, and the RMS of what remains as a fraction of the light.
    """
    parameters = PLAIN
    pull = TRUST**2
    for _ in range(ROUNDS):
        now = misfit(_curve(parameters))
        moved = parameters + STEP * np.eye(3)
        slope = np.array([(misfit(_curve(m)) - now) / STEP for m in moved]).T
        target = slope.T @ now + pull * (parameters - PLAIN)
        change = np.linalg.solve(slope.T @ slope + np.diag(pull), -target)
        parameters = parameters + np.clip(change, -LARGEST_MOVE, LARGEST_MOVE)
        parameters[1] = np.clip(parameters[1], -STEEPEST, STEEPEST)
        parameters[2] = min(parameters[2], FLATTEST - parameters[1])
    curve = _curve(parameters)
    return curve, float(np.sqrt(np.mean(misfit(curve) ** 2)))


def _curve(parameters: FloatArray) -> LightCurve:
    return LightCurve(*(float(p) for p in parameters))
