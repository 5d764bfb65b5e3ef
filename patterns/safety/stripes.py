"""Regular stripes in one picture: how many pairs, how large, how bright; and their limits.

The strongest peak of the picture's spectrum gives the stripes' direction and spacing; the
picture is multiplied by that wave and averaged over two periods, which leaves its amplitude at
every place (quadrature demodulation). The limits are those of ITU-R BT.1702-3, guidance on
regular patterns (second-hand quotation), and of Harding et al., Epilepsia 46(9):1423-1425 (2005),
the Epilepsy Foundation's consensus (its abstract was seen); SAFETY.md has them in words.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from math import atan2, ceil, degrees, pi
from typing import NamedTuple, TypeVar

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import BoolArray, Float32Array
from patterns.safety.luminance import square_means
from patterns.safety.report import StripeFinding
from patterns.safety.viewing import FINE, SMALL_AREA_SR, Viewing

FEWEST_PAIRS = 4.5  # across the whole picture; no criterion asks about fewer than five
HIGHEST_FREQUENCY = 1 / 3  # cycles a fine cell: finer stripes blur together
# Our choices, no source: what 'clearly discernible' and 'regular' mean here.
LEAST_CONTRAST = 0.1
LEAST_AMPLITUDE_CD_M2 = 1.0
LEAST_REGULARITY = 0.2

ComplexGrid = npt.NDArray[np.complex64]
Grid = TypeVar("Grid", Float32Array, ComplexGrid)


class Stripes(NamedTuple):
    """Stripes of one picture."""

    pairs: float  # light-dark pairs across the region
    share: float  # share of the picture that the region fills
    # light_cd_m2, dark_cd_m2: luminance of its lightest and darkest stripes (97th and 3rd
    # percentile)
    light_cd_m2: float
    dark_cd_m2: float
    frequency: tuple[float, float]  # cycles a fine cell along x and y
    region: BoolArray  # where they are, on the grid of cells

    @property
    def normal_deg(self) -> float:
        """Direction across the stripes, degrees from x (y down), above -90 to 90."""
        angle = degrees(atan2(self.frequency[1], self.frequency[0]))
        return angle - 180 * ceil((angle - 90) / 180)


def _peak(spectrum: Float32Array, shape: tuple[int, int]) -> tuple[float, float] | None:
    """Frequency (x, y) in cycles a fine cell of the strongest wave, None if it is too coarse."""
    rows, columns = shape
    power = spectrum * _wanted(shape, spectrum.shape[1])
    j, i = np.unravel_index(int(power.argmax()), power.shape)
    if power[j, i] <= 0:
        return None
    ky = np.fft.fftfreq(rows, 1 / rows)
    # An overtone of a coarser wave is not the stripes' own spacing.
    for part in (4, 3, 2):
        x, y = i / part, ky[j] / part
        if abs(x) + abs(y) > 1 and _near(spectrum, x, y, (i, j)) > 0.8 * power[j, i]:
            if x + abs(y) < FEWEST_PAIRS - 1:
                return None
            return x / columns, y / rows
    return i / columns, ky[j] / rows


@lru_cache(maxsize=4)  # pictures of a file are all of one size
def _wanted(shape: tuple[int, int], across: int) -> BoolArray:
    """Which waves of a picture's spectrum, the first `across` ones along x, are asked about."""
    rows, columns = shape
    ky, kx = np.fft.fftfreq(rows, 1 / rows)[:, np.newaxis], np.arange(across)
    frequency = np.hypot(kx / columns, ky / rows)
    return np.asarray((kx + np.abs(ky) >= FEWEST_PAIRS) & (frequency <= HIGHEST_FREQUENCY))


def _near(spectrum: Float32Array, x: float, y: float, peak: tuple[np.intp, np.intp]) -> float:
    """Power at the wave (x, y) and its neighbours, those apart that the peak leaks into."""
    rows, columns = spectrum.shape
    ys = [(round(y) + a) % rows for a in (-1, 0, 1)]
    xs = [n for a in (-1, 0, 1) if 0 <= (n := round(x) + a) < columns]
    j, i = int(peak[1]), int(peak[0])
    own = {((j + a) % rows, i + b) for a in (-1, 0, 1) for b in (-1, 0, 1)}
    return max((float(spectrum[n, m]) for n in ys for m in xs if (n, m) not in own), default=0.0)


def _box(mean: Grid, half: int) -> Grid:
    """Mean over `half` cells before and after along both axes, less at the border."""
    for _ in range(2):  # rows are summed several times as fast as columns
        mean = np.ascontiguousarray(mean.T)
        n = mean.shape[1]
        sums = np.zeros((len(mean), n + 1), np.result_type(mean, np.float64))
        np.cumsum(mean, axis=1, out=sums[:, 1:])
        low = np.maximum(np.arange(n) - half, 0)
        high = np.minimum(np.arange(n) + half, n)
        means = (sums.take(high, 1) - sums.take(low, 1)) * (1 / (high - low))
        mean = means.astype(mean.dtype)
    return mean


def _refined(wave: ComplexGrid, region: BoolArray) -> tuple[float, float]:
    """Rest of the frequency (x, y), cycles a cell: the slope of the demodulated phase."""
    inside = np.where(region, wave, 0)
    along_x = np.vdot(inside[:, :-1], inside[:, 1:])
    along_y = np.vdot(inside[:-1], inside[1:])
    return float(np.angle(along_x)) / (2 * pi), float(np.angle(along_y)) / (2 * pi)


def _extent(places: BoolArray, x: float, y: float) -> float:
    """Cycles of the wave (x, y), cycles a cell, across the places."""
    rows, columns = np.nonzero(places)
    phase = columns * x + rows * y
    return float(phase.max() - phase.min()) + abs(x) + abs(y)


def find_stripes(screen_fine: Float32Array, fine: int = FINE) -> Stripes | None:
    """Find the strongest regular stripes of a picture.

    `screen_fine`: luminance in cd/m2, float32 (`fine` x rows, `fine` x columns).
    `fine`: how many of its cells lie along the side of a cell of the grid.
    Returns the stripes, or None where there are none of at least `FEWEST_PAIRS` pairs.
    """
    middle = screen_fine - screen_fine.mean()
    if float(np.abs(middle).max()) < LEAST_AMPLITUDE_CD_M2:
        return None
    finest = int(middle.shape[1] * HIGHEST_FREQUENCY) + 1  # cycles along x that are asked about
    waves = np.fft.fft(np.fft.rfft(middle)[:, :finest], axis=0)
    found = _peak(np.abs(waves).astype(np.float32) ** 2, middle.shape)
    if found is None:
        return None
    # Wide stripes are looked at on cells, which is nine times quicker and as exact.
    coarse = fine if np.hypot(*found) * fine <= 1 / 4 else 1
    light = square_means(screen_fine, coarse)
    return _demodulate(light, found[0] * coarse, found[1] * coarse, (coarse, fine // coarse))


def _percentiles(values: Float32Array, *percent: int) -> tuple[float, ...]:
    """Values next to the percentiles: numpy's own begin by loading its masked arrays."""
    places = [round((values.size - 1) * part / 100) for part in percent]
    return tuple(np.partition(values, places, axis=None)[places].tolist())


def _demodulate(light: Float32Array, x: float, y: float, scales: tuple[int, int]) -> Stripes | None:
    half = max(1, round(1 / np.hypot(x, y)))
    detail = light - _box(light, half)
    rows = np.exp(-2j * pi * y * np.arange(light.shape[0]))
    columns = np.exp(-2j * pi * x * np.arange(light.shape[1]))
    turning = np.outer(rows, columns).astype(np.complex64)
    wave = _box(np.asarray(detail * turning, np.complex64), half)
    amplitude = 2 * np.abs(wave)
    variance = _box(detail**2, half)
    (highest,) = _percentiles(amplitude, 99)
    places = (amplitude >= highest / 2) & (amplitude >= LEAST_AMPLITUDE_CD_M2)
    places &= amplitude**2 / 2 >= LEAST_REGULARITY * variance
    if not places.any():
        return None
    more_x, more_y = _refined(wave, places)
    x, y = x + more_x, y + more_y
    dark, bright = _percentiles(light[places], 3, 97)
    pairs = _extent(places, x, y)
    if bright - dark < LEAST_CONTRAST * (bright + dark) or pairs < FEWEST_PAIRS - 0.5:
        return None
    coarse, step = scales
    return Stripes(
        pairs=pairs,
        share=float(places.mean()),
        light_cd_m2=bright,
        dark_cd_m2=dark,
        frequency=(x / coarse, y / coarse),
        region=places[step // 2 :: step, step // 2 :: step],
    )


CHANGING = ("reversing", "oscillating", "flashing")
SHOWN_S = Fraction(1, 2)
BRIGHT_CD_M2 = 50.0
PAIRS_TOLERANCE = 0.25  # the count is measured to about a tenth of a pair; our choice


class StripeRules(NamedTuple):
    """Both criteria for stripes, for pictures of a size at a viewing."""

    width: int
    height: int
    viewing: Viewing

    def findings(
        self, stripes: Stripes | None, motion: str, interval: tuple[Fraction, Fraction], still: bool
    ) -> tuple[StripeFinding, StripeFinding]:
        """Judge stripes that were shown during `interval` with `motion`; `still` pictures stay."""
        changing = motion in CHANGING
        shown = still or interval[1] - interval[0] >= SHOWN_S
        bright = stripes is not None and stripes.light_cd_m2 > BRIGHT_CD_M2
        small = SMALL_AREA_SR / self.viewing.solid_angle_sr(1, self.width, self.height)
        screen = StripeFinding(
            "ITU-R BT.1702 regular patterns",
            "ITU-R BT.1702-3 (11/2023), attachment 1, quoted second-hand",
            pairs_limit=5,
            share_limit=0.25 if changing else 0.40,
        )
        consensus = StripeFinding(
            "Epilepsy Foundation patterns",
            "Harding et al., Epilepsia 46(9):1423-1425 (2005), abstract",
            pairs_limit=5 if changing else 8,
            share_limit=small,
        )
        if stripes is None:
            return screen, consensus
        return (
            _judged(screen, stripes, motion, interval, applies=motion != "drifting"),
            _judged(consensus, stripes, motion, interval, applies=shown and bright),
        )


def _judged(
    limits: StripeFinding,
    stripes: Stripes,
    motion: str,
    interval: tuple[Fraction, Fraction],
    *,
    applies: bool,
) -> StripeFinding:
    """What stripes are by the limits of one criterion."""
    many = stripes.pairs > limits.pairs_limit + PAIRS_TOLERANCE
    exceeds = applies and many and stripes.share > limits.share_limit
    return limits._replace(
        exceeds=exceeds,
        pairs=stripes.pairs,
        share=stripes.share,
        light_cd_m2=stripes.light_cd_m2,
        dark_cd_m2=stripes.dark_cd_m2,
        motion=motion,
        normal_deg=stripes.normal_deg,
        intervals=(interval,) if exceeds and interval[1] > interval[0] else (),
    )
