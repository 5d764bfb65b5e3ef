"""`evenhold render PATTERN`: one clip, with its record beside it."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import click

from patterns.cli.clip_options import clip_options, exposure_from, frames_from
from patterns.cli.groups import HelpfulGroup
from patterns.cli.motion_options import (
    bars_motion,
    bars_options,
    orbit_motion,
    orbit_options,
    terrain_motion,
    terrain_options,
)
from patterns.cli.progress import progress
from patterns.clip import Clip
from patterns.kit.make_clip import ClipJob, clip_job, make_clip
from patterns.kit.record import dump, record_text
from patterns.scenes.motion import Motion

__all__ = ["command"]

CLIP_OPTIONS = (
    "rate", "shutter", "exposure", "size", "seconds", "frames", "codec", "strip", "looped",
    "seed", "out", "force", "allow_flashing", "small", "as_json", "quiet",
)  # fmt: skip


class _Patterns(HelpfulGroup):
    """Group of the patterns."""

    what = "pattern"


@click.group(cls=_Patterns, name="render", subcommand_metavar="PATTERN [OPTIONS]")
def command() -> None:
    """Render one clip of a PATTERN, with its record beside it.

    The clip plays at exactly the rate asked for; each frame is exposed for exactly the
    shutter asked for, and the strip along its edge counts the frames. The record,
    <clip>.json, holds what the console says.

    \b
    evenhold render bars --rate 24 --cross 7
    evenhold render terrain --rate 23.976 --shutter 180 --speed 12 --height 60 --lens 24
    evenhold render orbit --rate 30 --exposure 1/50 --size 4k --turn-seconds 60

    Clips move across the whole picture. If you are sensitive to moving or flashing
    pictures, have someone else look at them; see "Cautions" in the README.
    """  # noqa: D301 - click's mark for a paragraph that is not rewrapped


def _render(motion: Motion, options: dict[str, Any]) -> None:
    rate: Fraction = options["rate"]
    width, height = options["size"]
    clip = Clip(
        motion=motion,
        rate=rate,
        exposure_s=exposure_from(rate, options["shutter"], options["exposure"]),
        width=width,
        height=height,
        frames=frames_from(rate, options["seconds"], options["frames"]),
        strip=options["strip"],
        codec=options["codec"],
        seed=options["seed"],
    )
    job: ClipJob = clip_job(
        clip,
        options["out"],
        looped=options["looped"],
        force=options["force"],
        allow_flashing=options["allow_flashing"],
        small=options["small"],
    )
    quiet = options["quiet"]
    with progress(job.path.name, quiet=quiet) as show:
        data = make_clip(job, show)
    for line in data["safety"]["cautions"] + data["warnings"]:
        click.echo(f"warning: {line}", err=True)
    if options["as_json"]:
        click.echo(dump(data), nl=False)
    elif not quiet:
        click.echo(record_text(data, job.folder_text))


def _split(values: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Options of the clip, and those of its motion."""
    return {k: values.pop(k) for k in CLIP_OPTIONS}, values


@command.command()
@bars_options
@clip_options
def bars(**values: Any) -> None:
    """Bars that cross the frame: the plainest look at a cadence.

    Clips move across the whole picture. If you are sensitive to moving or flashing
    pictures, have someone else look at them; see "Cautions" in the README.
    """
    options, motion = _split(values)
    _render(bars_motion(options["size"], **motion), options)


@command.command()
@terrain_options
@clip_options
def terrain(**values: Any) -> None:
    """Level flight over country: judder where the ground is near, the lower corners.

    Clips move across the whole picture. If you are sensitive to moving or flashing
    pictures, have someone else look at them; see "Cautions" in the README.
    """
    options, motion = _split(values)
    _render(terrain_motion(**motion), options)


@command.command()
@orbit_options
@clip_options
def orbit(**values: Any) -> None:
    """A circle about a subject: it stays in the centre, the skyline sweeps.

    Clips move across the whole picture. If you are sensitive to moving or flashing
    pictures, have someone else look at them; see "Cautions" in the README.
    """
    options, motion = _split(values)
    _render(orbit_motion(**motion), options)
