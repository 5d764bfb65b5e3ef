"""`evenhold kit`: the set of clips that one takes to a device."""

from __future__ import annotations

from typing import Any

import click

from patterns.cli import clip_options as of_clips
from patterns.cli import options as opt
from patterns.cli.console import print_json, progress
from patterns.kit.kit import kit_clips, kit_text, make_kit
from patterns.scenes.table import PATTERNS
from patterns.side_by_side import usual_jobs
from patterns.timing.cadence import DEFAULT_DISPLAYS


@click.command(
    name="kit", cls=of_clips.MotionCommand, further=of_clips.pace_options, after="exposure"
)
@opt.displays_option
@opt.rates_option()
@of_clips.size_option
@of_clips.seconds_option(help_text="Length of each clip")
@opt.shutter_options
@of_clips.codec_option
@of_clips.small_option
@opt.jobs_option
@of_clips.seed_option
@opt.folder_option("outputs/kit")
@opt.allow_flashing_option
@opt.json_option("what was made")
@opt.quiet_option
def command(**o: Any) -> None:
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
    motions = [
        pattern.motion(width, height, {pattern.pace.option: o.get(pattern.pace.option)})
        for pattern in PATTERNS.values()
    ]
    clips = kit_clips(motions, o["rates"], **of_clips.clip_values(o))
    with progress("kit", quiet=o["quiet"]) as show:
        data = make_kit(
            o["out"], clips, o["displays"] or DEFAULT_DISPLAYS, progress=show,
            allow_flashing=o["allow_flashing"], jobs=o["jobs"] or usual_jobs(width, height),
        )  # fmt: skip
    if o["as_json"]:
        print_json(data)
    elif not o["quiet"]:
        click.echo(kit_text(data, o["out"]))
