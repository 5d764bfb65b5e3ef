"""Neutral-density filters: stops, factor, density, and what to take from the case.

Transmission is 10^-D; stops = log2(factor) = D/log10(2); densities of stacked filters
add, their factors multiply.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations_with_replacement
from math import log2, log10

__all__ = ["USUAL_DENSITIES", "FilterChoice", "choose_filters", "density_of", "stops_of"]

# ND 0.3 to 3.0 in steps of 0.3, one nominal stop each (common practice, no source).
USUAL_DENSITIES = tuple(Fraction(3 * k, 10) for k in range(1, 11))

PAIR_WORTH_STOPS = 0.25  # a second filter must bring the exposure nearer by at least this


def density_of(stops: float) -> float:
    """Optical density of a number of stops: D = stops log10(2)."""
    return stops * log10(2)


def stops_of(density: Fraction | float) -> float:
    """Convert optical density to stops: D/log10(2); 0.3 is 0.9966."""
    return float(density) / log10(2)


@dataclass(frozen=True)
class FilterChoice:
    """Filters for a wanted number of stops.

    Attributes
    ----------
    wanted_stops
        How much too bright the wanted exposure would be; negative if it is too dark.
    densities
        Filters to stack, strongest first; empty for none.
    """

    wanted_stops: float
    densities: tuple[Fraction, ...]

    @property
    def factor(self) -> float:
        """How many times too bright, 2^stops."""
        return float(2**self.wanted_stops)

    @property
    def density(self) -> float:
        """Optical density that would be exact."""
        return density_of(self.wanted_stops)

    @property
    def trim_stops(self) -> float:
        """What remains after the filters: above 0 still too bright, below 0 now too dark."""
        return self.wanted_stops - stops_of(sum(self.densities, Fraction(0)))

    @property
    def names(self) -> str:
        """'ND 1.8', 'ND 3.0 + ND 0.6' or 'no filter'."""
        if not self.densities:
            return "no filter"
        return " + ".join(f"ND {float(d):.1f}" for d in self.densities)

    @property
    def described(self) -> str:
        """'ND 1.8 (ND64, 6 stops)': density, the name by factor of a single one, and stops."""
        if not self.densities:
            return self.names
        count = round(stops_of(sum(self.densities, Fraction(0))))
        stops = "1 stop" if count == 1 else f"{count} stops"
        if len(self.densities) > 1:
            return f"{self.names} ({stops})"
        return f"{self.names} ({_factor_name(self.densities[0])}, {stops})"


def _factor_name(density: Fraction) -> str:
    """'ND64': the nearest power of two; density 3.0 is sold as ND1000 (common practice)."""
    factor = 2 ** round(stops_of(density))
    return "ND1000" if factor == 1024 else f"ND{factor}"


def choose_filters(
    wanted_s: Fraction, metered_s: Fraction, usual: tuple[Fraction, ...] = USUAL_DENSITIES
) -> FilterChoice:
    """Choose filters that let a scene metered at `metered_s` be exposed for `wanted_s`.

    Both at one ISO and aperture. The single filter or pair of `usual` whose density is
    nearest, none being one of the choices; a pair only where it comes nearer by a
    quarter stop, and then a strong one with a weak one.
    """
    stops = log2(float(wanted_s / metered_s))
    strongest_first = sorted(usual, reverse=True)
    single = _nearest(stops, [(), *((d,) for d in strongest_first)])
    pair = _nearest(stops, list(combinations_with_replacement(strongest_first, 2)))
    worth_it = _miss(stops, pair) < _miss(stops, single) - PAIR_WORTH_STOPS
    return FilterChoice(stops, pair if worth_it else single)


def _nearest(stops: float, choices: Sequence[tuple[Fraction, ...]]) -> tuple[Fraction, ...]:
    return min(choices, key=lambda c: round(_miss(stops, c), 9), default=())


def _miss(stops: float, densities: tuple[Fraction, ...]) -> float:
    return abs(stops - stops_of(sum(densities, Fraction(0))))
