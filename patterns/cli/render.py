"""`evenhold render PATTERN`: one clip, with its record beside it."""

from __future__ import annotations

from typing import Any

import click

from patterns.cli.clip_options import clip_options, clip_values, motion_options
from patterns.cli.console import Subcommand, TableGroup, print_json, progress
from patterns.clip import describe
from patterns.scenes.pattern import Pattern
from patterns.scenes.table import PATTERNS

CAUTION = (
    "Clips move across the whole picture. If you are sensitive to moving or flashing "
    'pictures, have someone else look at them; see "Cautions" in the README.'
)


def _command_of(name: str) -> click.Command:
    pattern = PATTERNS[name]

    @clip_options
    def run(**options: Any) -> None:
        _render(pattern, options)

    made = click.command(name, cls=Subcommand, help=f"{pattern.summary}\n\n{CAUTION}")(run)
    made.params[:0] = motion_options(pattern)
    return made


@click.group(
    cls=TableGroup, what="pattern", make=_command_of,
    summaries=lambda: {pattern.name: pattern.summary for pattern in PATTERNS.values()},
    name="render", subcommand_metavar="PATTERN [OPTIONS]",
)  # fmt: skip
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


def _render(pattern: Pattern, options: dict[str, Any]) -> None:
    # here, because help need not wait for what draws
    from patterns.kit.make_clip import clip_job, make_clip, record_text

    given = {option.key: options[option.key] for option in pattern.options}
    width, height = options["size"]
    motion = pattern.motion(width, height, given)
    job = clip_job(
        describe(motion, **clip_values(options)),
        options["out"],
        looped=options["looped"],
        force=options["force"],
        allow_flashing=options["allow_flashing"],
    )
    quiet = options["quiet"]
    with progress(job.path.name, quiet=quiet) as show:
        data = make_clip(job, show)
    for line in data["safety"]["cautions"] + data["warnings"]:
        click.echo(f"warning: {line}", err=True)
    if options["as_json"]:
        print_json(data)
    elif not quiet:
        click.echo(record_text(data, job.path))
