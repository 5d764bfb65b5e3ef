"""A command with subcommands: alone it prints its help, and it names what it knows."""

from __future__ import annotations

import click

__all__ = ["HelpfulGroup"]

WHOLE = 10_000  # characters of a summary; click cuts them at 45 unless told otherwise


class HelpfulGroup(click.Group):
    """Group that prints its help, to stdout, when nothing is asked of it."""

    what = "command"

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Take no words for a wish to see the help."""
        if not args:
            click.echo(ctx.get_help())
            ctx.exit()
        return super().parse_args(ctx, args)

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """Keep the order in which they are made, not that of letters."""
        return list(self.commands)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List every subcommand with its whole first sentence."""
        found = [(name, self.get_command(ctx, name)) for name in self.list_commands(ctx)]
        rows = [(name, one.get_short_help_str(WHOLE)) for name, one in found if one]
        with formatter.section("Commands"):
            formatter.write_dl(rows)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Say which subcommands there are when another is asked for."""
        known = self.list_commands(ctx)
        if args and not args[0].startswith("-") and args[0] not in known:
            raise click.UsageError(
                f"{self.what} {args[0]!r} is unknown: allowed are {', '.join(known)}", ctx
            )
        return super().resolve_command(ctx, args)
