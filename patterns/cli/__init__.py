"""The `evenhold` command: one file a subcommand, each of which parses, calls and prints."""

from __future__ import annotations

import contextlib
import errno
import os
import sys
from importlib import import_module

import click

from patterns.cli.console import HelpfulGroup, Stopping, refusal
from patterns.errors import EvenholdError, OutputError

__all__ = ["cli", "main"]

# Subcommand -> module that holds its click command under the name `command`. Loaded only
# when asked for, so that `evenhold cadence` does not wait for what `evenhold serve` needs.
COMMANDS = {
    "cadence": "patterns.cli.cadence",
    "check": "patterns.cli.check",
    "compare": "patterns.cli.compare",
    "conform": "patterns.cli.conform",
    "kit": "patterns.cli.kit",
    "plan": "patterns.cli.plan",
    "read": "patterns.cli.read",
    "present": "patterns.cli.present",
    "render": "patterns.cli.render",
    "serve": "patterns.cli.serve",
}


class _Commands(HelpfulGroup):
    """Group whose commands are the table above."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in COMMANDS:
            return None
        found = import_module(COMMANDS[cmd_name]).command
        assert isinstance(found, click.Command)
        return found


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="evenhold", message="%(prog)s %(version)s")
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
