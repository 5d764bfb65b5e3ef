"""`evenhold serve`: hand a kit to a phone or tablet and have it measured there."""

from __future__ import annotations

import io
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from patterns.cli import options as opt
from patterns.cli.console import Subcommand
from patterns.errors import DeviceError

if TYPE_CHECKING:
    from patterns.web.site import Site

_QUIET = 4  # modules of margin that ISO/IEC 18004 asks for
_DARK, _LIGHT, _RESET = "\x1b[40m  ", "\x1b[107m  ", "\x1b[0m"  # a module is two columns wide


@click.command(name="serve", cls=Subcommand)
@click.argument("folder", type=opt.FOLDER, default="outputs/kit", metavar="[FOLDER]")
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
    from patterns.web.guard import Rules, allowed_hosts, new_key
    from patterns.web.server import bind, lan_addresses, serve
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
        pages = [page_address(host, listener.getsockname()[1], key) for host in hosts]
        click.echo(pages[0] if quiet else greeting(site, pages, _code(pages[0]) if lan else ""))
        serve(app, listener)


def _render(folder: Path, *, quiet: bool) -> None:
    """Make the usual kit, as `evenhold kit --out FOLDER` does."""
    from patterns.cli.kit import command as kit

    click.echo(f"evenhold: {folder} is missing: rendering the usual kit", err=True)
    arguments = [f"--out={folder}", *(["--quiet"] if quiet else [])]
    kit.main(arguments, prog_name="evenhold kit", standalone_mode=False)


def page_address(host: str, port: int, key: str) -> str:
    """Address of the first page."""
    return f"http://{host}:{port}/{key + '/' if key else ''}"


def greeting(site: Site, pages: list[str], code: str) -> str:
    """What is said when the server is up.

    `pages`: addresses of the first page, the best first; `code`: that as a code to scan, '' where
    only this machine can open it.
    """
    clips = sum(len(group.clips) for group in site.groups)
    lines = [f"{clips} clips of {site.folder}"]
    if code:
        lines += [code, "Scan the code with the device, on the same network, or open"]
    else:
        lines.append("Open on this machine (for a phone or tablet: --lan)")
    lines += [f"  {page}" for page in pages]
    if code:
        lines.append("Whoever has this address can play the clips and send readings.")
    lines.append(f"Readings go to {site.readings}. Ctrl-C ends the server.")
    return "\n".join(lines)


def _code(page: str) -> str:
    """QR code as standard output can show it."""
    return qr_text(page, colours=sys.stdout.isatty(), unicode=half_blocks(sys.stdout.encoding))


def half_blocks(encoding: str | None) -> bool:
    """Whether half blocks can be printed in an encoding."""
    try:
        "▀▄█".encode(encoding or "ascii")
    except (UnicodeError, LookupError):
        return False
    return True


def qr_text(address: str, *, colours: bool, unicode: bool) -> str:
    """QR code of `address` as lines of text.

    `colours` sets black and white by control sequences (ECMA-48), right on a dark and on a light
    terminal; without them light modules are drawn, for a dark one. `unicode` allows half blocks:
    half as wide and half as high as ASCII.
    """
    import segno

    code = segno.make(address, error="m", micro=False)
    if unicode:
        drawn = io.StringIO()
        code.terminal(drawn, border=_QUIET, compact=True)
        lines = drawn.getvalue().splitlines()
        return "\n".join(f"\x1b[97;40m{line}{_RESET}" if colours else line for line in lines)
    light, dark, end = (_LIGHT, _DARK, _RESET) if colours else ("##", "  ", "")
    rows = code.matrix_iter(border=_QUIET)
    return "\n".join("".join(dark if cell else light for cell in row) + end for row in rows)
