"""What the terminal says when the server is up: the address always, a code to scan too."""

from __future__ import annotations

from dataclasses import dataclass

from patterns.web.qr import qr_text
from patterns.web.site import Site
from patterns.web.uploads import FOLDER

__all__ = ["Terminal", "address", "greeting"]


@dataclass(frozen=True)
class Terminal:
    """What standard output can show: control sequences on a terminal, and which characters."""

    is_terminal: bool
    encoding: str

    @property
    def unicode(self) -> bool:
        """Whether half blocks can be printed."""
        try:
            "▀▄█".encode(self.encoding)
        except (UnicodeError, LookupError):
            return False
        return True


def address(host: str, port: int, key: str) -> str:
    """Address of the page."""
    return f"http://{host}:{port}/{key + '/' if key else ''}"


def greeting(
    site: Site, hosts: list[str], port: int, key: str, terminal: Terminal, *, quiet: bool
) -> str:
    """Text for the terminal.

    Parameters
    ----------
    hosts
        Names and addresses to open the page under, the best first.
    """
    first = address(hosts[0], port, key)
    if quiet:
        return first
    clips = sum(len(group.clips) for group in site.groups)
    lines = [f"{clips} clips of {site.folder}"]
    if key:
        lines.append(qr_text(first, colours=terminal.is_terminal, unicode=terminal.unicode))
        lines.append("Scan the code with the device, on the same network, or open")
    else:
        lines.append("Open on this machine (for a phone or tablet: --lan)")
    lines += [f"  {address(host, port, key)}" for host in hosts]
    if key:
        lines.append("Whoever has this address can play the clips and send readings.")
    lines.append(f"Readings go to {site.folder / FOLDER}. Ctrl-C ends the server.")
    return "\n".join(lines)
