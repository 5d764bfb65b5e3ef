"""The `evenhold` command: one file a subcommand, each of which parses, calls and prints."""

from __future__ import annotations

import contextlib
import errno
import os
import sys
from importlib import import_module

import click

from patterns.cli.console import Stopping, TableGroup, refusal
from patterns.errors import EvenholdError, OutputError
from patterns.version import VERSION

__all__ = ["cli", "main"]

# Subcommand -> the first sentence of its help: the list of all waits for none of them.
COMMANDS = {
    "cadence": "Say how long displays hold each frame of a clip at RATE frames a second.",
    "check": "Check videos, animations and pictures for what can hurt a photosensitive viewer.",
    "compare": "Compare devices: a table by clips, and a ranking with its reasons.",
    "conform": "Make footage play at another rate, each frame once: 24 becomes even in 30.",
    "kit": "Render the clips to take to a device: all patterns at several rates.",
    "plan": "Plan a shoot: rate, shutter, filter, speed of movement, and what is already shot.",
    "read": "Read back what a screen, a platform or an edit made of a clip.",
    "present": "Show judder to people: on a projector, a laptop, a phone, or on paper.",
    "render": "Render one clip of a PATTERN, with its record beside it.",
    "serve": "Serve a kit to a phone or tablet, untouched, and measure there what it plays.",
}


def open_command(name: str) -> click.Command:
    """The command of that name; its module is loaded when it is asked for."""
    command: click.Command = import_module(f"patterns.cli.{name}").command
    return command


@click.group(
    cls=TableGroup, what="command", summaries=lambda: COMMANDS, make=open_command,
    context_settings={"help_option_names": ["-h", "--help"]},
)  # fmt: skip
@click.version_option(VERSION, message="%(prog)s %(version)s")
def cli() -> None:
    """Make clips that show how evenly a screen holds frames, and read what it did.

    Start with `evenhold kit`, or `evenhold cadence 24 --display 60`.
    """


def main(argv: list[str] | None = None) -> int:
    """Run the command line; returns the exit code (0, 1, 2, or 130 for Ctrl-C)."""
    Stopping.install()
    try:
        result = cli.main(args=argv, prog_name="evenhold", standalone_mode=False)
    except EvenholdError as error:
        _say(str(error))
        return error.exit_code
    except click.ClickException as error:
        _say(refusal(error))
        return 2
    except (KeyboardInterrupt, click.Abort):
        _say("stopped")
        return 130
    except SystemExit:
        if "PacifyFlush" not in type(sys.stdout).__name__:  # what click puts there then
            raise
        # The reader of a pipe (head, less) went away: not our failure, and nothing to say.
        _close_output()
        return 0
    except OSError as error:
        _close_output()
        _say(_system_words(error))
        return OutputError.exit_code
    return result if isinstance(result, int) else 0


def _say(text: str) -> None:
    """One line on stderr, where there is one."""
    with contextlib.suppress(OSError):
        click.echo(f"evenhold: {' '.join(text.split())}", err=True)


def _system_words(error: OSError) -> str:
    """What the system refused, and what to do."""
    why = error.strerror or type(error).__name__
    if error.errno in (errno.EMFILE, errno.ENFILE):
        return f"{why}: end other programs, or raise the limit (ulimit -n)"
    if error.filename is not None:
        return f"{error.filename}: {why}"
    return f"the output cannot be written ({why}): free some space, or write elsewhere"


def _close_output() -> None:
    """Let what is still to be written to stdout go nowhere, or Python fails again at its end."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
