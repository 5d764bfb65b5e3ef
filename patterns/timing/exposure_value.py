"""A metered exposure and its exposure value.

EV = log2(N^2/t) for f-number N and time t in seconds; EV at ISO 100 is EV - log2(ISO/100)
(the definition from memory, no source seen).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from math import log2

from patterns.errors import RequestError
from patterns.timing.shutter import format_exposure, parse_exposure

__all__ = ["MeteredExposure", "exposure_for_ev100", "exposure_value", "parse_metered"]

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
        return (
            f"ISO {float(self.iso):g}, f/{float(self.aperture):g}, "
            f"{format_exposure(self.exposure_s)}"
        )


def exposure_for_ev100(ev100: float, iso: Fraction, aperture: Fraction) -> MeteredExposure:
    """Right exposure for a scene of brightness `ev100`: t = N^2/(2^EV100 ISO/100).

    The time is rounded to a part in 10^9.

    Raises
    ------
    RequestError
        Outside EV -10 to 25, or what no camera has.
    """
    if not -10 <= ev100 <= 25:
        raise RequestError(f"ev {ev100:g} is outside -10 to 25: full sun is about 15")
    inverse_s = 2**ev100 * float(iso / 100) / float(aperture) ** 2 if aperture else 0.0
    if inverse_s <= 0:
        raise RequestError("ISO and aperture must be above 0: try --iso 100 --aperture 2.8")
    return MeteredExposure(iso, aperture, 1 / Fraction(inverse_s).limit_denominator(10**9))


def parse_metered(text: str) -> MeteredExposure:
    """Metered exposure from text such as 'ISO100 f/2.8 1/2000', parts in any order.

    Also 'f2.8, iso 100, 1/2000 s', 'EI-400 F/4 0.01s', 'T2.8'.

    Raises
    ------
    RequestError
        A part is missing or there is more than one of it; the message names the part.
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
