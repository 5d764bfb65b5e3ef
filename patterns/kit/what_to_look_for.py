"""What each pattern shows and where to look, in words for the page and the sheet."""

from __future__ import annotations

from typing import Any

from patterns.scenes.table import PATTERNS

__all__ = ["fastest_place", "heading", "look_for", "without_mark"]


def heading(pattern: str) -> str:
    """Heading of a pattern; its name where this version does not know it."""
    return PATTERNS[pattern].heading if pattern in PATTERNS else pattern


def look_for(pattern: str) -> str:
    """Where to look in a clip of `pattern`, a short paragraph; '' where it is not known."""
    return PATTERNS[pattern].look_for if pattern in PATTERNS else ""


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
