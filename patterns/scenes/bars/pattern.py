"""How one asks for bars, and what is said of them."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from patterns.errors import RequestError
from patterns.scenes.bars.motion import BAR_COUNT, CROSS_S, DIRECTIONS, BarsMotion, bars_for_picture
from patterns.scenes.motion import check_within
from patterns.scenes.pattern import Option, Pace, Pattern, Renderer, Shot

# Bars in each picture by how many pictures lie side by side: together they stay below the
# limits for regular stripes (more than five pairs), slowed ones too.
BARS_AMONG = {1: 3, 2: 2}


def _build(values: Mapping[str, Any], width: int, height: int) -> BarsMotion:
    slant, cross, count = values["slant"], values["cross"], values["bars"]
    if slant is not None and values["direction"] != "slanted":
        raise RequestError("--slant is for slanted bars: add --direction slanted, or leave it out")
    if cross == 0:
        raise RequestError("--cross 0 would be infinitely fast: give seconds, such as 7")
    check_within("--bars", count, 1, 200, "in the picture", 4)
    return bars_for_picture(
        width,
        height,
        direction=values["direction"],
        slant_deg=Fraction(30) if slant is None else slant,
        cross_s=cross,
        speed_px_s=values["speed_px"],
        count=count,
        width_px=values["bar_width"],
        light=float(values["light"] / 100),
        dark=float(values["dark"] / 100),
        softness_px=values["softness"],
    )


def _among(across: int) -> dict[str, Any]:
    return {"bars": Fraction(BARS_AMONG.get(across, 1))}


def _renderer(shot: Shot, width: int, height: int) -> Renderer:
    from patterns.scenes.bars.renderer import BarsRenderer

    return BarsRenderer(shot, width, height)


BARS = Pattern(
    name="bars",
    heading="Bars",
    summary="Bars that cross the frame: the plainest look at a cadence.",
    look_for="Follow one bar across the screen with your eyes, not the gap it leaves. Held evenly "
    "it glides, with the same soft edge all the way. Held unevenly it trembles, and its edge "
    "looks doubled.",
    look_at="Follow one bar with your eyes, in each picture in turn.",
    options=(
        Option(
            "direction",
            "",
            "How the bars stand: upright ones go across.",
            BarsMotion.direction,
            choices=DIRECTIONS,
        ),
        Option(
            "slant",
            "DEGREES",
            "Turn of the motion from level, degrees, for slanted bars.",
            default_words="30",
        ),
        Option(
            "cross",
            "SECONDS",
            "Time in which a bar crosses the picture, seconds; negative: back.",
            CROSS_S,
        ),
        Option(
            "speed-px",
            "PX/S",
            "Speed in pixels a second, instead of --cross.",
            instead_of=("cross", "the speed"),
        ),
        Option(
            "bars",
            "COUNT",
            "How many bars the picture holds along the motion.",
            BAR_COUNT,
            moves=False,
        ),
        Option(
            "bar-width",
            "PX",
            "Width of a bar, pixels.",
            default_words="a third of the distance between bars",
            moves=False,
        ),
        Option(
            "light",
            "PERCENT",
            "Light of the bars, percent of peak white (linear).",
            Fraction(round(100 * BarsMotion.light)),
            moves=False,
        ),
        Option(
            "dark",
            "PERCENT",
            "Light between the bars, percent of peak white.",
            Fraction(round(100 * BarsMotion.dark)),
            moves=False,
        ),
        Option(
            "softness",
            "PX",
            "Width of a bar's soft edge, pixels.",
            BarsMotion.softness_px,
            moves=False,
        ),
    ),
    # At two bars the picture, 1.2 s is 1.7 changes from dark to light a second, below the
    # three allowed.
    pace=Pace(
        "cross",
        inverse=True,
        shown=Fraction(3),
        fastest=Fraction(6, 5),
        step=Fraction(1, 20),
        words="bars that cross their picture in {} s",
    ),
    build=_build,
    renderer=_renderer,
    among=_among,
    level_line=True,
)
