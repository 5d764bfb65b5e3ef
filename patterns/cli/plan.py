"""`evenhold plan`: what to set for a shoot, before leaving for it."""

from __future__ import annotations

import json
from fractions import Fraction
from typing import Any

import click

from patterns.cli.motion_options import (
    MotionCommand,
    chosen_motion,
    options_of_all,
    pattern_option,
)
from patterns.cli.plan_options import plan_options
from patterns.cli.progress import progress
from patterns.drawing.canvas import check_picture_name, write_picture
from patterns.errors import RequestError
from patterns.planning.plan import make_plan
from patterns.planning.plan_page import plan_page
from patterns.planning.plan_picture import plan_picture
from patterns.planning.plan_text import plan_text
from patterns.planning.record import plan_json
from patterns.planning.request import DEFAULT_RATES, PlanRequest
from patterns.side_by_side import usual_jobs
from patterns.timing.audience import DEFAULT_AUDIENCE, Audience
from patterns.timing.exposure_value import MeteredExposure, exposure_for_ev100
from patterns.whole_file import write_whole

__all__ = ["command"]


def _motion_options() -> list[click.Option]:
    return [pattern_option("terrain"), *options_of_all()]


@click.command(name="plan", cls=MotionCommand, further=_motion_options, after="footage")
@plan_options
def command(**options: Any) -> None:
    """Plan a shoot: rate, shutter, filter, speed of movement, and what is already shot.

    Prints what to do in at most twelve lines; --details adds the numbers behind it.

    \b
    evenhold plan --display 60:0.8 --display 120:0.2 --mains 50 --speed 12 --height 60
    evenhold plan --pattern orbit --turn-seconds 60 --metered "ISO100 f/2.8 1/2000"
    evenhold plan --footage 24,25 --html plan.html
    evenhold plan --rates 24,30 --clips outputs/tarn-hollow

    An aid to judgement: local rules and licensed practice come first. The clips of --clips
    move across the whole picture: if you are sensitive to moving or flashing pictures, have
    someone else look at them.
    """  # noqa: D301 - the backspace is click's mark for lines that it must not fill
    if options["picture"]:
        check_picture_name(options["picture"])
    request = _request(options)
    plan = make_plan(request)
    # The page and the picture come first: a plan that is printed has been written as well.
    if options["html"]:
        write_whole(options["html"], plan_page(plan), force=options["force"])
    if options["picture"]:
        write_picture(plan_picture(plan), options["picture"], force=options["force"])
    if options["as_json"]:
        click.echo(json.dumps(plan_json(plan), indent=2))
    else:
        click.echo(plan_text(plan, details=options["details"]), nl=False)
    for kind in ("html", "picture"):
        if options[kind]:
            click.echo(f"{kind}: {options[kind]}", err=True)
    if options["clips"]:
        _make_clips(request, options)


def _make_clips(request: PlanRequest, options: dict[str, Any]) -> None:
    # A plan must not wait for what rendering needs.
    from patterns.kit.kit import KitSpec, kit_text, make_kit

    spec = KitSpec(
        folder=options["clips"],
        motions=(request.motion,),
        rates=request.rates,
        displays=tuple(display for display, _ in request.audience.displays),
        width=request.width,
        height=request.height,
        seconds=options["seconds"],
        angle_deg=request.angle_deg,
        allow_flashing=options["allow_flashing"],
    )
    with progress("clips") as show:
        made = make_kit(
            spec, show, jobs=options["jobs"] or usual_jobs(request.width, request.height)
        )
    click.echo(kit_text(made, spec.folder), err=options["as_json"])


def _request(options: dict[str, Any]) -> PlanRequest:
    width, height = options["size"]
    shares = options["displays"]
    return PlanRequest(
        motion=chosen_motion(options, options["size"]),
        audience=Audience.of(shares) if shares else DEFAULT_AUDIENCE,
        audience_assumed=not shares,
        rates=options["rates"] or DEFAULT_RATES,
        width=width,
        height=height,
        angle_deg=options["shutter"],
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
    return exposure_for_ev100(
        float(ev),
        Fraction(100) if iso is None else iso,
        Fraction(14, 5) if aperture is None else aperture,
    )
