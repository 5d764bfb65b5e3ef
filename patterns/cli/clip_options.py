"""Options that every command which makes clips has: rate, shutter, size, length, file."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from math import ceil
from typing import Any, TypeVar

import click

from patterns.cli.option_types import ANGLE, EXPOSURE, NUMBER, RATE, SIZE, small_option
from patterns.errors import RequestError
from patterns.timing.shutter import exposure_of_angle
from patterns.video.codecs import CODECS

__all__ = ["clip_options", "exposure_from", "frames_from"]

F = TypeVar("F", bound=Callable[..., Any])


def clip_options(function: F) -> F:
    """Add the options of a clip, in the order in which the help shows them."""
    options = [
        click.option("--rate", type=RATE, metavar="FPS", default="24", show_default=True,
                     help="Frames a second, up to 480: 24, 23.976 (means 24000/1001), 12.5."),
        click.option("--shutter", type=ANGLE, metavar="DEGREES", default=None,
                     help="Shutter angle, 0 to 360 degrees.  [default: 180]"),
        click.option("--exposure", type=EXPOSURE, metavar="SECONDS", default=None,
                     help="Exposure time such as 1/50, seconds, instead of --shutter."),
        click.option("--size", type=SIZE, metavar="NAME|WxH", default="1080p", show_default=True,
                     help="Pixels: 720p, 1080p, 4k, 8k, phone-1080 (upright), ... or 1920x1080."),
        click.option("--seconds", type=NUMBER, metavar="SECONDS", default=None,
                     help="Length, seconds.  [default: 10]"),
        click.option("--frames", type=int, metavar="COUNT", default=None,
                     help="Length, frames, instead of --seconds."),
        click.option("--codec", type=click.Choice(list(CODECS)), default="h264", show_default=True,
                     help="How the file is coded; the container follows."),
        small_option,
        click.option("--strip", type=click.Choice(["bottom", "top", "none"]), default="bottom",
                     show_default=True, help="Edge on which the counting strip lies."),
        click.option("--seamless", "looped", is_flag=True,
                     help="Round the length to whole periods, to repeat without a seam."),
        click.option("--seed", type=click.IntRange(0, 2**31 - 1), default=1, show_default=True,
                     help="Chooses the country, the hills and the clouds."),
        click.option("--out", type=click.Path(), metavar="FILE", default=None,
                     help="File to write.  [default: a descriptive name in outputs/]"),
        click.option("--force", is_flag=True, help="Replace a file that exists."),
        click.option("--allow-flashing", is_flag=True,
                     help="Write the clip even if it exceeds the limits for flashes and stripes."),
        click.option("--json", "as_json", is_flag=True, help="Print the record as JSON."),
        click.option("--quiet", is_flag=True, help="Print nothing but errors."),
    ]  # fmt: skip
    for option in reversed(options):
        function = option(function)
    return function


def exposure_from(rate: Fraction, shutter: Fraction | None, exposure: Fraction | None) -> Fraction:
    """Exposure in seconds from --shutter or --exposure, 180 degrees where neither is given."""
    if shutter is not None and exposure is not None:
        raise RequestError("--shutter and --exposure both set the exposure: give one of the two")
    if exposure is not None:
        return exposure
    return exposure_of_angle(Fraction(180) if shutter is None else shutter, rate)


def frames_from(rate: Fraction, seconds: Fraction | None, frames: int | None) -> int:
    """Length in frames from --seconds or --frames, 10 s where neither is given."""
    if seconds is not None and frames is not None:
        raise RequestError("--seconds and --frames both set the length: give one of the two")
    if frames is not None:
        return frames
    wanted = Fraction(10) if seconds is None else seconds
    if wanted <= 0:
        raise RequestError(
            f"--seconds {float(wanted):g} is no length: give more than 0, such as 10"
        )
    return ceil(wanted * rate)
