"""Option types: from what a person types to exact values, with one line when it is wrong."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Generic, TypeVar

import click

from patterns.cli.refusals import Mistyped, option_name
from patterns.errors import RequestError
from patterns.sizes import parse_size
from patterns.timing.cadence import Display, parse_display
from patterns.timing.rates import parse_rate
from patterns.timing.shutter import parse_angle, parse_exposure

__all__ = [
    "ANGLE",
    "DISPLAY",
    "EXPOSURE",
    "NUMBER",
    "RATE",
    "RATES",
    "SIZE",
    "jobs_option",
    "parse_number",
    "scheme_option",
    "small_option",
]

T = TypeVar("T")


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
            # a bare number does not say what it is for; all else begins with its own name
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


NUMBER = Parsed[Fraction]("number", parse_number)


def parse_rates(text: str) -> tuple[Fraction, ...]:
    """Several rates from '24,25,29.97'."""
    return tuple(parse_rate(part) for part in text.split(","))


RATE = Parsed[Fraction]("rate", parse_rate)
ANGLE = Parsed[Fraction]("degrees", parse_angle)
EXPOSURE = Parsed[Fraction]("seconds", parse_exposure)
RATES = Parsed[tuple[Fraction, ...]]("rates", parse_rates)
SIZE = Parsed[tuple[int, int]]("size", parse_size)
DISPLAY = Parsed[Display]("hertz", parse_display)

small_option = click.option(
    "--small",
    is_flag=True,
    help="Smaller files, by a fifth, in several times the time. Codecs h264 and hevc.",
)
jobs_option = click.option(
    "--jobs",
    type=click.IntRange(1, 1024),
    metavar="N",
    default=None,
    help="Make so many clips at once.  [default: one for each core, if memory suffices]",
)
scheme_option = click.option(
    "--scheme",
    "scheme_name",
    type=click.Choice(["light", "dark"]),
    default="light",
    show_default=True,
    help="Colours of the picture.",
)
