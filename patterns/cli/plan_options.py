"""Options of `evenhold plan`: audience, rates, light, footage and the move."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any, TypeVar

import click

from patterns.cli.option_types import ANGLE, NUMBER, RATES, SIZE, Parsed, jobs_option
from patterns.timing.audience import parse_share
from patterns.timing.cadence import Display
from patterns.timing.exposure_value import MeteredExposure, parse_metered

__all__ = ["plan_options"]

F = TypeVar("F", bound=Callable[..., Any])
SHARE = Parsed[tuple[Display, Fraction]]("hertz:share", parse_share)
METERED = Parsed[MeteredExposure]("exposure", parse_metered)


def plan_options(function: F) -> F:
    """Add the options, in the order in which the help shows them."""
    for option in reversed([*_shoot_options(), *_move_options(), *_output_options()]):
        function = option(function)
    return function


def _shoot_options() -> list[Callable[[F], F]]:
    return [
        click.option("--display", "displays", type=SHARE, multiple=True, metavar="HZ[:SHARE]",
                     help="Display of the audience and its share: 60:0.8, 120:20%, 48-120:0.2. "
                          "May be repeated.  [default: 60:0.8 and 120:0.2, assumed]"),
        click.option("--rates", type=RATES, metavar="FPS,FPS,...", default=None,
                     help="Candidate rates, frames a second.  [default: 24,25,30,50,60]"),
        click.option("--shutter", type=ANGLE, metavar="DEGREES", default="180", show_default=True,
                     help="Target shutter angle, degrees."),
        click.option("--mains", type=click.Choice(["50", "60", "none"]), default="none",
                     show_default=True, help="Mains frequency, hertz, where lamps are lit."),
        click.option("--lamp-depth", type=NUMBER, metavar="PERCENT", default="100",
                     show_default="100, the worst case",
                     help="Modulation of the lamps, (max - min)/(max + min), percent."),
        click.option("--metered", type=METERED, metavar="EXPOSURE", default=None,
                     help='What the meter says, such as "ISO100 f/2.8 1/2000".'),
        click.option("--ev", type=NUMBER, metavar="EV", default=None,
                     help="Brightness as exposure value at ISO 100, instead of --metered."),
        click.option("--iso", type=NUMBER, metavar="ISO", default=None,
                     help="ISO speed to use with --ev.  [default: 100]"),
        click.option("--aperture", type=NUMBER, metavar="F", default=None,
                     help="f-number to use with --ev.  [default: 2.8]"),
        click.option("--footage", type=RATES, metavar="FPS,FPS,...", default=(),
                     help="Rates of what is already shot, frames a second."),
    ]  # fmt: skip


def _move_options() -> list[Callable[[F], F]]:
    return [
        click.option("--size", type=SIZE, metavar="NAME|WxH", default="1080p", show_default=True,
                     help="Size of the picture, pixels."),
        click.option("--viewing-distance", type=NUMBER, metavar="HEIGHTS", default="3",
                     show_default=True, help="Distance from the screen in picture heights."),
        click.option("--take", type=NUMBER, metavar="SECONDS", default="600", show_default=True,
                     help="Long take, seconds, over which near rates (29.97, 30) are compared."),
    ]  # fmt: skip


def _output_options() -> list[Callable[[F], F]]:
    return [
        click.option("--details", is_flag=True,
                     help="Print the numbers behind the advice as well."),
        click.option("--json", "as_json", is_flag=True, help="Print the plan as JSON."),
        click.option("--html", type=click.Path(path_type=Path), metavar="FILE", default=None,
                     help="Also write one page to print and tape to the case."),
        click.option("--picture", type=click.Path(path_type=Path), metavar="FILE", default=None,
                     help="Also write the map of the movement, .png or .svg."),
        click.option("--force", is_flag=True, help="Replace files that exist."),
        click.option("--clips", type=click.Path(path_type=Path), metavar="FOLDER", default=None,
                     help="Also render the kit for exactly this move and these rates."),
        click.option("--seconds", type=NUMBER, metavar="SECONDS", default="10", show_default=True,
                     help="Length of each of those clips, seconds."),
        click.option("--allow-flashing", is_flag=True,
                     help="Keep clips that exceed the limits for flashes and stripes."),
        jobs_option,
    ]  # fmt: skip
