"""`evenhold compare READING...`: which device holds frames more evenly, and how surely."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import click

from patterns.cli import options as opt
from patterns.cli.console import print_json, progress
from patterns.errors import RequestError
from patterns.reading.compare import compare, comparison_json, comparison_text
from patterns.reading.compare_page import compare_page
from patterns.reading.opened import Given
from patterns.reading.read_file import read_file
from patterns.reading.reading import Reading
from patterns.reading.stored_reading import load_readings
from patterns.timing.cadence import Display
from patterns.whole_file import write_whole


@click.command(name="compare")
@opt.files_argument("READING...")
@click.option("--label", "labels", multiple=True, metavar="NAME",
              help="Name of the device of each READING, in their order.  "
              "[default: the file's name]")  # fmt: skip
@opt.capture_rate_option
@opt.display_option("Refresh of the screens in recordings.")
@opt.file_option(
    "--html", help_text="Also write one self-contained page with the charts, fit to send."
)
@opt.force_option
@opt.json_option("the comparison")
@opt.no_bar_option
def command(
    *,
    files: tuple[Path, ...],
    labels: tuple[str, ...],
    capture_rate: Fraction | None,
    display: Display | None,
    html: Path | None,
    force: bool,
    as_json: bool,
    quiet: bool,
) -> None:
    """Compare devices: a table by clips, and a ranking with its reasons.

    READING is what `evenhold read --json` printed, or a recording itself, which is then
    read first. Only readings of the same clip are ranked against each other.

    \b
    evenhold read tablet.mov --capture-rate 240 --json > tablet.json
    evenhold compare tablet.json tv.json --label Tablet --label TV --html screens.html
    """  # noqa: D301 - the backspace is click's mark for lines that it must not fill
    if labels and len(labels) != len(files):
        raise RequestError(
            f"{len(labels)} labels for {len(files)} readings: give --label once for each, in order"
        )
    given = Given(None, capture_rate, display)
    labelled: list[tuple[str, Reading]] = []
    for place, file in enumerate(files):
        readings = load_readings(file)
        if readings is None:
            with progress(file.name, quiet=quiet) as show:
                readings = [read_file(file, given, show)]
        label = labels[place] if labels else file.stem
        labelled += [(label, reading) for reading in readings]
    found = compare(labelled)
    if html:
        write_whole(html, compare_page(found), force=force)
        click.echo(f"html: {html}", err=True)
    if as_json:
        print_json(comparison_json(found))
    else:
        click.echo(comparison_text(found))
