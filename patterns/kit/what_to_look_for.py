"""What each pattern shows and where to look, in words for the page and the sheet."""

from __future__ import annotations

from typing import Any

__all__ = ["HEADINGS", "fastest_place", "look_for", "without_mark"]

HEADINGS = {
    "bars": "Bars",
    "terrain": "Flight over country",
    "orbit": "Orbit",
}

_LOOK_FOR = {
    "bars": (
        "Follow one bar across the screen with your eyes, not the gap it leaves. Held evenly it "
        "glides, with the same soft edge all the way. Held unevenly it trembles, and its edge "
        "looks doubled."
    ),
    "terrain": (
        "Look at the lower corners, where the ground is nearest and fastest, then at the middle "
        "distance. The horizon stands still at every rate: judder shows only where the picture "
        "moves."
    ),
    "orbit": (
        "Keep your eyes on the hills behind the subject, not on the subject, which stays in the "
        "centre and hides the fault. The skyline sweeps past evenly, or in a stutter."
    ),
}


def look_for(pattern: str) -> str:
    """Where to look in a clip of `pattern`, a short paragraph."""
    return _LOOK_FOR[pattern]


def fastest_place(record: dict[str, Any]) -> str:
    """Sentence that says where a clip moves fastest, from its record; '' if nowhere more."""
    place = record["image_motion"]["fastest"]
    typical = record["image_motion"]["typical"]
    if place["px_per_s"] == typical["px_per_s"]:
        return ""
    down = "lower" if place["at_y"] > 2 / 3 else "upper" if place["at_y"] < 1 / 3 else "middle"
    if place["at_x"] in (0.0, 1.0) and down != "middle":
        where = f"{down} corners"
    else:
        side = "left" if place["at_x"] < 1 / 3 else "right" if place["at_x"] > 2 / 3 else "centre"
        where = f"{down} {side}"
    times = place["px_per_s"] / typical["px_per_s"] if typical["px_per_s"] else 0
    return f" Fastest place: {where}, {times:.1f} times the typical speed."


def without_mark(verdict: str) -> str:
    """A verdict without its leading 'Even:' or 'Uneven:', for where a mark stands beside it."""
    head, colon, rest = verdict.partition(": ")
    return rest if colon and head in ("Even", "Uneven") else verdict
