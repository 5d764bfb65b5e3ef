"""`evenhold conform FILE... --to FPS`: footage already shot, at another rate."""

from __future__ import annotations

from contextlib import AbstractContextManager
from fractions import Fraction
from pathlib import Path
from typing import Any

import click

from patterns.cli import options as opt
from patterns.cli.console import each_file, print_each, progress
from patterns.conform.conform import Results, conform_file
from patterns.conform.footage import Request, SoundChoice, look_at
from patterns.conform.report import conform_json, conform_text
from patterns.side_by_side import Progress
from patterns.timing.audience import DEFAULT_AUDIENCE
from patterns.timing.cadence import Display
from patterns.timing.conform import proposals

PROPOSE = Fraction(0)  # --to without a value


@click.command(name="conform")
@opt.files_argument()
@click.option("--to", "rate", type=opt.RATE, metavar="FPS", is_flag=False, flag_value=PROPOSE,
              help="Rate to play at, frames a second.  "
              "[without it: proposes rates, writes nothing]")  # fmt: skip
@click.option("--sound", type=click.Choice(["drop", "keep-pitch", "with-speed"]),
              help="What becomes of the sound.  "
              "[default: keep-pitch; drop where there is none]")  # fmt: skip
@click.option(
    "--undo-repeats", is_flag=True, help="Take repeated pictures out first; codes the file anew."
)
@click.option("--keep-repeats", is_flag=True, help="Do not look for repeated pictures; faster.")
@click.option("--even-out", is_flag=True, help="Time a file of variable frame rate evenly.")
@click.option("--display", "displays", metavar="HZ", multiple=True, type=opt.DISPLAY,
              default=[display.name for display, _ in DEFAULT_AUDIENCE.displays],
              show_default=True,
              help="Refresh of the audience's displays, or a variable range, 48-120; "
              "may be repeated.")  # fmt: skip
@click.option("--out", type=click.Path(path_type=Path), metavar="FOLDER|FILE", default="outputs",
              show_default=True, help="Folder for the files, or the name of one.")  # fmt: skip
@click.option("--force", is_flag=True, help="Replace files that exist; never an original.")
@opt.json_list_option
@opt.no_bar_option
def command(
    *,
    files: tuple[Path, ...],
    rate: Fraction | None,
    displays: tuple[Display, ...],
    sound: SoundChoice | None,
    undo_repeats: bool,
    keep_repeats: bool,
    even_out: bool,
    out: Path,
    force: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Make footage play at another rate, each frame once: 24 becomes even in 30.

    The pictures are not coded anew: the same ones come at new, exact times, n / rate. All that
    moves gets faster or slower by as much, and the report says by how much. FILE is MP4 or
    QuickTime; others are packed as MP4. Originals stay as they are.

    \b
    evenhold conform tarn-orbit.mp4
    evenhold conform tarn-orbit.mp4 --to 30
    evenhold conform dam-1.mov dam-2.mov --to 30 --sound drop --out conformed

    Whatever flashes or moves comes faster at a higher rate: run evenhold check on the result
    before it is shown. If you are sensitive to moving or flashing pictures, have someone else
    look at it.
    """  # noqa: D301 - the backspace is click's mark for lines that it must not fill
    request = Request(rate or None, sound, undo_repeats, keep_repeats, even_out, force)
    proposes = request.rate is None and not (undo_repeats or even_out)
    results = Results(out, files)

    def conform(file: Path) -> Any:
        def stage(what: str) -> AbstractContextManager[Progress]:
            return progress(f"{file.name}: {what}", quiet=quiet)

        footage = look_at(file, request, stage)
        if proposes:
            done, found = None, proposals(footage.rate, displays)
        else:
            target = results.place(file, footage, request.rate or footage.rate)
            done, found = conform_file(file, target, footage, request, stage), ()
        printed = conform_json if as_json else conform_text
        return printed(str(file), footage, displays, done, found)

    shown, failed = each_file(files, conform)
    print_each(shown, alone=len(files) == 1, as_json=as_json)
    return failed
