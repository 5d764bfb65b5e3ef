"""Flashes and stripes of the bars pattern, proved from its parameters.

What a place sees. Bars of period P that move at v past a place come v / P times a
second; sampled F times a second the pattern advances c = v / (P F) of a period from frame to
frame, which looks the same as a = |c - round(c)|, in either direction. A place turns
light once and dark once for each period that passes, so within the ceil(F) frames of
any one second it turns light at most ceil(ceil(F) a) times, and dark as often. Seven
changes need four of one kind, so no place flashes more than three times in a second if
ceil(F) a <= 3. That is a bound for every place at once, whatever the area.

How much it changes. The light at a place lies between that of a bar's centre and that of
a gap's centre, in the closed form of the renderer (shutter, soft edges and the pixel's
square included). Bars are grey, so they are never red.

The two patterns of country are textured: nothing is proved for them, their frames are
looked at while they are rendered.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil

import numpy as np

from patterns.clip import Clip
from patterns.safety.check import (
    BT1702,
    RELATIVE_DARK,
    RELATIVE_STEP,
    SCREEN_DARK_CD_M2,
    SCREEN_STEP_CD_M2,
    WCAG,
)
from patterns.safety.flashes import LEAST_FLASHING, MOST_CHANGES
from patterns.safety.luminance import srgb_decode
from patterns.safety.regions import SCREEN_SHARE
from patterns.safety.report import FlashFinding, SafetyReport, StripeFinding
from patterns.safety.stripe_rules import StripeRules, motion_word
from patterns.safety.stripes import LEAST_AMPLITUDE_CD_M2, LEAST_CONTRAST, Stripes
from patterns.safety.viewing import Viewing
from patterns.scenes.bars import axis, bar_light, crossing_px
from patterns.scenes.motion import BarsMotion
from patterns.strip.layout import picture_rows

__all__ = ["changes_per_s", "cycles_per_frame", "judge_clip"]

# The counting strip's cells that can change together fill less than this of the frame.
STRIP_SHARE = 0.027

HALF_CODE = 0.5 / 219  # of the signal: what rounding to eight bits can add


def judge_clip(clip: Clip, viewing: Viewing | None = None) -> SafetyReport | None:
    """Judge a clip from its parameters alone.

    Parameters
    ----------
    clip
        Any clip; it is judged as it looks when it is played in a loop.
    viewing
        Assumed viewing.

    Returns
    -------
    The report, which never passes what the check of the pictures fails, or None where
    nothing can be proved (terrain, orbit) and the pictures must be looked at.
    """
    if not isinstance(clip.motion, BarsMotion):
        return None
    viewing = viewing or Viewing()
    return SafetyReport(
        method="parameters",
        width=clip.width,
        height=clip.height,
        frames=clip.frames,
        duration_s=clip.duration_s,
        viewing=viewing,
        flashes=_flashes(clip, clip.motion, viewing),
        stripes=_stripes(clip, clip.motion, viewing),
        notes=_notes(clip, viewing),
    )


def cycles_per_frame(motion: BarsMotion, rate: Fraction) -> Fraction:
    """Share of a period by which the bars seem to move from frame to frame, 0 to 1/2."""
    shift = abs(motion.speed_px_s) / (motion.period_px * rate)
    return abs(shift - round(shift))


def changes_per_s(motion: BarsMotion, rate: Fraction) -> int:
    """Most changes, light to dark and back, that any place can make within one second."""
    return 2 * ceil(ceil(rate) * cycles_per_frame(motion, rate))


def _light_range(motion: BarsMotion, exposure_s: Fraction) -> tuple[float, float]:
    """Least and most linear light that any place shows, 0 to 1."""
    places = np.array([0.0, float(motion.period_px) / 2])
    lights = bar_light(places, motion, exposure_s)
    return float(lights.min()), float(lights.max())


def _quantised_range(motion: BarsMotion, exposure_s: Fraction) -> tuple[float, float]:
    """Least and most signal, 0 to 1, with the rounding to codes taken at its worst."""
    dark, light = (value ** (1 / 2.4) for value in _light_range(motion, exposure_s))
    return max(dark - HALF_CODE, 0.0), min(light + HALF_CODE, 1.0)


def _flashes(clip: Clip, motion: BarsMotion, viewing: Viewing) -> tuple[FlashFinding, ...]:
    changes = changes_per_s(motion, clip.rate)
    signals = np.array(_quantised_range(motion, clip.exposure_s))
    relative_dark, relative_light = srgb_decode(signals)
    relative = bool(
        relative_light - relative_dark >= RELATIVE_STEP and relative_dark < RELATIVE_DARK
    )
    dark_cd, light_cd = viewing.peak_cd_m2 * signals**2.4
    screen = bool(light_cd - dark_cd >= SCREEN_STEP_CD_M2 and dark_cd < SCREEN_DARK_CD_M2)
    top, bottom = picture_rows(clip)
    share = (bottom - top) / clip.height
    block_width, block_height = viewing.block_heights
    aspect = clip.width / clip.height
    in_field = min(block_width / aspect, 1) * min(block_height, share)
    small = viewing.small_area_share(clip.width, clip.height)
    return (
        _finding("WCAG 2.2 general flashes", WCAG, changes * relative, (in_field, small), clip),
        _finding(
            "ITU-R BT.1702 general flashes", BT1702, changes * screen, (share, SCREEN_SHARE), clip
        ),
        _finding("WCAG 2.2 red flashes", WCAG, 0, (0, small), clip),
        _finding("ITU-R BT.1702 red flashes", BT1702, 0, (0, SCREEN_SHARE), clip),
    )


def _finding(
    criterion: str, source: str, changes: int, shares: tuple[float, float], clip: Clip
) -> FlashFinding:
    over = changes > MOST_CHANGES
    exceeds = over and shares[0] > shares[1]
    return FlashFinding(
        criterion=criterion,
        source=source,
        exceeds=exceeds,
        flashes_per_s=changes / 2,
        share=shares[0] if over else 0.0,
        share_limit=shares[1],
        combined_share=shares[0] if over else 0.0,
        longest_s=clip.duration_s
        if changes >= 2 * LEAST_FLASHING and shares[0] > shares[1]
        else Fraction(0),
        intervals=((Fraction(0), clip.duration_s),) if exceeds else (),
        worst_time_s=Fraction(0) if changes else None,
    )


def _stripes(clip: Clip, motion: BarsMotion, viewing: Viewing) -> tuple[StripeFinding, ...]:
    rules = StripeRules(clip.width, clip.height, viewing)
    interval = (Fraction(0), clip.duration_s)
    dark, light = (viewing.peak_cd_m2 * x for x in _light_range(motion, clip.exposure_s))
    faint = light - dark < max(2 * LEAST_AMPLITUDE_CD_M2, LEAST_CONTRAST * (light + dark))
    if faint:
        return rules.findings(None, "none", interval, still=False)
    top, bottom = picture_rows(clip)
    x, y = axis(motion)
    period = float(motion.period_px)
    found = Stripes(
        pairs=crossing_px(motion, clip.width, bottom - top) / period,
        share=(bottom - top) / clip.height,
        light_cd_m2=light,
        dark_cd_m2=dark,
        frequency=(x / period, y / period),
        region=np.ones((1, 1), np.bool_),
    )
    cycles = float(cycles_per_frame(motion, clip.rate))
    # A loop may be stopped or played for as long as anyone likes: the clip's length is no excuse.
    return rules.findings(
        found, motion_word(cycles, cycles * float(clip.rate)), interval, still=True
    )


def _notes(clip: Clip, viewing: Viewing) -> tuple[str, ...]:
    if clip.strip == "none" or viewing.small_area_share(clip.width, clip.height) >= STRIP_SHARE:
        return ()
    return (
        "Seen from this near, the counting strip alone may be more than the small safe area: "
        "check the file, or leave the strip out.",
    )
