"""Outlines of the orbit's subjects: a valve tower, a survey monument and a water tank.

They belong to the invented Tarn Hollow reservoir. Heights agree with
`SUBJECT_HEIGHT_M`; corners run from the ground up and in to the axis.
"""

from __future__ import annotations

from dataclasses import dataclass

from patterns.scenes.orbit.motion import Subject
from patterns.scenes.orbit.profile import Profile

__all__ = ["OUTLINES", "Outline"]


@dataclass(frozen=True)
class Outline:
    """A subject's profile, and the height in metres up to which each material goes.

    `materials` are (top of the part, name) from the ground up.
    """

    profile: Profile
    materials: tuple[tuple[float, str], ...]


TOWER = Outline(
    Profile(
        (
            (6.6, 0.0),
            (6.6, 0.5),
            (5.5, 0.5),
            (5.5, 1.0),
            (4.4, 1.0),
            (4.0, 3.2),
            (4.15, 3.25),
            (4.15, 3.6),
            (3.8, 3.75),
            (3.5, 14.0),
            (3.65, 14.05),
            (3.65, 14.4),
            (3.45, 14.5),
            (3.2, 24.0),
            (3.95, 25.3),
            (3.95, 26.6),
            (3.65, 26.6),
            (3.65, 25.6),
            (2.7, 25.6),
            (2.7, 29.3),
            (3.1, 29.35),
            (3.1, 29.7),
            (2.75, 30.4),
            (2.1, 31.5),
            (1.2, 32.6),
            (0.3, 33.25),
            (0.16, 33.5),
            (0.3, 33.7),
            (0.1, 34.0),
            (0.0, 34.0),
        )
    ),
    ((3.7, "base"), (25.45, "masonry"), (29.25, "dressed"), (34.0, "copper")),
)

MONUMENT = Outline(
    Profile(
        (
            (9.0, 0.0),
            (9.0, 0.5),
            (8.2, 0.5),
            (8.2, 1.0),
            (7.4, 1.0),
            (7.4, 1.5),
            (6.6, 1.5),
            (6.6, 2.0),
            (5.8, 2.0),
            (5.8, 2.6),
            (4.0, 2.6),
            (4.0, 3.0),
            (3.6, 3.2),
            (3.5, 6.4),
            (3.85, 6.6),
            (3.85, 7.1),
            (2.45, 7.3),
            (2.45, 7.7),
            (2.2, 8.0),
            (1.75, 20.0),
            (1.85, 20.2),
            (2.5, 21.0),
            (2.5, 21.5),
            (1.55, 21.5),
            (1.5, 23.5),
            (1.75, 23.6),
            (1.75, 23.9),
            (1.5, 24.5),
            (1.05, 25.3),
            (0.5, 25.8),
            (0.0, 26.0),
        )
    ),
    ((2.55, "steps"), (7.75, "dressed"), (19.95, "column"), (23.5, "dressed"), (26.0, "bronze")),
)

TANK = Outline(
    Profile(
        (
            (12.0, 0.0),
            (12.0, 0.6),
            (11.3, 0.65),
            (11.0, 0.9),
            (11.0, 14.5),
            (11.5, 14.8),
            (11.5, 15.4),
            (11.3, 15.5),
            (11.3, 16.4),
            (11.15, 16.4),
            (11.15, 15.5),
            (10.3, 15.5),
            (9.8, 15.9),
            (8.0, 16.6),
            (5.5, 17.2),
            (3.0, 17.5),
            (1.1, 17.6),
            (1.1, 17.9),
            (1.25, 17.9),
            (0.9, 18.0),
            (0.0, 18.0),
        )
    ),
    ((0.7, "steps"), (14.6, "panels"), (15.5, "concrete"), (16.45, "rail"), (18.0, "roof")),
)

OUTLINES: dict[Subject, Outline] = {"tower": TOWER, "monument": MONUMENT, "tank": TANK}
