"""What the terminal says when the server is up: where it is reached, and a code to scan."""

from __future__ import annotations

import contextlib
import io
import ipaddress
import socket
import struct
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import segno

from patterns.web.site import FOLDER, Site

LOOPBACK_HOSTS = frozenset({"localhost", "127.0.0.1", "::1"})
# RFC 5737: a documentation address; connecting a datagram socket sends nothing.
_NOWHERE = ("192.0.2.1", 9)
_SIOCGIFADDR = 0x8915  # Linux, netdevice(7)
_QUIET = 4  # modules of margin that ISO/IEC 18004 asks for
_DARK, _LIGHT, _RESET = "\x1b[40m", "\x1b[107m", "\x1b[0m"


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

    `hosts`: names and addresses to open the page under, the best first.
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


def allowed_hosts(names: Iterable[str]) -> frozenset[str]:
    """Host names that a request may carry: `names`, in lower case, and those of loopback."""
    return LOOPBACK_HOSTS | {name.strip().lower().rstrip(".") for name in names}


def lan_addresses() -> list[str]:
    """IPv4 addresses of this machine, the one that leads out first; loopback left out."""
    found: list[str] = []
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(_NOWHERE)
        found.append(str(probe.getsockname()[0]))
    found += _of_interfaces()
    parsed = {address: ipaddress.ip_address(address) for address in found}
    return [a for a, ip in parsed.items() if not (ip.is_loopback or ip.is_unspecified)]


def _of_interfaces() -> Iterator[str]:
    if sys.platform != "linux":
        with contextlib.suppress(OSError):
            for entry in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET):
                yield str(entry[4][0])
        return
    # asking for the host name's addresses can wait for seconds for a name server
    import fcntl

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asker:
        for _, name in socket.if_nameindex():
            with contextlib.suppress(OSError):  # an interface without an IPv4 address
                request = struct.pack("256s", name.encode()[:15])
                answer = fcntl.ioctl(asker.fileno(), _SIOCGIFADDR, request)
                yield socket.inet_ntoa(answer[20:24])


def qr_text(address: str, *, colours: bool, unicode: bool) -> str:
    """QR code of `address` as lines of text.

    `colours` sets black and white by control sequences (ECMA-48), right on a dark and on a light
    terminal; without them light modules are drawn, for a dark one. `unicode` allows half blocks:
    half as wide and half as high as ASCII.
    """
    code = segno.make(address, error="m", micro=False)
    if unicode:
        drawn = io.StringIO()
        code.terminal(drawn, border=_QUIET, compact=True)
        lines = drawn.getvalue().splitlines()
        return "\n".join(f"\x1b[97;40m{line}{_RESET}" if colours else line for line in lines)
    return "\n".join(_wide_line(row, colours) for row in code.matrix_iter(border=_QUIET))


def _wide_line(row: Iterable[int], colours: bool) -> str:
    if not colours:
        return "".join("  " if dark else "##" for dark in row)
    return "".join(f"{_DARK if dark else _LIGHT}  " for dark in row) + _RESET
