"""`evenhold check`: flashes and stripes in files that an audience will see."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import click

from patterns.cli.options import (
    NUMBER,
    file_option,
    files_argument,
    force_option,
    json_option,
    no_bar_option,
)
from patterns.cli.progress import progress
from patterns.errors import InputError
from patterns.safety.files import FileResult, check_file, check_picture_path, write_marked
from patterns.safety.report import report_text
from patterns.safety.viewing import Viewing

EXCEEDS = 3  # exit code for a file that exceeds a limit


@click.command(name="check")
@files_argument()
@click.option(
    "--peak",
    type=NUMBER,
    metavar="CD/M2",
    default="200",
    show_default=True,
    help="Luminance of peak white on the screen.",
)
@click.option(
    "--distance",
    type=NUMBER,
    metavar="HEIGHTS",
    default="3",
    show_default=True,
    help="Viewing distance in picture heights.",
)
@click.option(
    "--loop", is_flag=True, help="Look at videos as played in a loop; those under 5 s always are."
)
@file_option(
    "--picture",
    metavar="FILE.png",
    words="Also write the worst moment with its area "
    "marked; with several FILEs, one for each, FILE-NAME.png.",
)
@force_option
@json_option("a list of reports")
@no_bar_option
def command(
    *,
    files: tuple[Path, ...],
    peak: Fraction,
    distance: Fraction,
    loop: bool,
    picture: Path | None,
    force: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Check videos, animations and pictures for what can hurt a photosensitive viewer.

    General and red flashes (WCAG 2.2 and ITU-R BT.1702) and regular stripes (ITU-R
    BT.1702 and the Epilepsy Foundation's consensus), as they appear at the viewing stated.

    \b
    evenhold check orbit-24.mp4
    evenhold check outputs/kit/*.mp4 --distance 2 --picture worst.png

    Exit code: 0 all pass, 3 a file exceeds a limit, 1 a file could not be read, 2 wrong use.

    An aid, not a certificate: local rules and licensed tests come first.
    """  # noqa: D301 - click reads the backspace
    if picture is not None:
        check_picture_path(picture)
    viewing = Viewing(float(peak), float(distance))
    results, unread = [], 0
    for file in files:
        try:
            with progress(file.name, quiet=quiet) as show:
                results.append(check_file(file, viewing, loop=loop, progress=show))
        except InputError as error:
            click.echo(f"evenhold: {error}", err=True)
            unread += 1
    if picture is not None:
        _write_pictures(results, picture, alone=len(files) == 1, force=force)
    if as_json:
        shown = [{"file": str(r.path), **r.report.to_json()} for r in results]
        click.echo(json.dumps(shown, indent=2))
    elif results:
        click.echo("\n\n".join(f"{r.path}: {report_text(r.report)}" for r in results))
    if unread:
        return InputError.exit_code
    return 0 if all(r.report.passes for r in results) else EXCEEDS


def _write_pictures(results: list[FileResult], picture: Path, *, alone: bool, force: bool) -> None:
    for result in results:
        name = picture if alone else picture.with_stem(f"{picture.stem}-{result.path.stem}")
        if result.worst is None:
            click.echo(f"{result.path}: nothing flashes and no stripes: no picture", err=True)
            continue
        write_marked(result.worst, name, force=force)
        click.echo(f"picture: {name}, {result.worst.criterion}", err=True)
