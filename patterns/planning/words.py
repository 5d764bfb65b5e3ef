"""Numbers, the move, the audience and the cautions in words."""

from __future__ import annotations

from fractions import Fraction

from patterns.timing.audience import Audience
from patterns.timing.rates import format_decimal

__all__ = [
    "CAUTIONS",
    "audience_words",
    "fps",
    "joined",
    "number",
    "percent",
]

CAUTIONS = (
    "Flying: keep to the local rules for height, distance, line of sight and airspace, and to "
    "the aircraft's own limits; a speed or height named here is arithmetic, not permission. "
    "Whether to fly it is the pilot's decision, not the plan's.",
    "People: nobody uninvolved under or near the flight; warn those who take part; stop when "
    "someone comes in.",
    "Lights and mains: leave fixed wiring, generators and stage lighting to licensed people; "
    "keep cables dry near water. Lamps differ: film ten seconds and look before the take.",
    "Flashing: a picture that pulses or flashes can hurt a photosensitive person; check clips "
    "before they are shown.",
    "This is an aid to judgement. Local rules and licensed practice come first.",
)


def number(value: float, digits: int = 2) -> str:
    """Plain decimal without trailing zeros: 8, 3.33, 0.5."""
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def fps(rate: Fraction) -> str:
    """'24' or '29.97'."""
    return format_decimal(rate)


def percent(share: Fraction | float) -> str:
    """'80 %'."""
    return f"{number(100 * float(share), 1)} %"


def audience_words(audience: Audience, *, assumed: bool) -> str:
    """'60 Hz 80 %, 120 Hz 20 %', and that it is assumed where it is."""
    parts = ", ".join(f"{d.name} Hz {percent(share)}" for d, share in audience.displays)
    return f"{parts} (assumed)" if assumed else parts


def joined(parts: list[str]) -> str:
    """Join as 'a', 'a and b' or 'a, b and c'."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
