"""Shutter angle and exposure time.

exposure = angle / (360 * rate); 180 degrees at 24 fps is 1/48 s. Source: Brown,
*Cinematography: Theory and Practice*, chapter on exposure, table 10.6.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

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

    Raises
    ------
    RequestError
        Negative, or longer than one frame; the message names the longest allowed.
    """
    if exposure_s < 0 or exposure_s * rate > 1:
        longest = 1 / rate
        raise RequestError(
            f"exposure {format_exposure(exposure_s)} does not fit a frame at "
            f"{float(rate):.6g} fps: the longest allowed is {format_exposure(longest)}"
        )
    return exposure_s * rate * 360


@dataclass(frozen=True)
class Shutter:
    """A shutter that is kept at several rates: by its angle, or by time if that is given."""

    angle_deg: Fraction = USUAL_ANGLE_DEG
    exposure_s: Fraction | None = None

    @classmethod
    def of(cls, angle_deg: Fraction | None, exposure_s: Fraction | None) -> Shutter:
        """Shutter from an angle or a time, the usual angle where neither is given.

        Raises
        ------
        RequestError
            Both are given.
        """
        if angle_deg is not None and exposure_s is not None:
            raise RequestError("shutter and exposure both set the exposure: give one of the two")
        return cls(USUAL_ANGLE_DEG if angle_deg is None else angle_deg, exposure_s)

    def at(self, rate: Fraction) -> Fraction:
        """Exposure in seconds at `rate` hertz.

        Raises
        ------
        RequestError
            It does not fit a frame.
        """
        if self.exposure_s is None:
            return exposure_of_angle(self.angle_deg, rate)
        shutter_angle(self.exposure_s, rate)
        return self.exposure_s


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
