"""How one asks for an orbit, and what is said of it."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from patterns.errors import RequestError
from patterns.scenes.orbit.motion import SUBJECT_HEIGHT_M, OrbitMotion
from patterns.scenes.pattern import FOV, LENS, Option, Pace, Pattern, Renderer, Shot, hfov_from


def _build(values: Mapping[str, Any], width: int, height: int) -> OrbitMotion:
    del width, height
    turn, seconds = values["turn"], values["turn_seconds"]
    if seconds == 0:
        raise RequestError("--turn-seconds 0 would be infinitely fast: give seconds, such as 60")
    return OrbitMotion(
        values["subject"],
        360 / seconds if turn is None else turn,
        values["radius"],
        values["height"],
        hfov_from(values),
    )


def _renderer(shot: Shot, width: int, height: int) -> Renderer:
    from patterns.scenes.orbit.renderer import OrbitRenderer

    return OrbitRenderer(shot, width, height)


ORBIT = Pattern(
    name="orbit",
    heading="Orbit",
    summary="A circle about a subject: it stays in the centre, the skyline sweeps.",
    look_for="Keep your eyes on the hills behind the subject, not on the subject, which stays in "
    "the centre and hides the fault. The skyline sweeps past evenly, or in a stutter.",
    look_at="Watch the hills behind the subject, not the subject.",
    options=(
        Option(
            "subject",
            "",
            "What stands in the centre.",
            OrbitMotion.subject,
            choices=tuple(SUBJECT_HEIGHT_M),
        ),
        Option(
            "turn",
            "DEG/S",
            "Turn rate, degrees a second; negative turns the other way.",
            OrbitMotion.turn_deg_s,
        ),
        Option(
            "turn-seconds",
            "SECONDS",
            "Seconds for a whole turn, instead of --turn.",
            instead_of=("turn", "the turn rate"),
        ),
        Option("radius", "M", "Distance from the subject's axis, metres.", OrbitMotion.radius_m),
        Option("height", "M", "Height above the ground, metres.", OrbitMotion.height_m),
        LENS,
        FOV,
    ),
    pace=Pace(
        "turn",
        inverse=False,
        shown=Fraction(12),
        fastest=Fraction(36),
        step=Fraction(1),
        words="orbit of a tower at {} degrees a second",
    ),
    build=_build,
    renderer=_renderer,
    line_at=0.36,  # left of the subject, which stands in the middle
    work=3,
)
