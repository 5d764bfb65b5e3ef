"""Under which addresses this machine can be reached from the local network."""

from __future__ import annotations

import contextlib
import ipaddress
import socket
from collections.abc import Iterable

__all__ = ["LOOPBACK_HOSTS", "allowed_hosts", "lan_addresses"]

LOOPBACK_HOSTS = frozenset({"localhost", "127.0.0.1", "::1"})
# RFC 5737: a documentation address; connecting a datagram socket sends nothing.
_NOWHERE = ("192.0.2.1", 9)


def allowed_hosts(names: Iterable[str]) -> frozenset[str]:
    """Host names that a request may carry: `names`, in lower case, and those of loopback."""
    return LOOPBACK_HOSTS | {name.strip().lower().rstrip(".") for name in names}


def lan_addresses() -> list[str]:
    """IPv4 addresses of this machine, the one that leads out first; loopback left out."""
    found: list[str] = []
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(_NOWHERE)
        found.append(str(probe.getsockname()[0]))
    with contextlib.suppress(OSError):
        entries = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        found += sorted({str(entry[4][0]) for entry in entries})
    usable = [a for a in dict.fromkeys(found) if not _unusable(a)]
    return sorted(usable, key=lambda a: not ipaddress.ip_address(a).is_private)


def _unusable(address: str) -> bool:
    parsed = ipaddress.ip_address(address)
    return parsed.is_loopback or parsed.is_unspecified
