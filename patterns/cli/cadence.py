"""`evenhold cadence RATE...`: how long displays hold each frame."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import click

from patterns.cli import options as opt
from patterns.drawing.style import SCHEMES, check_picture_name
from patterns.timing.cadence import DEFAULT_DISPLAYS, Display, cadence
from patterns.timing.cadence_text import cadence_grid, cadence_json, cadence_text


@click.command(name="cadence")
@click.argument("rates", metavar="RATE...", nargs=-1, required=True, type=opt.RATE)
@opt.displays_option
@opt.file_option(
    "--picture",
    help_text="Also draw the holds as a chart for a slide, .png (1920 pixels wide) or .svg.",
)
@opt.scheme_option()
@opt.force_option
@opt.json_option("a list of objects")
def command(
    *,
    rates: tuple[Fraction, ...],
    displays: tuple[Display, ...],
    picture: Path | None,
    scheme_name: str,
    force: bool,
    as_json: bool,
) -> None:
    """Say how long displays hold each frame of a clip at RATE frames a second.

    The decimal names 23.976, 29.97, 59.94 ... mean the exact rates 24000/1001 and so on.
    One rate on one display is explained in full; more make a grid.

    \b
    evenhold cadence 24 --display 60
    evenhold cadence 23.976 24 25 29.97 30 50 60
    evenhold cadence 24 30 --display 60 --picture holds.png
    """  # noqa: D301 - the \b is click's
    if picture:
        check_picture_name(picture)
    grid = [[cadence(rate, display) for display in displays or DEFAULT_DISPLAYS] for rate in rates]
    every = [found for row in grid for found in row]
    if picture:
        # here, because the arithmetic alone need not wait for what draws
        from patterns.drawing.canvas import write_picture
        from patterns.drawing.hold_chart import hold_chart

        write_picture(hold_chart(every, SCHEMES[scheme_name]), picture, force=force)
        click.echo(f"wrote {picture}", err=True)
    if as_json:
        click.echo(cadence_json(every))
    else:
        click.echo(cadence_text(every[0]) if len(every) == 1 else cadence_grid(grid))
