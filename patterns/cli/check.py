"""`evenhold check`: flashes and stripes in files that an audience will see."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from patterns.cli import options as opt
from patterns.cli.console import each_file, own_names, print_each, progress
from patterns.safety.files import check_file
from patterns.safety.viewing import Viewing

if TYPE_CHECKING:
    from patterns.safety.file_pictures import FileResult

EXCEEDS = 3  # exit code for a file that exceeds a limit


@click.command(name="check")
@opt.files_argument()
@opt.number_option("--peak", "CD/M2", "200", "Luminance of peak white on the screen.")
@opt.number_option("--distance", "HEIGHTS", "3", "Viewing distance in picture heights.")
@click.option(
    "--loop", is_flag=True, help="Look at videos as played in a loop; those under 5 s always are."
)
@opt.file_option(
    "--picture",
    metavar="FILE.png",
    help_text="Also write the worst moment with its area marked; with several FILEs, one for each, "
    "FILE-NAME.png.",
)
@opt.force_option
@opt.json_option("a list of reports")
@opt.no_bar_option
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
        from patterns.safety.file_pictures import check_picture_path

        check_picture_path(picture)
    names = own_names(picture, files) if picture is not None else {}
    viewing = Viewing(float(peak), float(distance))

    def check(file: Path) -> FileResult:
        with progress(file.name, quiet=quiet) as show:
            return check_file(file, viewing, loop=loop, progress=show)

    results, failed = each_file(files, check)
    for result in results if names else ():
        _write_picture(result, names[result.path], force=force)
    # here, because the packets of a file are gone through before it is loaded
    from patterns.safety.report import report_text

    shown: list[Any] = [
        {"file": str(r.path), **r.report.to_json()} if as_json
        else f"{r.path}: {report_text(r.report)}"
        for r in results
    ]  # fmt: skip
    print_each(shown, alone=False, as_json=as_json)
    if failed:
        return failed
    return 0 if all(r.report.passes for r in results) else EXCEEDS


def _write_picture(result: FileResult, name: Path, *, force: bool) -> None:
    from patterns.safety.file_pictures import write_marked

    if result.worst is None:
        click.echo(f"{result.path}: nothing flashes and no stripes: no picture", err=True)
        return
    write_marked(result.worst, name, force=force)
    click.echo(f"picture: {name}, {result.worst.criterion}", err=True)
