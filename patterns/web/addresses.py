"""Under which addresses this machine can be reached from the local network."""

from __future__ import annotations

import contextlib
import ipaddress
import socket
import struct
import sys
from collections.abc import Iterable, Iterator

__all__ = ["LOOPBACK_HOSTS", "allowed_hosts", "lan_addresses"]

LOOPBACK_HOSTS = frozenset({"localhost", "127.0.0.1", "::1"})
# RFC 5737: a documentation address; connecting a datagram socket sends nothing.
_NOWHERE = ("192.0.2.1", 9)
_SIOCGIFADDR = 0x8915  # Linux, netdevice(7)


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
    return [address for address in dict.fromkeys(found) if _usable(address)]


def _of_interfaces() -> Iterator[str]:
    if sys.platform != "linux":
        yield from _of_host_name()
        return
    # asking for the host name's addresses can wait for seconds for a name server
    import fcntl

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asker:
        for _, name in socket.if_nameindex():
            with contextlib.suppress(OSError):  # an interface without an IPv4 address
                request = struct.pack("256s", name.encode()[:15])
                answer = fcntl.ioctl(asker.fileno(), _SIOCGIFADDR, request)
                yield socket.inet_ntoa(answer[20:24])


def _of_host_name() -> Iterator[str]:
    with contextlib.suppress(OSError):
        for entry in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET):
            yield str(entry[4][0])


def _usable(address: str) -> bool:
    parsed = ipaddress.ip_address(address)
    return not (parsed.is_loopback or parsed.is_unspecified)
