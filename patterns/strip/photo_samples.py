"""Pixels of one photo's cells, and the shares of the exposure that a light curve makes of them."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from patterns.rendering.planes import UInt8Array
from patterns.strip.camera_sample import centres, gather_light
from patterns.strip.camera_track import unit_px
from patterns.strip.grid import HALFTONES, Rect, hold_cells
from patterns.strip.hold import hold_row
from patterns.strip.identity import Identity, identity_bits
from patterns.strip.photo_curve import PLAIN_LIGHT, LightCurve
from patterns.strip.placement import Placement

__all__ = ["Samples", "take_samples"]

FloatArray = npt.NDArray[np.float64]
CELL_SHARE = 0.55  # of a cell's sides that is averaged; of a halftone's field all is
MOST_SAMPLES = 48  # along a side
NEAR = 0.18  # band lengths: references count less the farther they are along the strip
STIFF = np.array([1e-9, 2e-4, 0.02, 2e-6])  # keeps slope and bend small where nothing tells them
LEAST = 1e-4
FINE = tuple(i for i, name in enumerate(HALFTONES) if name != "0" and "coarse" not in name)
FRACTIONS = np.array([float(Fraction(HALFTONES[i])) for i in FINE])
SUM_WEIGHT = 2.0  # of the hold row's sum among the halftones


@dataclass(frozen=True)
class Samples:
    """Plain light values of pixels, (cells, samples each), and where the cells lie.

    Attributes
    ----------
    whites, blacks
        References: cells of the number row, and identity cells amid their like.
    held
        Hold cells.
    halftones
        Whole fields, in the order of `HALFTONES`.
    white_at, black_at, held_at
        Middles of the cells, (cells, 2), in fractions of the band.
    """

    whites: FloatArray
    blacks: FloatArray
    held: FloatArray
    halftones: FloatArray
    white_at: FloatArray
    black_at: FloatArray
    held_at: FloatArray

    def shares(self, curve: LightCurve) -> tuple[FloatArray, FloatArray]:
        """Share of white's light in each hold cell under a curve, and its uncertainty."""
        white, uneven = _nearby(self.white_at, curve.light(self.whites).mean(axis=1), self.held_at)
        black, veiled = _nearby(self.black_at, curve.light(self.blacks).mean(axis=1), self.held_at)
        light = curve.light(self.held)
        span = np.maximum(white - black, LEAST)
        cells = (light.mean(axis=1) - black) / span
        # neighbouring samples share pixels: about a quarter of them are independent
        noise = light.std(axis=1) / np.sqrt(self.held.shape[1] / 4) / span
        doubt = np.sqrt(noise**2 + (veiled / span) ** 2 + (cells * uneven / white) ** 2)
        return np.asarray(cells, np.float64), np.asarray(doubt, np.float64)

    def misfit(self, curve: LightCurve) -> FloatArray:
        """Logarithms of measured over known light: the halftones', then the hold row's sum."""
        light = curve.light(self.halftones).mean(axis=1)
        solid = light[list(FINE)] - light[HALFTONES.index("0")]
        ratio = np.maximum(solid[:-1] / max(float(solid[-1]), LEAST), LEAST)
        total = max(float(self.shares(curve)[0].sum()), LEAST)
        return np.append(np.log(ratio) - np.log(FRACTIONS[:-1]), SUM_WEIGHT * np.log(total))


def _nearby(at: FloatArray, light: FloatArray, where: FloatArray) -> tuple[FloatArray, float]:
    """Light at places from the references near each, and its uncertainty by their scatter.

    Across the strip the light may slope, along it also bend.
    """
    apart = at[None] - where[:, None]
    weight = np.exp(-0.5 * (apart[..., 0] / NEAR) ** 2)
    bend = apart[..., :1] ** 2
    terms = np.concatenate([np.ones_like(bend), apart, bend], axis=-1)
    weighted = terms * weight[..., None]
    normal = np.einsum("nki,nkj->nij", weighted, terms)
    normal += np.diag(STIFF) * weight.sum(axis=1)[:, None, None]
    fitted = np.linalg.solve(normal, np.einsum("nki,k->ni", weighted, light)[..., None])[..., 0]
    rest = light[None] - np.einsum("nki,ni->nk", terms, fitted)
    scatter = float(np.sqrt((weight * rest**2).sum() / weight.sum()))
    count = max(1.0, float(weight.sum(axis=1).mean()) - 4)
    return np.asarray(fitted[:, 0], np.float64), scatter / count**0.5


def _grid(rects: tuple[Rect, ...], share: float, count: int) -> FloatArray:
    """`count` x `count` points over the inner `share` of each rectangle."""
    at = 0.5 + share * ((np.arange(count) + 0.5) / count - 0.5)
    rows = []
    for r in rects:
        x, y = r.left + at * (r.right - r.left), r.top + at * (r.bottom - r.top)
        rows.append(np.stack(np.meshgrid(x, y), -1).reshape(-1, 2))
    return np.array(rows)


def _amid(cells: tuple[Rect, ...], chosen: npt.NDArray[np.bool_]) -> tuple[Rect, ...]:
    """Give the chosen cells between chosen ones: blur takes nothing from their middles."""
    return tuple(cells[i] for i in range(1, len(cells) - 1) if chosen[i - 1 : i + 2].all())


def take_samples(luma: UInt8Array, placement: Placement, identity: Identity) -> Samples | None:
    """Sample the cells of a photo; None if some lie outside of it.

    Parameters
    ----------
    luma
        uint8 (height, width), narrow range.
    placement
        Where the strip lies.
    identity
        Tells how many hold cells there are and which identity cells are lit.
    """
    on = placement.grid
    px = float(unit_px(placement).max())

    def over(rects: tuple[Rect, ...], share: float, units: float) -> FloatArray:
        count = int(np.clip(2 * units * share * px, 6, MOST_SAMPLES))
        points = placement.to_picture(_grid(rects, share, count))
        return gather_light(luma, points, PLAIN_LIGHT)

    bits = identity_bits(identity)
    hold = hold_cells(on, hold_row(identity.rate).cells)
    lit = on.white + _amid(on.identity, bits)
    unlit = (*on.black, *_amid(on.identity, ~bits), on.halftones[0])
    values = (
        over(lit, CELL_SHARE, 3),
        over(unlit, CELL_SHARE, 4),
        over(hold, CELL_SHARE, 5),
        over(on.halftones, 1.0, 5),
    )
    if any(np.isnan(v).any() for v in values):
        return None
    return Samples(*values, centres(lit), centres(unlit), centres(hold))
