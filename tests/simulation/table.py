"""The table of conditions and rates, as Markdown."""

from __future__ import annotations

from fractions import Fraction

from tests.simulation.conditions import CAPTURES, LEVELS, LIMITS, RATES
from tests.simulation.judge import Score

__all__ = ["table"]

WORDS = {
    "unit_px": "strip's grid unit, pixels (a number cell is 4 or 3 of them wide)",
    "tilt_deg": "perspective, degrees off the screen's normal",
    "roll_deg": "roll, degrees either side of 0, 90, 180 or 270",
    "drift_px": "drift, pixels per picture",
    "jitter_px": "shake, pixels per picture",
    "blur_px": "blur, sigma in pixels",
    "shot": "shot noise, variance at white",
    "read": "read noise, sigma (white = 1)",
    "gain": "exposure (1: white just fits)",
    "darkest": "uneven light: gain at the dark end",
    "flat": "room light on the screen (white = 1)",
    "spot": "reflection, peak (white = 1)",
    "ripple": "moire-like ripple, depth",
    "response": "response 10-90 %, refreshes",
    "exposure": "shutter, share of the capture interval",
    "readout": "rolling shutter, share of the capture interval",
    "crf": "H.264 constant rate factor",
    "backlights": "backlight",
}


def _conditions() -> list[str]:
    lines = ["| condition | moderate | hard |", "|---|---|---|"]
    for name, words in WORDS.items():
        cells = []
        for level in LEVELS:
            value = getattr(LIMITS[level], name)
            if name == "backlights":
                cells.append(", ".join(value))
            elif isinstance(value, tuple):
                cells.append(f"{value[0]:g} to {value[1]:g}")
            else:
                cells.append(f"up to {value:g}")
        lines.append(f"| {words} | {cells[0]} | {cells[1]} |")
    return lines


def _row(name: str, scores: list[Score]) -> str:
    total = Score()
    for score in scores:
        total.add(score)
    return (
        f"| {name} | {total.recordings} | {total.pictures} | {total.due} | "
        f"{100 * total.rate:.2f} % | {total.read} | {total.mixtures} | {total.wrong} |"
    )


def table(scores: dict[tuple[str, str, int], Score]) -> str:
    """Conditions, then pictures, those due, those read and those wrong, by level and rate."""
    head = "recordings | pictures | due | of these read | read in all | mixtures | wrong |"
    lines = [*_conditions(), "", f"| what | {head}", "|---|" + "---|" * 7]
    for level in LEVELS:
        for rate in RATES:
            some = [s for k, s in scores.items() if k[0] == level and Fraction(k[1]) == rate]
            if some:
                lines.append(_row(f"{level}, {float(rate):.6g} fps", some))
        for capture in CAPTURES:
            some = [s for k, s in scores.items() if k[0] == level and k[2] == capture]
            if some:
                lines.append(_row(f"{level}, filmed at {capture} fps", some))
        lines.append(_row(f"**{level}, all**", [s for k, s in scores.items() if k[0] == level]))
    lines.append(_row("**all**", list(scores.values())))
    reasons = sum((s.reasons for s in scores.values()), start=Score().reasons)
    lines += ["", "Pictures due and not read, by the reason given: "]
    lines.append(", ".join(f"{why} ({n})" for why, n in reasons.most_common()) + ".")
    return "\n".join(lines)
