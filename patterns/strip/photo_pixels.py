"""Pixels of one photo that show its light, patches of one kind of cell each; and its light curve.

Hold cells are taken whole, each pixel with the share of it that the cell covers; all others
only as far from their edges as blur (a Gaussian, measured at the posts) brings nothing of what
lies beside them. The light of their codes is that of IEC 61966-2-1 (sRGB) bent by the general cubic
from 0 to 1, code = s + s (1 - s) (p + q s), and an exponent a close to 1; chosen so that the
halftones have the light of their white area, and all hold cells together that of white.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from math import erf, sqrt

import numpy as np

from patterns.picture.arrays import FloatArray, UInt8Array
from patterns.picture.planes import srgb_to_light
from patterns.strip.code import Identity, hold_row, identity_bits
from patterns.strip.layout import Rect, StripGrid, hold_cells
from patterns.strip.placement import SIGNALS, Placement

BLURS_PX = (0.5, 0.65, 0.8, 0.95, 1.1, 1.3, 1.6, 2.0, 2.5)
REACH = np.linspace(-6, 6, 2401)
STEP = np.array([(1 + erf(x / sqrt(2))) / 2 for x in REACH])


@dataclass(frozen=True)
class Window:
    """Pixels of an upright piece of a picture, all arrays of one shape (rows, columns)."""

    codes: UInt8Array  # luma codes
    u: FloatArray  # middles of the pixels along the band, in fractions of it
    v: FloatArray  # and across it
    # how much u and v change over a pixel, each across its own lines
    per_px: tuple[FloatArray, FloatArray]

    def depth_px(self, rect: Rect) -> FloatArray:
        """How deep each pixel lies inside of a cell, pixels; negative outside."""
        across = np.minimum(self.u - rect.left, rect.right - self.u) / self.per_px[0]
        down = np.minimum(self.v - rect.top, rect.bottom - self.v) / self.per_px[1]
        return np.asarray(np.minimum(across, down), np.float64)


def corners(placement: Placement, rect: Rect) -> FloatArray:
    """Corners of a cell in the picture, (4, 2)."""
    x, y = (rect.left, rect.right), (rect.top, rect.bottom)
    return placement.to_picture([(x[i], y[j]) for i, j in ((0, 0), (1, 0), (1, 1), (0, 1))])


def look(luma: UInt8Array, placement: Placement, rect: Rect, beyond_px: float = 0.0) -> Window:
    """Pixels of the upright box around a cell and `beyond_px` more, as far as there is picture."""
    seen, size = corners(placement, rect), np.array(luma.shape[::-1])
    low = np.clip(np.floor(seen.min(axis=0) - beyond_px).astype(int), 0, size)
    high = np.clip(np.ceil(seen.max(axis=0) + beyond_px).astype(int), low, size)
    x, y = np.meshgrid(np.arange(low[0], high[0]) + 0.5, np.arange(low[1], high[1]) + 0.5)
    back = np.linalg.inv(placement.matrix)
    u, v, w = (row[0] * x + row[1] * y + row[2] for row in back)
    u, v = u / w, v / w

    def slope(row: FloatArray, value: FloatArray) -> FloatArray:
        across, down = row[0] - back[2, 0] * value, row[1] - back[2, 1] * value
        return np.asarray(np.hypot(across, down) / np.abs(w), np.float64)

    codes = luma[low[1] : high[1], low[0] : high[0]]
    return Window(codes, u, v, (slope(back[0], u), slope(back[1], v)))


def _covered(at: FloatArray, low: float, high: float, wide: FloatArray) -> FloatArray:
    rising = np.interp((at - low) / wide, REACH, STEP)
    return np.asarray(rising - np.interp((at - high) / wide, REACH, STEP), np.float64)


def coverage(window: Window, rect: Rect, blur: float) -> FloatArray:
    """Share of each pixel's light that comes from a cell, through a blur of `blur` pixels."""
    across = _covered(window.u, rect.left, rect.right, blur * window.per_px[0])
    return across * _covered(window.v, rect.top, rect.bottom, blur * window.per_px[1])


def blur_px(luma: UInt8Array, placement: Placement, light: FloatArray) -> float:
    """Blur of the picture as a Gaussian's sigma, from the long edges of both posts.

    `light` (256,) is the light of each code.
    """
    on = placement.grid
    misfit = np.zeros(len(BLURS_PX))
    ends = ((0.0, on.flags[0].left), (on.flags[1].right, 1.0))
    for post, (left, right) in zip(on.posts, ends, strict=True):
        high = post.bottom - post.top
        around = Rect(left, post.top + 0.25 * high, right, post.bottom - 0.2 * high)
        window = look(luma, placement, around)
        inside = window.depth_px(around) > 0
        seen = light[window.codes[inside]]
        if len(seen) < len(BLURS_PX):
            continue
        slope = window.v[inside] - window.v[inside].mean()
        at, wide = window.u[inside], window.per_px[0][inside]
        for i, blur in enumerate(BLURS_PX):
            lit = _covered(at, post.left, post.right, blur * wide)
            terms = np.stack([lit, np.ones_like(lit), slope, lit * slope], 1)
            rest = seen - terms @ np.linalg.lstsq(terms, seen, rcond=None)[0]
            misfit[i] += (rest @ rest) / max(float(seen.max()), 1e-6) ** 2
    return BLURS_PX[int(misfit.argmin())]


LEAST_PIXELS = 4  # of a patch
LEAST_COVERED = 0.3
LEAST_BLUR_PX = 0.8
REFERENCE, CLOSE, PAPER = 1.0, 2.0, 2.3  # blurs that a patch keeps from its edges
PAPER_UNITS = 6.0  # grid units of paper along the strip that make a patch


@dataclass(frozen=True)
class Patch:
    """Pixels of a cell or of paper."""

    codes: UInt8Array  # luma codes, (pixels,)
    covered: FloatArray  # share of each that the cell covers, (pixels,)
    at: tuple[float, float]  # their middle in the band, in band lengths along and across


@dataclass(frozen=True)
class Pixels:
    """All patches of a photo."""

    white: tuple[Patch, ...]  # cells that are always lit
    black: tuple[Patch, ...]  # cells that never are
    paper: tuple[Patch, ...]  # the band between the cells, which is a constant dark grey
    halftones: tuple[Patch, ...]  # whole fields, in the order of `HALFTONES`
    held: tuple[Patch, ...]  # hold cells
    number: tuple[Patch, ...]  # number cells; none where they are too small


@dataclass(frozen=True)
class _Taker:
    luma: UInt8Array
    placement: Placement
    blur: float

    def patch(self, rect: Rect, covered: bool, keep_px: float) -> Patch | None:
        """Pixels that a cell covers or, if not `covered`, that lie `keep_px` inside of it."""
        window = look(self.luma, self.placement, rect, 2.0 if covered else 0.0)
        if covered:
            share = coverage(window, rect, self.blur)
            chosen = share > LEAST_COVERED
        else:
            share = np.ones(window.u.shape)
            chosen = window.depth_px(rect) >= keep_px
        if chosen.sum() < LEAST_PIXELS:
            return None
        columns, rows = self.placement.grid.units
        at = (float(window.u[chosen].mean()), float(window.v[chosen].mean()) * rows / columns)
        return Patch(window.codes[chosen], share[chosen], at)

    def inside(self, rects: tuple[Rect, ...], blurs: float) -> tuple[Patch, ...]:
        keep_px = blurs * max(self.blur, LEAST_BLUR_PX) if blurs else 0.0
        found = (self.patch(rect, False, keep_px) for rect in rects)
        return tuple(patch for patch in found if patch is not None)

    def in_view(self, rects: tuple[Rect, ...]) -> bool:
        seen = np.concatenate([corners(self.placement, rect) for rect in rects])
        return bool((seen >= 0).all() and (seen <= np.array(self.luma.shape[::-1])).all())


def _paper(on: StripGrid) -> tuple[Rect, ...]:
    """Where the band itself is seen: above and below the rows, beside the hold row, at the ends."""
    left, right = on.number[0].left, max(line.right for line in on.figures)
    top = on.number[0].top
    bottom = max(cell.bottom for cell in on.identity + on.figures)
    places = np.linspace(left, right, round((right - left) * on.units[0] / PAPER_UNITS) + 1)
    beyond = ((0.0, top), (bottom, 1.0))
    found = [Rect(x0, y0, x1, y1) for y0, y1 in beyond for x0, x1 in pairwise(places)]
    row, tones = on.hold_row, on.halftones
    found.append(Rect(on.flags[0].right, row.top, row.left, row.bottom))
    found.append(Rect(row.right, row.top, tones[0].left, row.bottom))
    if on.figures[0].left > tones[-1].right:
        heights = np.linspace(top, bottom, 5)
        found += [Rect(tones[-1].right, y0, on.figures[0].left, y1) for y0, y1 in pairwise(heights)]
    return (*found, *on.dark)


def take_pixels(luma: UInt8Array, placement: Placement, identity: Identity) -> Pixels | None:
    """Take the pixels of a photo; None if not all cells lie in it.

    `identity`: tells how many hold cells there are and which identity cells are lit.
    """
    on = placement.grid
    take = _Taker(luma, placement, blur_px(luma, placement, srgb_to_light(SIGNALS)))
    hold = hold_cells(on, hold_row(identity.rate).cells)
    if not take.in_view(on.white + on.black + on.identity + on.halftones + hold):
        return None
    bits = identity_bits(identity)
    lit = tuple(cell for cell, bit in zip(on.identity, bits, strict=True) if bit)
    unlit = tuple(cell for cell, bit in zip(on.identity, bits, strict=True) if not bit)
    held = tuple(p for cell in hold if (p := take.patch(cell, True, 0)) is not None)
    tones = take.inside(on.halftones, 0)
    if len(held) < len(hold) or len(tones) < len(on.halftones):
        return None
    number = take.inside(on.number, REFERENCE)
    return Pixels(
        take.inside(on.white, REFERENCE) + take.inside((*lit, *on.posts), CLOSE),
        take.inside((*on.black, on.halftones[0]), REFERENCE) + take.inside(unlit, CLOSE),
        take.inside(_paper(on), PAPER),
        tones,
        held,
        number if len(number) == len(on.number) else (),
    )


CURVE_ROUNDS = 10
SLOPE_STEP = 1e-3
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
        moved = parameters + SLOPE_STEP * np.eye(3)
        slope = np.array([(misfit(LightCurve(*m)) - now) / SLOPE_STEP for m in moved]).T
        target = slope.T @ now + pull * (parameters - PLAIN)
        change = np.linalg.solve(slope.T @ slope + np.diag(pull), -target)
        parameters = parameters + np.clip(change, -LARGEST_MOVE, LARGEST_MOVE)
        parameters[1] = np.clip(parameters[1], -STEEPEST, STEEPEST)
        parameters[2] = min(parameters[2], FLATTEST - parameters[1])
    curve = LightCurve(*parameters)
    return curve, float(np.sqrt(np.mean(misfit(curve) ** 2)))
