"""`evenhold read FILE...`: what a screen, a file or an edit really did."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from patterns.cli import options as opt
from patterns.cli.console import each_file, own_names, print_each, progress
from patterns.drawing.style import SCHEMES, check_picture_name
from patterns.errors import RequestError
from patterns.reading.opened import Given
from patterns.reading.read_file import read_file
from patterns.timing.cadence import Display
from patterns.whole_file import write_whole

if TYPE_CHECKING:
    from patterns.reading.reading import Kind, Reading

FILE_KINDS: tuple[Kind, ...] = ("clip", "recording", "photo", "footage")


@click.command(name="read")
@opt.files_argument()
@click.option("--as", "kind", type=click.Choice(FILE_KINDS),
              help="What the files are, where that is not to be found out.")  # fmt: skip
@opt.capture_rate_option
@opt.display_option("Refresh of the screen that was filmed, or a variable range such as 48-120.")
@click.option("--exposure", type=opt.EXPOSURE, metavar="SECONDS",
              help="Exposure of a photo.  [default: what its EXIF says]")  # fmt: skip
@opt.json_list_option
@opt.file_option(
    "--csv",
    help_text="Also write the holds as CSV; with several FILEs one for each, FILE-NAME.csv.",
)
@opt.file_option(
    "--picture",
    help_text="Also draw the holds as a timeline for a slide, of footage its motion, .png or .svg; "
    "with several FILEs one for each.",
)
@opt.file_option(
    "--against",
    metavar="ORIGINAL",
    help_text="Say in a line what each FILE, a published copy, made of this original.",
)
@opt.scheme_option()
@opt.force_option
@opt.no_bar_option
def command(
    *,
    files: tuple[Path, ...],
    kind: Kind | None,
    capture_rate: Fraction | None,
    display: Display | None,
    exposure: Fraction | None,
    as_json: bool,
    csv: Path | None,
    picture: Path | None,
    against: Path | None,
    scheme_name: str,
    force: bool,
    quiet: bool,
) -> int:
    """Read back what a screen, a platform or an edit made of a clip.

    FILE is a clip or a transcode of it, a recording of a screen that played it (slow motion,
    120 pictures a second or more), a photo of that exposed for a whole second, or footage
    without a strip. Which one it is, is found out. Videos are MP4, QuickTime, Matroska, WebM, AVI,
    MPEG, MXF or GIF; playlists and whatever else names other files are not opened.

    \b
    evenhold read bars-24.mp4
    evenhold read tablet.mov --capture-rate 240 --display 60 --picture tablet.png
    evenhold read tablet.jpg --exposure 1
    evenhold read tarn-hollow-edit.mp4 --as footage
    evenhold read --against tarn-orbit.mp4 downloaded.mp4

    Exit code: 0 read, 1 a file could not be read, 2 wrong use.
    """  # noqa: D301 - the backspace is click's mark for lines that it must not fill
    if against:
        if picture or csv or kind:
            raise RequestError("--against prints a line a file: leave --picture, --csv, --as out")
        return _against(against, files, as_json=as_json, quiet=quiet)
    if picture:
        check_picture_name(picture)
    if exposure is not None and exposure <= 0:
        raise RequestError("exposure of 0 s leaves no light: give seconds such as 1")
    given = Given(kind, capture_rate, display, exposure)
    pictures = own_names(picture, files) if picture else {}
    tables = own_names(csv, files) if csv else {}

    def read(file: Path) -> Reading:
        with progress(file.name, quiet=quiet) as show:
            reading = read_file(file, given, show)
        if pictures:
            _draw(reading, scheme_name, pictures[file], force=force)
        if tables:
            _tabulate(reading, tables[file], force=force)
        return reading

    readings, failed = each_file(files, read)
    shown = [_shown(reading, as_json=as_json) for reading in readings]
    print_each(shown, alone=len(files) == 1, as_json=as_json, gap="\n\n\n")
    return failed


def _shown(reading: Reading, *, as_json: bool) -> Any:
    # here and below, because a decoder is at work before what words its results is loaded
    from patterns.reading.reading import to_json
    from patterns.reading.reading_text import reading_text

    return to_json(reading) if as_json else reading_text(reading)


def _tabulate(reading: Reading, path: Path, *, force: bool) -> None:
    from patterns.reading.reading_text import reading_csv

    write_whole(path, reading_csv(reading), force=force)


def _draw(reading: Reading, scheme_name: str, path: Path, *, force: bool) -> None:
    # here, because readings need not wait for what draws
    from patterns.drawing.canvas import write_picture
    from patterns.footage.picture import motion_map
    from patterns.reading.timeline import hold_timeline

    colours = SCHEMES[scheme_name]
    drawing = hold_timeline(reading, colours)
    if reading.footage is not None and reading.footage.fastest is not None:
        drawing = motion_map(reading.footage, colours)
    write_picture(drawing, path, force=force)


def _against(original: Path, files: tuple[Path, ...], *, as_json: bool, quiet: bool) -> int:
    from patterns.reading.against import Against, against_json, compare_copy, load

    with progress(original.name, quiet=quiet) as show:
        whole = load(original, show)

    def compared_with(file: Path) -> Against:
        with progress(file.name, quiet=quiet) as show:
            return compare_copy(file, whole, show)

    compared, failed = each_file(files, compared_with)
    shown: list[Any] = [
        against_json(found) if as_json
        else found.verdict + (f"\n  {found.usually}" if found.usually else "")
        for found in compared
    ]  # fmt: skip
    print_each(shown, alone=len(files) == 1, as_json=as_json, gap="\n")
    return failed
