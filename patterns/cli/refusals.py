"""What was typed wrongly, in one line: what is wrong, what is allowed, where to look."""

from __future__ import annotations

import click

__all__ = ["Mistyped", "option_name", "refusal"]


class Mistyped(click.BadParameter):
    """A value that we refuse ourselves: its message names the value and what is allowed."""


def refusal(error: click.ClickException) -> str:
    """Say in one line what the command line's parser refuses, and where its help is."""
    command = error.ctx.command_path if isinstance(error, click.UsageError) and error.ctx else ""
    hint = f" (see '{command} --help')" if command else ""
    return f"{_words(error)}{hint}"


def option_name(param: click.Parameter | None) -> str:
    """Write a parameter as the help does: --rate, RATE..."""
    if isinstance(param, click.Option):
        return param.opts[0]
    return str(param.metavar or param.name) if isinstance(param, click.Argument) else "a value"


def _words(error: click.ClickException) -> str:
    if isinstance(error, Mistyped):
        return error.message
    if isinstance(error, click.MissingParameter):
        return f"{option_name(error.param)} is missing"
    if isinstance(error, click.NoSuchOption):
        near = " or ".join((error.possibilities or ())[:2])
        return f"there is no option {error.option_name}{f': did you mean {near}?' if near else ''}"
    if isinstance(error, click.BadParameter) and error.param is not None:
        return _bad_value(error.param, error.message.rstrip("."))
    return error.format_message().rstrip(".")


def _bad_value(param: click.Parameter, message: str) -> str:
    name = option_name(param)
    if isinstance(param.type, click.Choice):
        typed = message.split("'")[1]
        allowed = ", ".join(str(choice) for choice in param.type.choices)
        return f"{name} {typed!r} is unknown: allowed are {allowed}"
    if isinstance(param.type, click.IntRange) and "range" in message:
        typed = message.split(maxsplit=1)[0]
        return f"{name} {typed} is outside {param.type.min} to {param.type.max}"
    return f"{name}: {message}"
