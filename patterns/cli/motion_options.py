"""Options that say what moves and how, for every command that takes a motion."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any, TypeVar

import click

from patterns.cli.option_types import NUMBER
from patterns.errors import RequestError
from patterns.scenes.bars.light import bars_for_picture
from patterns.scenes.motion import (
    BarsMotion,
    Direction,
    Flight,
    OrbitMotion,
    Subject,
    TerrainMotion,
    hfov_of_focal_length,
    turn_rate,
)

__all__ = [
    "bars_motion",
    "bars_options",
    "lens_options",
    "orbit_motion",
    "orbit_options",
    "terrain_motion",
    "terrain_options",
]

F = TypeVar("F", bound=Callable[..., Any])
DEFAULT_FOCAL_MM = Fraction(24)


def _stack(*options: Callable[[F], F]) -> Callable[[F], F]:
    def decorate(function: F) -> F:
        for option in reversed(options):
            function = option(function)
        return function

    return decorate


def bars_options(function: F) -> F:
    """Add the options of the bars pattern."""
    return _stack(
        click.option(
            "--direction",
            type=click.Choice(["upright", "level", "slanted"]),
            default="upright",
            show_default=True,
            help="How the bars stand.",
        ),
        click.option(
            "--slant",
            type=NUMBER,
            metavar="DEGREES",
            default=None,
            help="Turn of the motion from level, degrees, for slanted bars.  [default: 30]",
        ),
        click.option(
            "--cross",
            type=NUMBER,
            metavar="SECONDS",
            default=None,
            help="Time in which a bar crosses the picture, seconds; negative: back.  [default: 7]",
        ),
        click.option(
            "--speed-px",
            type=NUMBER,
            metavar="PX/S",
            default=None,
            help="Speed in pixels a second, instead of --cross.",
        ),
        click.option(
            "--bars",
            "count",
            type=NUMBER,
            metavar="COUNT",
            default="4",
            show_default=True,
            help="How many bars the picture holds along the motion.",
        ),
        click.option(
            "--bar-width",
            type=NUMBER,
            metavar="PX",
            default=None,
            help="Width of a bar, pixels.  [default: a third of the distance between bars]",
        ),
        click.option(
            "--light",
            type=NUMBER,
            metavar="PERCENT",
            default="60",
            show_default=True,
            help="Light of the bars, percent of peak white (linear).",
        ),
        click.option(
            "--dark",
            type=NUMBER,
            metavar="PERCENT",
            default="2",
            show_default=True,
            help="Light between the bars, percent of peak white.",
        ),
        click.option(
            "--softness",
            type=NUMBER,
            metavar="PX",
            default="0",
            show_default=True,
            help="Width of a bar's soft edge, pixels.",
        ),
    )(function)


def bars_motion(
    size: tuple[int, int],
    *,
    direction: Direction,
    slant: Fraction | None,
    cross: Fraction | None,
    speed_px: Fraction | None,
    count: Fraction,
    bar_width: Fraction | None,
    light: Fraction,
    dark: Fraction,
    softness: Fraction,
) -> BarsMotion:
    """Bars for a picture of `size` pixels from the options' values."""
    if slant is not None and direction != "slanted":
        raise RequestError("--slant is for slanted bars: add --direction slanted, or leave it out")
    if cross is not None and speed_px is not None:
        raise RequestError("--cross and --speed-px both set the speed: give one of the two")
    if cross == 0:
        raise RequestError("--cross 0 would be infinitely fast: give seconds, such as 7")
    if not 1 <= count <= 200:
        raise RequestError(f"--bars {float(count):g} is outside 1 to 200: try 4")
    return bars_for_picture(
        *size,
        direction=direction,
        slant_deg=Fraction(30) if slant is None else slant,
        cross_s=cross,
        speed_px_s=speed_px,
        count=count,
        width_px=bar_width,
        light=float(light / 100),
        dark=float(dark / 100),
        softness_px=softness,
    )


def lens_options(function: F) -> F:
    """Add the options of the lens."""
    return _stack(
        click.option(
            "--lens",
            type=NUMBER,
            metavar="MM",
            default=None,
            help="Focal length, millimetres, 35 mm equivalent.  [default: 24]",
        ),
        click.option(
            "--fov",
            type=NUMBER,
            metavar="DEGREES",
            default=None,
            help="Horizontal field of view, degrees, instead of --lens.",
        ),
    )(function)


def _hfov_deg(lens: Fraction | None, fov: Fraction | None) -> float:
    if lens is not None and fov is not None:
        raise RequestError("--lens and --fov both set the field of view: give one of the two")
    if fov is not None:
        return float(fov)
    focal_mm = DEFAULT_FOCAL_MM if lens is None else lens
    if not 10 <= focal_mm <= 400:
        raise RequestError(f"--lens {float(focal_mm):g} mm is outside 10 to 400 mm: try 24")
    return hfov_of_focal_length(float(focal_mm))


def terrain_options(function: F) -> F:
    """Add the options of the terrain pattern."""
    return _stack(
        click.option(
            "--flight",
            type=click.Choice(["forward", "sideways", "down"]),
            default="forward",
            show_default=True,
            help="Where the camera looks from the line of flight.",
        ),
        click.option(
            "--speed",
            type=NUMBER,
            metavar="M/S",
            default="10",
            show_default=True,
            help="Ground speed, metres a second.",
        ),
        click.option(
            "--height",
            type=NUMBER,
            metavar="M",
            default="40",
            show_default=True,
            help="Height above the ground, metres.",
        ),
        click.option(
            "--pitch",
            type=NUMBER,
            metavar="DEGREES",
            default="20",
            show_default=True,
            help="Gimbal pitch, degrees below the horizon (a minus sign is ignored).",
        ),
    )(lens_options(function))


def terrain_motion(
    *,
    flight: Flight,
    speed: Fraction,
    height: Fraction,
    pitch: Fraction,
    lens: Fraction | None,
    fov: Fraction | None,
) -> TerrainMotion:
    """Flight over country from the options' values."""
    return TerrainMotion(flight, speed, height, abs(pitch), _hfov_deg(lens, fov))


def orbit_options(function: F) -> F:
    """Add the options of the orbit pattern."""
    return _stack(
        click.option(
            "--subject",
            type=click.Choice(["tower", "monument", "tank"]),
            default="tower",
            show_default=True,
            help="What stands in the centre.",
        ),
        click.option(
            "--turn",
            type=NUMBER,
            metavar="DEG/S",
            default=None,
            help="Turn rate, degrees a second; negative turns the other way.  [default: 6]",
        ),
        click.option(
            "--turn-seconds",
            type=NUMBER,
            metavar="SECONDS",
            default=None,
            help="Seconds for a whole turn, instead of --turn.",
        ),
        click.option(
            "--radius",
            type=NUMBER,
            metavar="M",
            default="80",
            show_default=True,
            help="Distance from the subject's axis, metres.",
        ),
        click.option(
            "--height",
            type=NUMBER,
            metavar="M",
            default="30",
            show_default=True,
            help="Height above the ground, metres.",
        ),
    )(lens_options(function))


def orbit_motion(
    *,
    subject: Subject,
    turn: Fraction | None,
    turn_seconds: Fraction | None,
    radius: Fraction,
    height: Fraction,
    lens: Fraction | None,
    fov: Fraction | None,
) -> OrbitMotion:
    """Circle about a subject from the options' values."""
    if turn is not None and turn_seconds is not None:
        raise RequestError("--turn and --turn-seconds both set the turn rate: give one of the two")
    if turn_seconds == 0:
        raise RequestError("--turn-seconds 0 would be infinitely fast: give seconds, such as 60")
    if turn_seconds is not None:
        turn = turn_rate(turn_seconds)
    return OrbitMotion(
        subject, Fraction(6) if turn is None else turn, radius, height, _hfov_deg(lens, fov)
    )
