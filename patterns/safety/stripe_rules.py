"""Limits on regular stripes: ITU-R BT.1702's guidance and the Epilepsy Foundation's consensus.

ITU-R BT.1702-3, guidance on regular patterns (second-hand quotation): more than five
light-dark pairs of clearly discernible stripes in any direction are a risk if they stand
and fill more than 40 % of the screen, or change direction, oscillate, flash or reverse
and fill more than 25 %; patterns that flow smoothly in one direction are exempt (one
other, second-hand quotation).

Harding et al., Epilepsia 46(9):1423-1425 (2005), the Epilepsy Foundation's consensus
(its abstract was seen): stripes that are shown for 0.5 s or longer, whose lightest is
above 50 cd/m2 and that fill more than 0.006 sr should be at most five pairs if they
change direction, oscillate, flash or reverse, else at most eight.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from patterns.safety.report import StripeFinding
from patterns.safety.stripes import Stripes
from patterns.safety.viewing import SMALL_AREA_SR, Viewing

CHANGING = ("reversing", "oscillating", "flashing")
SHOWN_S = Fraction(1, 2)
BRIGHT_CD_M2 = 50.0

PAIRS_TOLERANCE = 0.25  # the count is measured to about a tenth of a pair; our choice


@dataclass(frozen=True)
class StripeRules:
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
    return replace(
        limits,
        exceeds=exceeds,
        pairs=stripes.pairs,
        share=stripes.share,
        light_cd_m2=stripes.light_cd_m2,
        dark_cd_m2=stripes.dark_cd_m2,
        motion=motion,
        normal_deg=stripes.normal_deg,
        intervals=(interval,) if exceeds and interval[1] > interval[0] else (),
    )
