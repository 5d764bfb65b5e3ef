"""The light curve of one photo, found from the halftones that are in it.

Two things in the photo are known without any curve. A halftone of known area fraction
gives that share of white's light, since it is made of black and white alone; and exactly
one hold cell is lit at any instant, so that the light of all of them adds up to white's.
The code is decoded as IEC 61966-2-1 (sRGB) says, which gives v; the rest of the curve,
F(v) = v^a exp(b (1 - s) + c (1 - s)^2) with s = v^(1/2.2), is chosen so that both come out
right when F is applied to every pixel and averaged after: dots that the camera resolves
do no harm, they only tell less.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["PLAIN_LIGHT", "LightCurve", "fit_curve"]

FloatArray = npt.NDArray[np.float64]
ROUNDS = 8
STEP = 1e-4
TRUST = np.array([0.15, 0.02, 0.02])  # pulls a to 1 and b, c to 0 where the halftones say little
LARGEST_MOVE = 0.3
ENCODED = 1 / 2.2


def _plain_light() -> npt.NDArray[np.float32]:
    signal = np.clip((np.arange(256) - 16) / 219, 0, 1)
    toe = signal / 12.92
    return np.where(signal <= 0.04045, toe, ((signal + 0.055) / 1.055) ** 2.4).astype(np.float32)


PLAIN_LIGHT = _plain_light()  # of narrow-range luma codes


@dataclass(frozen=True)
class LightCurve:
    """F(v) = v^a exp(b (1 - s) + c (1 - s)^2), s = v^(1/2.2): 0 at 0 and 1 at 1."""

    a: float = 1.0
    b: float = 0.0
    c: float = 0.0

    def light(self, v: FloatArray) -> FloatArray:
        """Light of plain values v, any shape, 0 to 1."""
        clipped = np.clip(v, 0, 1)
        rest = 1 - clipped**ENCODED
        return np.asarray(clipped**self.a * np.exp(rest * (self.b + self.c * rest)), np.float64)

    @property
    def rises(self) -> bool:
        """Whether the curve rises everywhere."""
        return bool((np.diff(self.light(np.linspace(0, 1, 65))) > 0).all())


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
    parameters = np.array([1.0, 0.0, 0.0])
    for _ in range(ROUNDS):
        now = misfit(LightCurve(*parameters))
        slopes = []
        for i in range(3):
            moved = parameters.copy()
            moved[i] += STEP
            slopes.append((misfit(LightCurve(*moved)) - now) / STEP)
        slope = np.array(slopes).T
        pull = TRUST**2
        target = slope.T @ now + pull * (parameters - np.array([1.0, 0.0, 0.0]))
        change = np.linalg.solve(slope.T @ slope + np.diag(pull), -target)
        parameters = parameters + np.clip(change, -LARGEST_MOVE, LARGEST_MOVE)
    curve = LightCurve(*(float(p) for p in parameters))
    return curve, float(np.sqrt(np.mean(misfit(curve) ** 2)))
