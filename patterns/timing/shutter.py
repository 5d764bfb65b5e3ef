"""Shutter angle and exposure time, a metered exposure, and the filters that allow another.

exposure = angle / (360 * rate); 180 degrees at 24 fps is 1/48 s. Source: Brown,
*Cinematography: Theory and Practice*, chapter on exposure, table 10.6.

EV = log2(N^2/t) for f-number N and time t in seconds; EV at ISO 100 is EV - log2(ISO/100)
(the definition from memory, no source seen). Transmission is 10^-D; stops = log2(factor)
= D/log10(2); densities of stacked filters add, their factors multiply.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations_with_replacement
from math import log2, log10
from typing import NamedTuple

from patterns.errors import RequestError

USUAL_ANGLE_DEG = Fraction(180)  # half of each frame's time: of whoever states no shutter

_NUMBER = re.compile(r"\d{1,6}(\.\d{1,9})?")
_RATIO = re.compile(r"(\d{1,6}(?:\.\d{1,6})?)\s*/\s*(\d{1,6}(?:\.\d{1,6})?)")


def exposure_of_angle(angle_deg: Fraction, rate: Fraction) -> Fraction:
    """Exposure time in seconds of a shutter angle in degrees (0 to 360) at `rate` hertz."""
    if not 0 <= angle_deg <= 360:
        raise RequestError(
            f"shutter {float(angle_deg):g} degrees is outside 0 to 360: 180 is the usual choice"
        )
    return angle_deg / (360 * rate)


def shutter_angle(exposure_s: Fraction, rate: Fraction) -> Fraction:
    """Shutter angle in degrees of an exposure in seconds at `rate` hertz.

    Raises `RequestError`: negative, or longer than one frame.
    """
    if exposure_s < 0 or exposure_s * rate > 1:
        raise RequestError(
            f"exposure {format_exposure(exposure_s)} does not fit a frame at "
            f"{float(rate):.6g} fps: the longest allowed is {format_exposure(1 / rate)}"
        )
    return exposure_s * rate * 360


class Shutter(NamedTuple):
    """A shutter that is kept at several rates: by its angle, or by time if that is given."""

    angle_deg: Fraction = USUAL_ANGLE_DEG
    exposure_s: Fraction | None = None

    @classmethod
    def of(cls, angle_deg: Fraction | None, exposure_s: Fraction | None) -> Shutter:
        """Shutter from an angle or a time, the usual angle where neither is given.

        Raises `RequestError`: both are given.
        """
        if angle_deg is not None and exposure_s is not None:
            raise RequestError("shutter and exposure both set the exposure: give one of the two")
        return cls(USUAL_ANGLE_DEG if angle_deg is None else angle_deg, exposure_s)

    def at(self, rate: Fraction) -> Fraction:
        """Exposure in seconds at `rate` hertz.

        Raises `RequestError`: it does not fit a frame.
        """
        if self.exposure_s is None:
            return exposure_of_angle(self.angle_deg, rate)
        shutter_angle(self.exposure_s, rate)
        return self.exposure_s


USUAL_SHUTTER = Shutter()


def parse_angle(text: str) -> Fraction:
    """Shutter angle in degrees from text such as '180' or '172.8'."""
    if not _NUMBER.fullmatch(text.strip()):
        raise RequestError(f"shutter {text!r} is not an angle: give 0 to 360 degrees, such as 180")
    angle = Fraction(text.strip())
    if angle > 360:
        raise RequestError(f"shutter {text!r} is outside 0 to 360 degrees: 180 is the usual choice")
    return angle


def parse_exposure(text: str) -> Fraction:
    """Exposure in seconds from text such as '1/50' or '0.02'."""
    stripped = text.strip().removesuffix("s").strip()
    ratio = _RATIO.fullmatch(stripped)
    if ratio and Fraction(ratio[2]):
        return Fraction(ratio[1]) / Fraction(ratio[2])
    if _NUMBER.fullmatch(stripped):
        return Fraction(stripped)
    raise RequestError(f"exposure {text!r} is not a time: give seconds as 1/50 or 0.02")


def format_exposure(exposure_s: Fraction) -> str:
    """Exposure as photographers write it: '1/48 s', '1/59.94 s', '0 s'."""
    if exposure_s == 0:
        return "0 s"
    inverse = 1 / exposure_s
    if inverse.denominator == 1:
        return f"1/{inverse.numerator} s"
    if exposure_s >= Fraction(1, 2):
        return f"{float(exposure_s):.4g} s"
    return f"1/{float(inverse):.5g} s"


_ISO = re.compile(r"\b(?:iso|ei)[\s:=-]*(\d{1,7})\b", re.IGNORECASE)
_APERTURE = re.compile(r"\b[ft]\s*/?\s*(\d{1,3}(?:\.\d{1,3})?)\b", re.IGNORECASE)
_TIME = re.compile(
    r"(?<![\w./])(\d{1,6}(?:\.\d{1,6})?\s*/\s*\d{1,6}(?:\.\d{1,6})?|\d{1,3}(?:\.\d{1,6})?)"
    r"\s*(?:s|sec)?(?![\w./])",
    re.IGNORECASE,
)
_EXAMPLE = 'give it as "ISO100 f/2.8 1/2000"'


def exposure_value(aperture: Fraction, exposure_s: Fraction) -> float:
    """EV = log2(N^2/t) of f-number `aperture` (> 0) and time in seconds (> 0)."""
    return log2(float(aperture**2 / exposure_s))


@dataclass(frozen=True)
class MeteredExposure:
    """What the meter says is right: ISO speed, f-number and time in seconds."""

    iso: Fraction
    aperture: Fraction
    exposure_s: Fraction

    def __post_init__(self) -> None:
        """Check that the numbers make sense; a camera need not have them."""
        for name, value, low, high in (
            ("ISO", self.iso, 1, 10_000_000),
            ("aperture f/", self.aperture, Fraction(1, 2), 128),
            ("exposure", self.exposure_s, Fraction(1, 10**9), 10**6),
        ):
            if not low <= value <= high:
                raise RequestError(
                    f"metered {name} {float(value):g} is outside {float(low):g} to "
                    f"{float(high):g}: {_EXAMPLE}"
                )

    @property
    def ev100(self) -> float:
        """Brightness of the scene as exposure value at ISO 100."""
        return exposure_value(self.aperture, self.exposure_s) - log2(float(self.iso / 100))

    @property
    def text(self) -> str:
        """'ISO 100, f/2.8, 1/2000 s'."""
        lens = f"ISO {float(self.iso):g}, f/{float(self.aperture):g}"
        return f"{lens}, {format_exposure(self.exposure_s)}"


def exposure_for_ev100(ev100: float, iso: Fraction, aperture: Fraction) -> MeteredExposure:
    """Right exposure for a scene of brightness `ev100`: t = N^2/(2^EV100 ISO/100).

    The time is rounded to a part in 10^9.
    Raises `RequestError`: outside EV -10 to 25, or what no camera has.
    """
    if not -10 <= ev100 <= 25:
        raise RequestError(f"ev {ev100:g} is outside -10 to 25: full sun is about 15")
    inverse_s = 2**ev100 * float(iso / 100) / float(aperture) ** 2 if aperture else 0.0
    if inverse_s <= 0:
        raise RequestError("ISO and aperture must be above 0: try --iso 100 --aperture 2.8")
    return MeteredExposure(iso, aperture, 1 / Fraction(inverse_s).limit_denominator(10**9))


def parse_metered(text: str) -> MeteredExposure:
    """Metered exposure from text such as 'ISO100 f/2.8 1/2000' or 'EI-400 0.01s T4', in any order.

    Raises `RequestError`: a part, which is named, is missing or there is more than one of it.
    """
    rest, iso = _take(_ISO, text, text, "ISO speed")
    rest, aperture = _take(_APERTURE, rest, text, "aperture")
    rest, time = _take(_TIME, rest, text, "exposure time")
    if rest.strip(" ,;@|\t"):
        raise RequestError(f"metered {text!r} has {rest.strip()!r} left over: {_EXAMPLE}")
    return MeteredExposure(Fraction(iso), Fraction(aperture), parse_exposure(time))


def _take(pattern: re.Pattern[str], rest: str, whole: str, part: str) -> tuple[str, str]:
    """Cut the one match out of `rest`: what remains, and the match."""
    found = list(pattern.finditer(rest))
    if not found:
        raise RequestError(f"metered {whole!r} has no {part}: {_EXAMPLE}")
    if len(found) > 1:
        raise RequestError(f"metered {whole!r} has more than one {part}: {_EXAMPLE}")
    return rest[: found[0].start()] + " " + rest[found[0].end() :], found[0][1]


# ND 0.3 to 3.0 in steps of 0.3, one nominal stop each (common practice, no source).
USUAL_DENSITIES = tuple(Fraction(3 * k, 10) for k in range(1, 11))

PAIR_WORTH_STOPS = 0.25  # a second filter must bring the exposure nearer by at least this


def density_of(stops: float) -> float:
    """Optical density of a number of stops: D = stops log10(2)."""
    return stops * log10(2)


def stops_of(density: Fraction | float) -> float:
    """Convert optical density to stops: D/log10(2); 0.3 is 0.9966."""
    return float(density) / log10(2)


class FilterChoice(NamedTuple):
    """Filters for a wanted number of stops."""

    wanted_stops: float  # how much too bright the wanted exposure would be
    densities: tuple[Fraction, ...]  # filters to stack, strongest first; empty for none

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
        return " + ".join(f"ND {float(d):.1f}" for d in self.densities) or "no filter"

    @property
    def described(self) -> str:
        """'ND 1.8 (ND64, 6 stops)': density, the name by factor of a single one, and stops."""
        if not self.densities:
            return self.names
        count = round(stops_of(sum(self.densities, Fraction(0))))
        stops = "1 stop" if count == 1 else f"{count} stops"
        if len(self.densities) > 1:
            return f"{self.names} ({stops})"
        # the nearest power of two; density 3.0 is sold as ND1000 (common practice)
        return f"{self.names} (ND{1000 if count == 10 else 2**count}, {stops})"


def choose_filters(wanted_s: Fraction, metered_s: Fraction) -> FilterChoice:
    """Choose filters that let a scene metered at `metered_s` be exposed for `wanted_s`.

    The usual single filter or pair whose density is nearest, or none; a pair only where it comes
    nearer by a quarter stop, and then a strong one with a weak one.
    """
    stops = log2(float(wanted_s / metered_s))

    def miss(densities: tuple[Fraction, ...]) -> float:
        return abs(stops - stops_of(sum(densities, Fraction(0))))

    strongest_first = USUAL_DENSITIES[::-1]
    singles = [(), *((density,) for density in strongest_first)]
    pairs = combinations_with_replacement(strongest_first, 2)
    single, pair = (min(own, key=lambda c: round(miss(c), 9)) for own in (singles, pairs))
    return FilterChoice(stops, pair if miss(pair) < miss(single) - PAIR_WORTH_STOPS else single)
