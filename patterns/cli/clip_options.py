"""Options that describe a clip, and those of what moves, made from the table of patterns."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from fractions import Fraction
from typing import Any

import click

from patterns.cli import options as opt
from patterns.cli.console import Subcommand
from patterns.clip import USUAL_RATE, USUAL_SECONDS, Clip, parse_size, size_name
from patterns.errors import RequestError
from patterns.scenes.motion import Motion
from patterns.scenes.pattern import Option, Pattern
from patterns.scenes.table import PATTERNS, pattern_named
from patterns.video.codecs import CODECS


def seconds_option(
    default: Fraction = USUAL_SECONDS, help_text: str = "Length"
) -> Callable[[opt.F], opt.F]:
    """`--seconds`; not given it is None, for --frames may stand in its place."""
    return click.option(
        "--seconds", type=opt.NUMBER, metavar="SECONDS",
        help=f"{help_text}, seconds.  [default: {default}]",
    )  # fmt: skip


size_option = click.option(
    "--size", type=opt.Parsed[tuple[int, int]]("size", parse_size), metavar="NAME|WxH",
    default=size_name(Clip.width, Clip.height), show_default=True,
    help="Pixels: 720p, 1080p, 4k, phone-1080 (upright), ... or 1920x1080.",
)  # fmt: skip
codec_option = click.option(
    "--codec", type=click.Choice(list(CODECS)), default=Clip.codec, show_default=True,
    help="How files are coded; the container follows.",
)  # fmt: skip
small_option = click.option(
    "--small", is_flag=True,
    help="Smaller files, by a quarter or more, in several times the time. Codecs h264 and hevc.",
)  # fmt: skip
seed_option = click.option(
    "--seed", type=click.IntRange(0, 2**31 - 1), default=Clip.seed, show_default=True,
    help="Chooses the ground, the hills and the clouds.",
)  # fmt: skip
clip_options = opt.with_options(
    click.option("--rate", type=opt.RATE, metavar="FPS", default=str(USUAL_RATE), show_default=True,
                 help="Frames a second, up to 480: 24, 23.976 (means 24000/1001), 12.5."),
    opt.shutter_options,
    size_option,
    seconds_option(),
    click.option("--frames", type=int, metavar="COUNT",
                 help="Length, frames, instead of --seconds."),
    codec_option,
    small_option,
    click.option("--strip", type=click.Choice(["bottom", "top", "none"]), default=Clip.strip,
                 show_default=True, help="Edge on which the counting strip lies."),
    click.option("--seamless", "looped", is_flag=True,
                 help="Round the length to whole periods, to repeat without a seam."),
    seed_option,
    click.option("--out", type=click.Path(), metavar="FILE",
                 help="File to write.  [default: a descriptive name in outputs/]"),
    opt.force_option,
    opt.allow_flashing_option,
    opt.json_option("the record"),
    opt.quiet_option,
)  # fmt: skip


def clip_values(options: dict[str, Any]) -> dict[str, Any]:
    """Those of the options that `describe` takes, as far as they are given."""
    names = (
        *("rate", "shutter", "exposure", "size", "seconds", "frames"),
        *("strip", "codec", "seed", "small"),
    )
    return {name: options[name] for name in names if options.get(name) is not None}


class MotionCommand(Subcommand):
    """Command that has options of the patterns beside its own, as the table is when it is called.

    `after`: name of the own option behind which the help shows them.
    """

    def __init__(
        self, *args: Any, further: Callable[[], list[click.Option]], after: str, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self._further, self._after = further, after

    def get_params(self, ctx: click.Context) -> list[click.Parameter]:
        """Own and further options, in the order of the help."""
        own = super().get_params(ctx)
        place = 1 + [param.name for param in own].index(self._after)
        return [*own[:place], *self._further(), *own[place:]]


def _option(option: Option, prefix: str = "", default: str | None = None) -> click.Option:
    shown = option.shown_default if default is None else default
    help_text = option.words[0].lower() + option.words[1:] if prefix else option.words
    return click.Option(
        [f"--{option.name}"],
        type=click.Choice(option.choices) if option.choices else opt.NUMBER,
        metavar=option.unit or None,
        help=f"{prefix}{help_text}" + (f"  [default: {shown}]" if shown else ""),
    )


def motion_options(pattern: Pattern) -> list[click.Option]:
    """All options of one pattern."""
    return [_option(option) for option in pattern.options]


def pattern_option(default: str) -> click.Option:
    """`--pattern`, with the names in the table."""
    return click.Option(
        ["--pattern"],
        type=click.Choice(list(PATTERNS)),
        default=default,
        show_default=True,
        help="What moves; bars stand for a plain pan.",
    )


def options_of_all() -> list[click.Option]:
    """Options that decide how any pattern moves; one that several have stands once."""
    owners = _owners((p, option) for p in PATTERNS.values() for option in p.options if option.moves)
    made = []
    for alike in owners.values():
        defaults = dict.fromkeys(o.shown_default for _, o in alike if o.shown_default)
        names = ", ".join(pattern.name for pattern, _ in alike)
        made.append(_option(alike[0][1], f"{names}: ", ", ".join(defaults)))
    return made


def pace_options(default: Callable[[Pattern], str] | None = None) -> list[click.Option]:
    """The option of each pattern that sets its speed, with other words for its default."""
    owners = _owners((p, p.pace_option()) for p in PATTERNS.values())
    return [
        _option(option, f"{pattern.name}: ", default(pattern) if default else None)
        for (pattern, option), *_ in owners.values()
    ]


def _owners(pairs: Iterable[tuple[Pattern, Option]]) -> dict[str, list[tuple[Pattern, Option]]]:
    owners: dict[str, list[tuple[Pattern, Option]]] = {}
    for pattern, option in pairs:
        owners.setdefault(option.key, []).append((pattern, option))
    return owners


def given_paces(values: dict[str, Any]) -> dict[str, Fraction]:
    """Speeds that `pace_options` were given, by the names of the patterns."""
    return {
        name: values[pattern.pace.option]
        for name, pattern in PATTERNS.items()
        if values[pattern.pace.option] is not None
    }


def chosen_motion(values: dict[str, Any], size: tuple[int, int]) -> Motion:
    """Motion of the pattern that `--pattern` names, from the values of `options_of_all`.

    Raises `RequestError`: an option of another pattern is given, or the motion is not possible.
    """
    pattern = pattern_named(values["pattern"])
    own = {option.key for option in pattern.options}
    for key, owners in _owners((p, o) for p in PATTERNS.values() for o in p.options).items():
        if values.get(key) is not None and key not in own:
            names = [p.name for p, _ in owners]
            raise RequestError(
                f"--{owners[0][1].name} is for {' and '.join(names)}: add --pattern {names[0]}, "
                "or leave it out"
            )
    return pattern.motion(*size, {key: values.get(key) for key in own})
