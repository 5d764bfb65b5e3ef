"""Options that several commands have, each spelled and defaulted once, and the types of values."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any, Generic, TypeVar

import click

from patterns.cli.console import Mistyped, option_name
from patterns.drawing.style import SCHEMES
from patterns.errors import RequestError
from patterns.timing.cadence import DEFAULT_DISPLAYS, Display, parse_display
from patterns.timing.rates import USUAL_RATES, format_decimal, parse_rate
from patterns.timing.shutter import USUAL_ANGLE_DEG, parse_angle, parse_exposure

T = TypeVar("T")
F = TypeVar("F", bound=Callable[..., Any])


class Parsed(click.ParamType, Generic[T]):  # type: ignore[type-arg] # generic from click 8.2 on
    """Click type made of a function from text to value that raises `RequestError`."""

    def __init__(self, name: str, parse: Callable[[str], T]) -> None:
        self.name = name
        self._parse = parse

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> object:
        """Value of the text, or click's own error with our one line."""
        if not isinstance(value, str):
            return value
        try:
            return self._parse(value)
        except RequestError as error:
            text = str(error)
            # a bare value does not say what it is for; all else begins with its own name
            named = f"{option_name(param)} {text}" if text.startswith("'") else text
            raise Mistyped(named, ctx, param) from error


def parse_number(text: str) -> Fraction:
    """Exact number from '12', '-0.5' or '1920/7'."""
    try:
        value = Fraction(text.strip())
    except (ValueError, ZeroDivisionError):
        raise RequestError(f"{text!r} is not a number: give one such as 12, 0.5 or 1/3") from None
    if abs(value) > 10**9 or value.denominator > 10**12:
        raise RequestError(f"{text!r} is beyond what is sensible: give a number such as 12 or 0.5")
    return value


# Endings of pictures, films, pages and data: a folder that is to be made has none of them.
_OF_FILES = (
    *(".mp4", ".m4v", ".mov", ".mkv", ".webm", ".avi", ".gif", ".webp"),
    *(".png", ".jpg", ".jpeg", ".svg", ".html", ".json", ".csv", ".txt"),
)


def parse_folder(text: str) -> Path:
    """Folder to write into, whether it is there or not."""
    path = Path(text)
    if path.exists() and not path.is_dir():
        raise RequestError(f"{text!r} is a file: name a folder, a new one or one that exists")
    if not path.exists() and path.suffix.lower() in _OF_FILES:
        raise RequestError(
            f"{text!r} is a file's name, and a folder is wanted: leave {path.suffix} out, or make "
            "the folder first"
        )
    return path


NUMBER = Parsed[Fraction]("number", parse_number)
RATE = Parsed[Fraction]("rate", parse_rate)
ANGLE = Parsed[Fraction]("degrees", parse_angle)
EXPOSURE = Parsed[Fraction]("seconds", parse_exposure)
RATES = Parsed[tuple[Fraction, ...]]("rates", lambda text: tuple(map(parse_rate, text.split(","))))
DISPLAY = Parsed[Display]("hertz", parse_display)
FOLDER = Parsed[Path]("folder", parse_folder)


def with_options(*options: Callable[[F], F]) -> Callable[[F], F]:
    """Add options to a command, in the order in which its help shows them."""

    def decorate(function: F) -> F:
        for option in reversed(options):
            function = option(function)
        return function

    return decorate


def rates_option(
    default: tuple[Fraction, ...] = USUAL_RATES, help_text: str = "Rates"
) -> Callable[[F], F]:
    """`--rates`."""
    return click.option(
        "--rates", type=RATES, metavar="FPS,FPS,...", show_default=True,
        default=",".join(map(format_decimal, default)), help=f"{help_text}, frames a second.",
    )  # fmt: skip


def number_option(name: str, unit: str, default: str, help_text: str) -> Callable[[F], F]:
    """Option that takes a number."""
    return click.option(
        name, type=NUMBER, metavar=unit, default=default, show_default=True, help=help_text
    )


def folder_option(default: str) -> Callable[[F], F]:
    """`--out` of a command that makes several files."""
    return click.option(
        "--out", type=FOLDER, metavar="FOLDER", default=default, show_default=True,
        help="Folder for the files.",
    )  # fmt: skip


def scheme_option(
    name: str = "--scheme", default: str = "light", what: str = "the picture"
) -> Callable[[F], F]:
    """`--scheme` or the like; its value is `scheme_name`, `clip_scheme` ..."""
    key = "scheme_name" if name == "--scheme" else name[2:].replace("-", "_")
    return click.option(
        name, key, type=click.Choice(list(SCHEMES)), default=default, show_default=True,
        help=f"Colours of {what}.",
    )  # fmt: skip


def files_argument(metavar: str = "FILE...") -> Callable[[F], F]:
    """One file or several to read."""
    return click.argument(
        "files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar=metavar
    )


def file_option(*names: str, help_text: str, metavar: str = "FILE") -> Callable[[F], F]:
    """Option that names a file, to be written unless its help says otherwise."""
    return click.option(*names, type=click.Path(path_type=Path), metavar=metavar, help=help_text)


def display_option(help_text: str) -> Callable[[F], F]:
    """`--display` where there is one."""
    return click.option("--display", type=DISPLAY, metavar="HZ", help=help_text)


capture_rate_option = click.option(
    "--capture-rate", type=RATE, metavar="FPS",
    help="Pictures a second at which a screen was filmed, for files that store slow motion.",
)  # fmt: skip
displays_option = click.option(
    "--display", "displays", type=DISPLAY, metavar="HZ", multiple=True,
    help="Refresh of a display, hertz, or a variable range, 48-120; may be repeated.  "
    f"[default: {', '.join(d.name for d in DEFAULT_DISPLAYS)}]",
)  # fmt: skip
shutter_options = with_options(
    click.option(
        "--shutter", type=ANGLE, metavar="DEGREES",
        help=f"Shutter angle, 0 to 360 degrees.  [default: {USUAL_ANGLE_DEG}]",
    ),
    click.option(
        "--exposure", type=EXPOSURE, metavar="SECONDS",
        help="Exposure time such as 1/50, seconds, instead of --shutter.",
    ),
)  # fmt: skip
jobs_option = click.option(
    "--jobs", type=click.IntRange(1, 1024), metavar="N",
    help="Make so many clips at once.  [default: one for each core, if memory suffices]",
)  # fmt: skip
allow_flashing_option = click.option(
    "--allow-flashing", is_flag=True,
    help="Keep what exceeds the limits for flashes and stripes.",
)  # fmt: skip
force_option = click.option("--force", is_flag=True, help="Replace files that exist.")
no_bar_option = click.option("--quiet", is_flag=True, help="No progress bar.")
quiet_option = click.option("--quiet", is_flag=True, help="Print nothing but errors.")


def json_option(what: str) -> Callable[[F], F]:
    """`--json`, which prints `what` as JSON."""
    return click.option("--json", "as_json", is_flag=True, help=f"Print {what} as JSON.")


json_list_option = click.option(
    "--json", "as_json", is_flag=True, help="Print JSON: an object, or a list of them."
)
