"""What the console says: progress, how long work is stopped, help, and what was typed wrongly.

Ctrl-C and a request to end raise an exception that unwinds all, and leave a note that they
came. Python drops an exception that falls into the few lines of a callback of its own (one
runs for every module that is loaded). The command would then go on as if nothing had been
said; so long work asks after each piece whether something had.
"""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any, TypeVar

import click

from patterns.errors import EvenholdError
from patterns.whole_file import Claims

T = TypeVar("T")

_INTERRUPTS = [signal.SIGINT]
if sys.platform == "win32":
    _INTERRUPTS.append(signal.SIGBREAK)  # Ctrl-Break, and a console window that is closed


class Stopping:
    """Handler of Ctrl-C, Ctrl-Break and SIGTERM."""

    def __init__(self) -> None:
        self._number = 0

    @classmethod
    def install(cls) -> None:
        """Take over these signals; call it in the main thread."""
        handler = cls()
        for number in (*_INTERRUPTS, signal.SIGTERM):
            signal.signal(number, handler)

    @staticmethod
    def check() -> None:
        """Raise again what was asked for and dropped."""
        handler = signal.getsignal(signal.SIGTERM)
        if isinstance(handler, Stopping):
            handler._raise()

    def __call__(self, number: int, frame: FrameType | None) -> None:  # noqa: ARG002 - as signal calls it
        """Note the signal and unwind through every `with` and `finally`."""
        self._number = number
        self._raise()

    def _raise(self) -> None:
        if self._number in _INTERRUPTS:
            raise KeyboardInterrupt
        if self._number:
            raise SystemExit(128 + self._number)


@contextmanager
def progress(label: str, *, quiet: bool = False) -> Iterator[Callable[[int, int], None]]:
    """Give a function (done, total) that draws a bar on stderr where that is wanted.

    It also raises what Ctrl-C raises, if that was asked for and did not come through.
    """
    if quiet or sys.stderr is None or not sys.stderr.isatty():
        yield lambda done, total: Stopping.check()  # noqa: ARG005
        return
    with click.progressbar(length=1, label=label, file=sys.stderr, show_eta=True) as bar:

        def show(done: int, total: int) -> None:
            Stopping.check()
            bar.length = total
            bar.update(done - bar.pos)

        yield show


def each_file(files: Sequence[Path], work: Callable[[Path], T]) -> tuple[list[T], int]:
    """What `work` makes of each file, and the exit code; what goes wrong with one is said."""
    made: list[T] = []
    code = 0
    for file in files:
        try:
            made.append(work(file))
        except EvenholdError as error:
            click.echo(f"evenhold: {error}", err=True)
            code = max(code, error.exit_code)
    return made, code


def own_names(target: Path, files: Sequence[Path]) -> dict[Path, Path]:
    """Where the result of each file goes: `target`, or of several beside it, with their names.

    Raises `RequestError`: two of them would be one file.
    """
    if len(files) == 1:
        return {files[0]: target}
    claims = Claims()
    return {
        file: claims.claim(target.with_stem(f"{target.stem}-{file.stem}"), file) for file in files
    }


def print_each(shown: Sequence[Any], *, alone: bool, as_json: bool, gap: str = "\n\n") -> None:
    """Print texts, or JSON: a list, or the object itself where one file was given `alone`."""
    if not as_json and shown:
        click.echo(gap.join(shown))
    elif as_json and (shown or not alone):
        print_json(shown[0] if alone else shown)


def print_json(data: object) -> None:
    """Print JSON text with stable order."""
    import json  # two milliseconds, which a text does without

    click.echo(json.dumps(data, indent=2))


class TableGroup(click.Group):
    """Group of the subcommands in a table; it prints its help, to stdout, when none is asked for.

    `what`: what a subcommand is, in a word.
    `summaries`: gives their names, in order, each with its sentence in the help.
    `make`: opens the one of a name.
    """

    def __init__(
        self,
        *args: Any,
        what: str,
        summaries: Callable[[], Mapping[str, str]],
        make: Callable[[str], click.Command],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self._what, self._summaries, self._make = what, summaries, make

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Take no words for a wish to see the help."""
        if not args:
            click.echo(ctx.get_help())
            ctx.exit()
        return super().parse_args(ctx, args)

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """Names in the order of the table."""
        return list(self._summaries())

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Open a subcommand."""
        return self._make(cmd_name) if cmd_name in self._summaries() else None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """List every subcommand with its whole sentence, without opening it."""
        with formatter.section("Commands"):
            formatter.write_dl(list(self._summaries().items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Say which subcommands there are when another is asked for."""
        known = self.list_commands(ctx)
        if args and not args[0].startswith("-") and args[0] not in known:
            raise click.UsageError(
                f"{self._what} {args[0]!r} is unknown: allowed are {', '.join(known)}", ctx
            )
        return super().resolve_command(ctx, args)


class Mistyped(click.BadParameter):
    """What we refuse ourselves: the message names what was typed and what is allowed."""


class Subcommand(click.Command):
    """Command that says what belongs where words stand that none of its parameters takes."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read the command line as usual, and refuse what is left of it."""
        ctx.allow_extra_args = True  # or click refuses them, in its own words
        rest = super().parse_args(ctx, args)
        if rest and not ctx.resilient_parsing:
            raise Mistyped(_too_much(" ".join(rest), self), ctx)
        return rest


def refusal(error: click.ClickException) -> str:
    """Say in one line what the command line's parser refuses, and where its help is."""
    command = error.ctx.command_path if isinstance(error, click.UsageError) and error.ctx else ""
    hint = f" (see '{command} --help')" if command else ""
    return f"{_words(error)}{hint}"


def option_name(param: click.Parameter | None) -> str:
    """Write a parameter as the help does: --rate, RATE..."""
    if isinstance(param, click.Option):
        return param.opts[0]
    if isinstance(param, click.Argument):
        return str(param.metavar or param.name).strip("[]")
    return "a value"


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


def _too_much(typed: str, command: click.Command) -> str:
    names = [option_name(param) for param in command.params if isinstance(param, click.Argument)]
    allowed = f"one {names[0]} and options" if names else "options alone"
    writes = any("--out" in param.opts for param in command.params)
    out = "; what to write is named after --out" if writes else ""
    return f"{typed!r} is too much: allowed are {allowed}, each with its own value{out}"


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
