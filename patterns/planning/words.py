"""Numbers, the move, the audience and the cautions in words."""

from __future__ import annotations

from fractions import Fraction

from patterns.scenes.motion import BarsMotion, Motion, TerrainMotion
from patterns.timing.audience import Audience
from patterns.timing.rates import format_decimal

__all__ = [
    "CAUTIONS",
    "audience_words",
    "fps",
    "joined",
    "move_brief",
    "move_words",
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


def move_words(motion: Motion) -> str:
    """Describe the move in one line."""
    if isinstance(motion, BarsMotion):
        return f"{motion.direction} bars at {number(abs(float(motion.speed_px_s)), 1)} px/s"
    lens = f"field {number(motion.hfov_deg, 1)} deg"
    if isinstance(motion, TerrainMotion):
        down = (
            "straight down" if motion.flight == "down" else f"pitch {float(motion.pitch_deg):g} deg"
        )
        look = {"forward": "forward flight", "sideways": "sideways flight", "down": "flight"}
        return (
            f"{look[motion.flight]} at {float(motion.ground_speed_m_s):g} m/s, "
            f"{float(motion.height_m):g} m up, {down}, {lens}"
        )
    return (
        f"orbit of a {motion.subject} at {number(abs(float(motion.turn_deg_s)))} deg/s, radius "
        f"{float(motion.radius_m):g} m, {float(motion.height_m):g} m up, {lens}"
    )


def move_brief(motion: Motion) -> str:
    """Name the move in few words: 'forward flight, 10 m/s, 40 m up'."""
    if isinstance(motion, BarsMotion):
        return f"pan, {number(abs(float(motion.speed_px_s)), 0)} px/s"
    up = f"{float(motion.height_m):g} m up"
    if isinstance(motion, TerrainMotion):
        look = {"forward": "forward flight", "sideways": "sideways flight", "down": "flight"}
        down = ", camera straight down" if motion.flight == "down" else ""
        return f"{look[motion.flight]}, {float(motion.ground_speed_m_s):g} m/s, {up}{down}"
    turn = number(abs(float(motion.turn_deg_s)), 1)
    return f"orbit, {turn} deg/s, radius {float(motion.radius_m):g} m, {up}"


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
