"""`evenhold plan`: what to set for a shoot, before leaving for it."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import click

from patterns.cli import clip_options as of_clips
from patterns.cli import options as opt
from patterns.cli.console import print_json, progress
from patterns.drawing.style import check_picture_name
from patterns.errors import RequestError
from patterns.planning.plan import Plan, PlanRequest, make_plan
from patterns.planning.record import plan_json
from patterns.planning.sections import plan_text
from patterns.side_by_side import usual_jobs
from patterns.timing.audience import DEFAULT_AUDIENCE, Audience, parse_share
from patterns.timing.cadence import Display
from patterns.timing.rates import parse_rate
from patterns.timing.shutter import MeteredExposure, Shutter, exposure_for_ev100, parse_metered
from patterns.whole_file import write_whole

SHARE = opt.Parsed[tuple[Display, Fraction]]("hertz:share", parse_share)


def parse_footage(text: str) -> tuple[Fraction | Path, ...]:
    """Rates and files, '24,25' or 'dam.mp4': what exists or has letters is a file."""
    parts = [text] if Path(text).exists() else text.split(",")
    return tuple(
        Path(part) if Path(part).exists() or any(map(str.isalpha, part)) else parse_rate(part)
        for part in parts
    )


FOOTAGE = opt.Parsed[tuple[Fraction | Path, ...]]("rates or files", parse_footage)
METERED = opt.Parsed[MeteredExposure]("exposure", parse_metered)

_shoot_options = opt.with_options(
    click.option("--display", "displays", type=SHARE, multiple=True, metavar="HZ[:SHARE]",
                 help="Display of the audience and its share: 60:0.8, 120:20%, 48-120:0.2. "
                      "May be repeated.  [default: 60:0.8 and 120:0.2, assumed]"),
    opt.rates_option(help_text="Candidate rates"),
    opt.shutter_options,
    click.option("--mains", type=click.Choice(["50", "60", "none"]), default="none",
                 show_default=True, help="Mains frequency, hertz, where lamps are lit."),
    click.option("--lamp-depth", type=opt.NUMBER, metavar="PERCENT", default="100",
                 help="Modulation of the lamps, (max - min)/(max + min), percent.  "
                      "[default: 100, the worst case]"),
    click.option("--metered", type=METERED, metavar="EXPOSURE",
                 help='What the meter says, such as "ISO100 f/2.8 1/2000".'),
    click.option("--ev", type=opt.NUMBER, metavar="EV",
                 help="Brightness as exposure value at ISO 100, instead of --metered."),
    click.option("--iso", type=opt.NUMBER, metavar="ISO",
                 help="ISO speed to use with --ev.  [default: 100]"),
    click.option("--aperture", type=opt.NUMBER, metavar="F",
                 help="f-number to use with --ev.  [default: 2.8]"),
    click.option("--footage", type=FOOTAGE, metavar="FPS|FILE,...", default=(),
                 help="What is already shot: its rates, frames a second, or files, from which "
                      "rate and motion are taken."),
    of_clips.size_option,
    opt.number_option("--viewing-distance", "HEIGHTS", "3",
                      "Distance from the screen in picture heights."),
    opt.number_option("--take", "SECONDS", "600",
                      "Long take, seconds, over which near rates (29.97, 30) are compared."),
)  # fmt: skip
_output_options = opt.with_options(
    click.option("--details", is_flag=True, help="Print the numbers behind the advice as well."),
    opt.json_option("the plan"),
    opt.file_option("--html", help_text="Also write one page to print and tape to the case."),
    opt.file_option("--picture", help_text="Also write the map of the movement, .png or .svg."),
    opt.force_option,
    click.option("--clips", type=opt.FOLDER, metavar="FOLDER",
                 help="Also render the kit for exactly this move and these rates."),
    of_clips.seconds_option(help_text="Length of each of those clips"),
    opt.allow_flashing_option,
    opt.jobs_option,
)  # fmt: skip


@click.command(
    name="plan", cls=of_clips.MotionCommand, after="footage",
    further=lambda: [of_clips.pattern_option("terrain"), *of_clips.options_of_all()],
)  # fmt: skip
@_shoot_options
@_output_options
def command(**options: Any) -> None:
    """Plan a shoot: rate, shutter, filter, speed of movement, and what is already shot.

    Prints what to do in at most twelve lines; --details adds the numbers behind it.

    \b
    evenhold plan --display 60:0.8 --display 120:0.2 --mains 50 --speed 12 --height 60
    evenhold plan --pattern orbit --turn-seconds 60 --metered "ISO100 f/2.8 1/2000"
    evenhold plan --footage 24,25 --html plan.html
    evenhold plan --footage tarn-orbit.mp4
    evenhold plan --rates 24,30 --clips outputs/tarn-hollow

    An aid to judgement: local rules and licensed practice come first. The clips of --clips
    move across the whole picture: if you are sensitive to moving or flashing pictures, have
    someone else look at them.
    """  # noqa: D301 - the backspace is click's mark for lines that it must not fill
    if options["picture"]:
        check_picture_name(options["picture"])
    request = _request(options | _from_files(options))
    plan = make_plan(request)
    # The page and the picture come first: a plan that is printed has been written as well.
    if options["html"] or options["picture"]:
        _draw(plan, options)
    if options["as_json"]:
        print_json(plan_json(plan))
    else:
        click.echo(plan_text(plan, details=options["details"]), nl=False)
    for kind in ("html", "picture"):
        if options[kind]:
            click.echo(f"{kind}: {options[kind]}", err=True)
    if options["clips"]:
        _make_clips(request, options)


def _draw(plan: Plan, options: dict[str, Any]) -> None:
    # here, because the numbers need not wait for what draws
    from patterns.drawing.canvas import write_picture
    from patterns.planning.plan_page import plan_page, plan_picture

    if options["html"]:
        write_whole(options["html"], plan_page(plan), force=options["force"])
    if options["picture"]:
        write_picture(plan_picture(plan), options["picture"], force=options["force"])


def _make_clips(request: PlanRequest, options: dict[str, Any]) -> None:
    # A plan must not wait for what rendering needs.
    from patterns.kit.kit import kit_clips, kit_text, make_kit

    size = (request.width, request.height)
    clips = kit_clips(
        [request.motion], request.rates, size=size, seconds=options["seconds"],
        shutter=options["shutter"], exposure=options["exposure"],
    )  # fmt: skip
    displays = tuple(display for display, _ in request.audience.displays)
    with progress("clips") as show:
        made = make_kit(
            options["clips"], clips, displays, progress=show,
            allow_flashing=options["allow_flashing"], jobs=options["jobs"] or usual_jobs(*size),
        )  # fmt: skip
    click.echo(kit_text(made, options["clips"]), err=options["as_json"])


def _from_files(options: dict[str, Any]) -> dict[str, Any]:
    """Rates instead of files; the first file's move and size where none were asked for."""
    given = options["footage"]
    if not any(isinstance(one, Path) for one in given):
        return {}
    # here, because only such a plan needs what reads files
    from patterns.footage.measure import measure
    from patterns.footage.seen import TAKEN, rows

    rates, files = [], []
    for one in given:
        if isinstance(one, Fraction):
            rates.append(one)
            continue
        with progress(one.name) as show:
            facts = measure(one, show)
        rates.append(facts.rate)
        files.append(facts)
        for label, words in rows(facts):
            if label in TAKEN:
                click.echo(f"{one.name}: {label}: {words}", err=True)
    asked = click.get_current_context()
    own = {option.name for option in of_clips.options_of_all()} | {"pattern", "size"}
    default = click.core.ParameterSource.DEFAULT
    found: dict[str, Any] = {"footage": tuple(rates)}
    if all(asked.get_parameter_source(str(name)) in (default, None) for name in own):
        moved = next((facts for facts in files if facts.cross_s is not None), None)
        if moved is not None:
            found |= {"pattern": "bars", "cross": moved.cross_s, "size": moved.even_size}
    return found


def _request(options: dict[str, Any]) -> PlanRequest:
    width, height = options["size"]
    shares = options["displays"]
    return PlanRequest(
        motion=of_clips.chosen_motion(options, options["size"]),
        audience=Audience.of(shares) if shares else DEFAULT_AUDIENCE,
        audience_assumed=not shares,
        rates=options["rates"],
        width=width,
        height=height,
        shutter=Shutter.of(options["shutter"], options["exposure"]),
        mains_hz=None if options["mains"] == "none" else int(options["mains"]),
        lamp_depth=float(options["lamp_depth"] / 100),
        metered=_metered(options),
        footage=options["footage"],
        viewing_heights=options["viewing_distance"],
        take_s=options["take"],
    )


def _metered(options: dict[str, Any]) -> MeteredExposure | None:
    metered: MeteredExposure | None = options["metered"]
    ev, iso, aperture = options["ev"], options["iso"], options["aperture"]
    if metered is not None and ev is not None:
        raise RequestError("--metered and --ev both state the light: give one of the two")
    if ev is None:
        if iso is not None or aperture is not None:
            raise RequestError(
                "--iso and --aperture go with --ev: add it, or state all in --metered"
            )
        return metered
    speed, f_number = Fraction(100), Fraction(14, 5)  # unless given
    return exposure_for_ev100(
        float(ev), speed if iso is None else iso, f_number if aperture is None else aperture
    )
