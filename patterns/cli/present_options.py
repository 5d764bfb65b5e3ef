"""Options of `evenhold present`: what to compare, on which display, and how it is shown."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any, TypeVar

import click

from patterns.cli.motion_options import given_paces, pace_options, pattern_option
from patterns.cli.option_types import (
    ANGLE,
    DISPLAY,
    EXPOSURE,
    NUMBER,
    RATE,
    RATES,
    SIZE,
    jobs_option,
)
from patterns.drawing.style import scheme
from patterns.errors import RequestError
from patterns.present.animation import FORMATS
from patterns.present.panel_layout import LAYOUTS
from patterns.present.talk_request import TalkRequest
from patterns.scenes.pattern import Pattern
from patterns.timing.cadence import Display
from patterns.video.codecs import CODECS

__all__ = ["present_options", "request_from", "scene_options"]

F = TypeVar("F", bound=Callable[..., Any])


def _what_to_make() -> list[Callable[[F], F]]:
    return [
        click.option("--all", "everything", is_flag=True,
                     help="Make everything, with an index and speaker's notes."),
        click.option("--split", is_flag=True,
                     help="Make the split clip; made where nothing else is asked for."),
        click.option("--conform", is_flag=True,
                     help="Make the conform demonstration: repeated, blended, sped up, native."),
        click.option("--stills", is_flag=True,
                     help="Make the hold chart, space-time diagram and tracked-eye picture."),
        click.option("--animation", "formats", type=click.Choice(list(FORMATS)), multiple=True,
                     help="Make an animated picture; may be repeated."),
        click.option("--html", "html", is_flag=True,
                     help="Make the one-page demonstration, demo.html."),
    ]  # fmt: skip


def _what_to_show() -> list[Callable[[F], F]]:
    return [
        click.option("--display", type=DISPLAY, metavar="HZ", default="60", show_default=True,
                     help="Refresh of the display that it is shown on, hertz."),
        click.option("--rates", type=RATES, metavar="FPS,FPS,...", default="24,30",
                     show_default=True, help="Two to four rates to compare, frames a second."),
        click.option("--layout", type=click.Choice(LAYOUTS), default=None,
                     help="Panels side by side, stacked, in a grid of four, or on both sides of "
                     "a line through one picture.  [default: side; four in a grid]"),
        click.option("--slow", type=click.IntRange(1, 60), metavar="TIMES", default=1,
                     show_default=True, help="Repeat each refresh, to count the holds aloud."),
        click.option("--shutter", type=ANGLE, metavar="DEGREES", default=None,
                     help="Shutter kept by angle, degrees.  [default: 180]"),
        click.option("--exposure", type=EXPOSURE, metavar="SECONDS", default=None,
                     help="Shutter kept by time, such as 1/60, seconds, instead of --shutter."),
        click.option("--strip", is_flag=True,
                     help="Draw the counting strip in every panel, for evenhold read."),
        click.option("--footage", type=RATE, metavar="FPS", default="24",
                     show_default=True, help="Rate shot, for --conform, frames a second."),
        click.option("--timeline", type=RATE, metavar="FPS", default="30",
                     show_default=True, help="Rate delivered, for --conform, frames a second."),
    ]  # fmt: skip


def _how_to_write() -> list[Callable[[F], F]]:
    return [
        click.option("--seconds", type=NUMBER, metavar="SECONDS", default="8",
                     show_default=True, help="Length of the scene, before slowing, seconds."),
        click.option("--size", type=SIZE, metavar="NAME|WxH", default="1080p", show_default=True,
                     help="Pixels of the clips: 720p, 1080p, 4k, ... or 1920x1080."),
        click.option("--codec", type=click.Choice(list(CODECS)), default="h264",
                     show_default=True, help="How the clips are coded."),
        click.option("--clip-scheme", type=click.Choice(["dark", "light"]),
                     default="dark", show_default=True, help="Colours of the clips."),
        click.option("--scheme", "still_scheme", type=click.Choice(["light", "dark"]),
                     default="light", show_default=True, help="Colours of the stills."),
        click.option("--seed", type=click.IntRange(0, 2**31 - 1), default=1, show_default=True,
                     help="Chooses the country, the hills and the clouds."),
        click.option("--out", type=click.Path(path_type=Path), metavar="FOLDER",
                     default="outputs/talk", show_default=True,
                     help="Folder for the files."),
        click.option("--force", is_flag=True, help="Replace files that exist."),
        click.option("--allow-flashing", is_flag=True,
                     help="Keep what exceeds the limits for flashes and stripes."),
        jobs_option,
        click.option("--json", "as_json", is_flag=True, help="Print what was made as JSON."),
        click.option("--quiet", is_flag=True, help="Print nothing but errors."),
    ]  # fmt: skip


def present_options(function: F) -> F:
    """Add all options, in the order in which the help shows them."""
    options = [*_what_to_make(), *_what_to_show(), *_how_to_write()]
    for option in reversed(options):
        function = option(function)
    return function


def scene_options() -> list[click.Option]:
    """What moves, and how fast."""
    return [pattern_option("bars"), *pace_options(_quick_enough)]


def _quick_enough(pattern: Pattern) -> str:
    pace = pattern.pace
    return (
        "so that the worst panel shakes by 4 px at 1080p; "
        f"{float(pace.shown):g} to {float(pace.fastest):g}"
    )


def request_from(o: dict[str, Any]) -> TalkRequest:
    """Request of the options' values.

    Raises
    ------
    RequestError
        Shutter and exposure are both given, or the presentation is not possible.
    """
    if o["shutter"] is not None and o["exposure"] is not None:
        raise RequestError("--shutter and --exposure both set the exposure: give one of the two")
    width, height = o["size"]
    display: Display = o["display"]
    return TalkRequest(
        folder=o["out"],
        rates=o["rates"],
        display=display,
        pattern=o["pattern"],
        seed=o["seed"],
        paces=given_paces(o),
        strip=o["strip"],
        layout=o["layout"],
        angle_deg=Fraction(180) if o["shutter"] is None else o["shutter"],
        exposure_s=o["exposure"],
        footage=o["footage"],
        timeline=o["timeline"],
        slow=o["slow"],
        seconds=o["seconds"],
        width=width,
        height=height,
        codec=o["codec"],
        clip_colours=scheme(o["clip_scheme"]),
        still_colours=scheme(o["still_scheme"]),
        formats=o["formats"],
        force=o["force"],
        allow_flashing=o["allow_flashing"],
    )
