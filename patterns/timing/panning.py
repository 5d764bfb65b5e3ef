"""The trade's guidance for the speed of a pan.

"A 7 s pan across the screen is considered the fast limit" at 24 frames a second: quoted
by Chapiro, Atkins and Daly, *A Luminance-aware Model of Judder Perception*, ACM TOG
38(5) (2019), section 4.1, from Burum (ed.), *American Cinematographer Manual* (2007).
Allowing other rates in proportion, 7 s x 24/rate, is a convention, not a measured law;
it amounts to one 168th of the picture's width from frame to frame, at every rate.
"""

from __future__ import annotations

from fractions import Fraction

LIMIT_SECONDS = 7
REFERENCE_RATE = 24


def limit_cross_s(rate: Fraction) -> Fraction:
    """Shortest time to cross the picture's width that the guidance allows at `rate`, seconds."""
    return LIMIT_SECONDS * REFERENCE_RATE / rate


def limit_px_s(rate: Fraction, width: int) -> Fraction:
    """Fastest image speed that the guidance allows at `rate`, pixels a second."""
    return width / limit_cross_s(rate)
