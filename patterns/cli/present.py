"""`evenhold present`: clips, stills and pages that show judder to people."""

from __future__ import annotations

from dataclasses import fields
from typing import Any, get_args

import click

from patterns.cli import clip_options as of_clips
from patterns.cli import options as opt
from patterns.cli.console import print_json, progress
from patterns.drawing.style import SCHEMES
from patterns.present.animation import FORMATS
from patterns.present.panel import LAYOUTS
from patterns.present.talk import make_talk
from patterns.present.talk_pages import talk_text
from patterns.present.talk_request import SHAKE_PX, Part, TalkRequest
from patterns.scenes.pattern import Pattern
from patterns.side_by_side import usual_jobs
from patterns.timing.rates import format_decimal
from patterns.timing.shutter import Shutter

_what_to_make = opt.with_options(
    click.option("--all", "everything", is_flag=True,
                 help="Make everything, with an index and speaker's notes."),
    click.option("--split", is_flag=True,
                 help="Make the split clip; made where nothing else is asked for."),
    click.option("--conform", is_flag=True,
                 help="Make the conform demonstration: repeated, blended, sped up, native."),
    click.option("--stills", is_flag=True,
                 help="Make the hold chart, space-time diagram and tracked-eye picture."),
    click.option("--animation", type=click.Choice(list(FORMATS)), multiple=True,
                 help="Make an animated picture; may be repeated."),
    click.option("--html", "demo", is_flag=True,
                 help="Make the one-page demonstration, demo.html."),
)  # fmt: skip
_what_to_show = opt.with_options(
    click.option("--display", type=opt.DISPLAY, metavar="HZ", default="60",
                 show_default=True, help="Refresh of the display that it is shown on, hertz."),
    opt.rates_option(TalkRequest.rates, "Two to four rates to compare"),
    click.option("--layout", type=click.Choice(LAYOUTS),
                 help="Panels side by side, stacked, in a grid of four, or on both sides of "
                 "a line through one picture.  [default: side; four in a grid]"),
    click.option("--slow", type=click.IntRange(1, 60), metavar="TIMES", default=1,
                 show_default=True, help="Repeat each refresh, to count the holds aloud."),
    opt.shutter_options,
    click.option("--strip", is_flag=True,
                 help="Draw the counting strip in every panel, for evenhold read."),
    click.option("--footage", type=opt.RATE, metavar="FPS",
                 default=format_decimal(TalkRequest.footage), show_default=True,
                 help="Rate shot, for --conform, frames a second."),
    click.option("--timeline", type=opt.RATE, metavar="FPS",
                 default=format_decimal(TalkRequest.timeline), show_default=True,
                 help="Rate delivered, for --conform, frames a second."),
)  # fmt: skip
_how_to_write = opt.with_options(
    of_clips.seconds_option(TalkRequest.seconds, "Length of the scene, before slowing"),
    of_clips.size_option,
    of_clips.codec_option,
    opt.scheme_option("--clip-scheme", "dark", "the clips"),
    opt.scheme_option("--scheme", "light", "the stills"),
    of_clips.seed_option,
    opt.folder_option("outputs/talk"),
    opt.force_option,
    opt.allow_flashing_option,
    opt.jobs_option,
    opt.json_option("what was made"),
    opt.quiet_option,
)


def _quick_enough(pattern: Pattern) -> str:
    shown, fastest = float(pattern.pace.shown), float(pattern.pace.fastest)
    return f"so that the worst panel shakes by {SHAKE_PX} px at 1080p; {shown:g} to {fastest:g}"


@click.command(
    name="present", cls=of_clips.MotionCommand, after="rates",
    further=lambda: [of_clips.pattern_option("bars"), *of_clips.pace_options(_quick_enough)],
)  # fmt: skip
@_what_to_make
@_what_to_show
@_how_to_write
def command(**o: Any) -> None:
    """Show judder to people: on a projector, a laptop, a phone, or on paper.

    The split clip shows one scene at several rates in one file at the display's own rate,
    each frame held exactly as the display would hold it. Play it full screen.

    \b
    evenhold present --rates 24,30 --display 60
    evenhold present --rates 24,30 --slow 4
    evenhold present --pattern terrain --layout line
    evenhold present --conform --stills --html
    evenhold present --animation gif --slow 6
    evenhold present --all --out outputs/talk

    These clips move across the whole picture, and are checked for flashes and stripes. If
    you are sensitive to moving or flashing pictures, have someone else look at them.
    """  # noqa: D301 - click looks for the character, not for its escape
    request = _request(o)
    with progress("present", quiet=o["quiet"]) as show:
        jobs = o["jobs"] or usual_jobs(request.width, request.height)
        parts = tuple(part for part in get_args(Part) if o[part]) or ("split",)
        data = make_talk(request, None if o["everything"] else parts, show, jobs=jobs)
    for item in data["items"]:
        if item.get("safety", {}).get("verdict") == "exceeds":
            click.echo(f"warning: {item['files'][0]} {item['safety']['summary']}", err=True)
    if o["as_json"]:
        print_json(data)
    elif not o["quiet"]:
        click.echo(talk_text(data, request.folder, whole=o["everything"]))


def _request(o: dict[str, Any]) -> TalkRequest:
    width, height = o["size"]
    named_alike = (field.name for field in fields(TalkRequest) if o.get(field.name) is not None)
    given = {name: o[name] for name in named_alike} | {
        "folder": o["out"],
        "paces": of_clips.given_paces(o),
        "shutter": Shutter.of(o["shutter"], o["exposure"]),
        "width": width,
        "height": height,
        "clip_colours": SCHEMES[o["clip_scheme"]],
        "still_colours": SCHEMES[o["scheme_name"]],
        "formats": o["animation"],
    }
    return TalkRequest(**given)
