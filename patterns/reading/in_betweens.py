"""Whether a screen makes pictures of its own between frames: motion smoothing.

A television that smooths motion puts between two frames of 24 a second pictures that lie
between them, by mixing or by following what moves. The strip's cells do not move: in such a
picture they are mixed in one proportion for a whole refresh and then go on by a step, or are
no frame's at all. A panel that answers slowly mixes frames too, but goes ever more slowly and
does not step. Where most pictures show no single frame, or the camera clips white and thereby
makes steps of its own, it cannot be known which it is, and no hold can be known either.
"""

from __future__ import annotations

from typing import Literal

from patterns.reading.sightings import Watched
from patterns.strip.camera_decode import CODE_FAILED, HOLD_CONTRADICTS, IN_TRANSITION

__all__ = ["in_betweens"]

FEWEST_STAIRS = 4
STAIRS = 0.08  # for each change of frame
PICTURES_A_FRAME = 4  # with fewer, transitions take most pictures of any screen
UNREAD = 0.3  # of the pictures unread in transition
NOT_SINGLE = 0.7  # of the pictures mixed or unread in transition


def in_betweens(watched: Watched) -> Literal["seen", "clipped", "likely"] | None:
    """Whether pictures between frames were seen, or seem so, or hardly any shows a single frame."""
    changes = max(1, len(watched.runs) - 1)
    enough = max(FEWEST_STAIRS, STAIRS * changes)
    if watched.stairs >= enough:
        return "seen"
    if watched.stairs + watched.clipped_stairs >= enough:
        return "clipped"
    passing = sum(
        count
        for reason, count in watched.unread
        if reason in (IN_TRANSITION, CODE_FAILED, HOLD_CONTRADICTS)
    )
    judged = watched.read + passing
    if judged < PICTURES_A_FRAME * changes:
        return None
    much = passing > UNREAD * judged or passing + watched.blended > NOT_SINGLE * judged
    return "likely" if much else None
