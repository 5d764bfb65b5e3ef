"""`evenhold present`: clips, stills and pages that show judder to people."""

from __future__ import annotations

from typing import Any

import click

from patterns.cli.motion_options import MotionCommand
from patterns.cli.present_options import present_options, request_from, scene_options
from patterns.cli.progress import progress
from patterns.present.talk import dump_talk, make_talk, talk_text
from patterns.present.talk_request import Part
from patterns.side_by_side import usual_jobs

__all__ = ["command"]


def _parts(o: dict[str, Any]) -> tuple[Part, ...]:
    """Parts that the options name; the split clip where they name none."""
    named: dict[Part, bool] = {
        "split": o["split"],
        "conform": o["conform"],
        "stills": o["stills"],
        "animation": bool(o["formats"]),
        "demo": o["html"],
    }
    return tuple(part for part, wanted in named.items() if wanted) or ("split",)


@click.command(name="present", cls=MotionCommand, further=scene_options, after="rates")
@present_options
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
    request = request_from(o)
    with progress("present", quiet=o["quiet"]) as show:
        jobs = o["jobs"] or usual_jobs(request.width, request.height)
        parts = None if o["everything"] else _parts(o)
        data = make_talk(request, parts, show, jobs=jobs)
    for item in data["items"]:
        if item.get("safety", {}).get("verdict") == "exceeds":
            click.echo(f"warning: {item['files'][0]} {item['safety']['summary']}", err=True)
    if o["as_json"]:
        click.echo(dump_talk(data), nl=False)
    elif not o["quiet"]:
        click.echo(talk_text(data, request.folder, whole=o["everything"]))
