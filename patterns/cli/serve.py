"""`evenhold serve`: hand a kit to a phone or tablet and have it measured there."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from patterns.errors import DeviceError


@click.command(name="serve")
@click.argument(
    "folder", type=click.Path(path_type=Path), default=Path("outputs/kit"), metavar="[FOLDER]"
)
@click.option("--lan", is_flag=True,
              help="Listen on the local network, behind a key in the address; "
              "prints a code to scan.")  # fmt: skip
@click.option("--port", type=click.IntRange(0, 65535), default=8765, show_default=True,
              help="Port to listen on; 0 takes any that is free.")  # fmt: skip
@click.option("--host-name", "host_names", metavar="NAME", multiple=True,
              help="A further name that this machine has on the network, such as laptop.local; "
              "repeatable.")  # fmt: skip
@click.option("--quiet", is_flag=True, help="Print the address and nothing else.")
def command(folder: Path, lan: bool, port: int, host_names: tuple[str, ...], quiet: bool) -> None:
    """Serve a kit to a phone or tablet, untouched, and measure there what it plays.

    FOLDER is outputs/kit unless given; if it is missing, the usual kit is rendered into it
    first. What the devices send goes into FOLDER/readings, for `evenhold compare`. Without
    --lan only this machine can open the page. Ctrl-C ends it.

    \b
    evenhold serve
    evenhold serve outputs/kit --lan

    Clips move across the whole picture. If you are sensitive to moving or flashing
    pictures, have someone else look at them; see "Cautions" in the README.
    """  # noqa: D301 - click's mark for a paragraph that is not rewrapped
    # The server's packages are an extra, and slow to import: only this command needs them.
    from patterns.web import require_extra

    require_extra()
    from patterns.web.app import make_app
    from patterns.web.greeting import Terminal, allowed_hosts, greeting, lan_addresses
    from patterns.web.guard import Rules
    from patterns.web.server import bind, new_key, serve
    from patterns.web.site import open_site

    addresses = lan_addresses() if lan else []
    if lan and not addresses:
        raise DeviceError("this machine has no address on a network: join one, or leave --lan out")
    listener = bind("0.0.0.0" if lan else "127.0.0.1", port)
    with listener:
        if not folder.exists():
            _render(folder, quiet=quiet)
        site = open_site(folder)
        key = new_key() if lan else ""
        hosts = [*host_names, *(addresses if lan else ["localhost"])]
        app = make_app(site, Rules(allowed_hosts(hosts), key))
        terminal = Terminal(sys.stdout.isatty(), sys.stdout.encoding or "ascii")
        text = greeting(site, hosts, listener.getsockname()[1], key, terminal, quiet=quiet)
        click.echo(text)
        serve(app, listener)


def _render(folder: Path, *, quiet: bool) -> None:
    """Make the usual kit, as `evenhold kit --out FOLDER` does."""
    from patterns.cli.kit import command as kit

    click.echo(f"evenhold: {folder} is missing: rendering the usual kit", err=True)
    arguments = [f"--out={folder}", *(["--quiet"] if quiet else [])]
    kit.main(arguments, prog_name="evenhold kit", standalone_mode=False)
