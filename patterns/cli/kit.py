"""`evenhold kit`: the set of clips that one takes to a device."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from patterns.cli.motion_options import MotionCommand, pace_options
from patterns.cli.option_types import ANGLE, DISPLAY, NUMBER, RATES, SIZE, jobs_option, small_option
from patterns.cli.progress import progress
from patterns.kit.kit import KitSpec, kit_text, make_kit
from patterns.kit.record import dump
from patterns.scenes.table import PATTERNS
from patterns.side_by_side import usual_jobs
from patterns.timing.cadence import DEFAULT_DISPLAYS
from patterns.video.codecs import CODECS

__all__ = ["command"]


@click.command(name="kit", cls=MotionCommand, further=pace_options, after="shutter")
@click.option(
    "--display",
    "displays",
    type=DISPLAY,
    metavar="HZ",
    multiple=True,
    help="Refresh of a display to explain the clips for, hertz, or a variable range, 48-120; "
    "may be repeated.  [default: 60, 90 and 120]",
)
@click.option(
    "--rates",
    type=RATES,
    metavar="FPS,FPS,...",
    default="24,25,30,50,60",
    show_default=True,
    help="Frames a second of the clips.",
)
@click.option(
    "--size",
    type=SIZE,
    metavar="NAME|WxH",
    default="1080p",
    show_default=True,
    help="Pixels: 720p, 1080p, 4k, phone-1080 (upright), ... or 1920x1080.",
)
@click.option(
    "--seconds",
    type=NUMBER,
    metavar="SECONDS",
    default="10",
    show_default=True,
    help="Length of each clip, seconds.",
)
@click.option(
    "--shutter",
    type=ANGLE,
    metavar="DEGREES",
    default="180",
    show_default=True,
    help="Shutter angle of every clip, degrees.",
)
@click.option(
    "--codec",
    type=click.Choice(list(CODECS)),
    default="h264",
    show_default=True,
    help="How the files are coded.",
)
@small_option
@jobs_option
@click.option(
    "--seed",
    type=click.IntRange(0, 2**31 - 1),
    default=1,
    show_default=True,
    help="Chooses the country, the hills and the clouds.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    default=Path("outputs/kit"),
    show_default="outputs/kit",
    help="Where the kit goes.",
)
@click.option(
    "--allow-flashing",
    is_flag=True,
    help="Keep clips that exceed the limits for flashes and stripes.",
)
@click.option("--json", "as_json", is_flag=True, help="Print kit.json.")
@click.option("--quiet", is_flag=True, help="Print nothing but errors.")
def command(**o: Any) -> None:  # fmt: skip
    """Render the clips to take to a device: all patterns at several rates.

    The motion is the same at every rate. The folder gets an index.html that plays the
    clips without a network, a crib sheet to print, and kit.json. A second run renders
    only what is missing or changed, and an interrupted one goes on where it stopped.

    \b
    evenhold kit
    evenhold kit --display 60 --display 120 --rates 23.976,29.97,59.94

    Clips move across the whole picture. If you are sensitive to moving or flashing
    pictures, have someone else look at them; see "Cautions" in the README.
    """  # noqa: D301 - click's mark for a paragraph that is not rewrapped
    width, height = o["size"]
    spec = KitSpec(
        folder=o["out"],
        motions=tuple(
            pattern.motion(width, height, {pattern.pace.option: o[pattern.pace.option]})
            for pattern in PATTERNS.values()
        ),
        rates=o["rates"],
        displays=o["displays"] or DEFAULT_DISPLAYS,
        width=width,
        height=height,
        seconds=o["seconds"],
        angle_deg=o["shutter"],
        codec=o["codec"],
        seed=o["seed"],
        allow_flashing=o["allow_flashing"],
        small=o["small"],
    )
    with progress("kit", quiet=o["quiet"]) as show:
        data = make_kit(spec, show, jobs=o["jobs"] or usual_jobs(width, height))
    if o["as_json"]:
        click.echo(dump(data), nl=False)
    elif not o["quiet"]:
        click.echo(kit_text(data, spec.folder))
