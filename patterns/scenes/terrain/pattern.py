"""How one asks for a flight over terrain, and what is said of it."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from patterns.scenes.pattern import FOV, LENS, Option, Pace, Pattern, Renderer, Shot, hfov_from
from patterns.scenes.terrain.motion import FLIGHTS, TerrainMotion


def _build(values: Mapping[str, Any], width: int, height: int) -> TerrainMotion:
    del width, height
    return TerrainMotion(
        values["flight"],
        values["speed"],
        values["height"],
        abs(values["pitch"]),
        hfov_from(values),
    )


def _renderer(shot: Shot, width: int, height: int) -> Renderer:
    from patterns.scenes.terrain.renderer import TerrainRenderer

    return TerrainRenderer(shot, width, height)


TERRAIN = Pattern(
    name="terrain",
    heading="Flight over terrain",
    summary="Level flight over terrain: judder where the ground is near, the lower corners.",
    look_for="Look at the lower corners, where the ground is nearest and fastest, then at the "
    "middle distance. The horizon stands still at every rate: judder shows only where the picture "
    "moves.",
    look_at="Watch the ground in the lower corners, where it is fastest.",
    options=(
        Option(
            "flight",
            "",
            "Where the camera looks from the line of flight.",
            TerrainMotion.flight,
            choices=FLIGHTS,
        ),
        Option("speed", "M/S", "Ground speed, metres a second.", TerrainMotion.ground_speed_m_s),
        Option("height", "M", "Height above the ground, metres.", TerrainMotion.height_m),
        Option(
            "pitch",
            "DEGREES",
            "Gimbal pitch, degrees below the horizon (a minus sign is ignored).",
            TerrainMotion.pitch_deg,
        ),
        LENS,
        FOV,
    ),
    pace=Pace(
        "speed",
        inverse=False,
        shown=TerrainMotion.ground_speed_m_s,
        fastest=Fraction(45),
        step=Fraction(1),
        words="flight over terrain at {} m/s",
    ),
    build=_build,
    renderer=_renderer,
    work=2,
)
