"""The server: where it listens; bounded in time and memory, ended at once by Ctrl-C."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import ipaddress
import logging
import socket
import struct
import sys
from collections.abc import Coroutine, Iterator
from types import FrameType
from typing import Any

import h11
import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from patterns.errors import DeviceError, EvenholdError, RequestError

_LOG = logging.getLogger(__name__)
HEAD_SECONDS = 15.0  # in which a request's head must have come
MOST_CONNECTIONS = 400  # beyond them a request is answered with 503
MOST_OPEN = 450  # beyond them a connection is cut off: on Windows the loop can watch 512
MOST_HEAD_BYTES = 32_768
KEEP_ALIVE_SECONDS = 10
VANISHED_SECONDS = 30  # after which a silent peer is asked whether it is there
# RFC 5737: a documentation address; connecting a datagram socket sends nothing.
_NOWHERE = ("192.0.2.1", 9)
_SIOCGIFADDR = 0x8915  # Linux, netdevice(7)


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


def bind(host: str, port: int) -> socket.socket:
    """Listening socket.

    Raises `RequestError`: the port is in use, or may not be used.
    Raises `DeviceError`: the network refuses for another reason.
    """
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        # On Windows SO_REUSEADDR would let two servers share a port; elsewhere it only lets a
        # port be taken again at once after its server has ended.
        alone = getattr(socket, "SO_EXCLUSIVEADDRUSE", socket.SO_REUSEADDR)
        listener.setsockopt(socket.SOL_SOCKET, alone, 1)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        for name, value in (("TCP_KEEPIDLE", VANISHED_SECONDS), ("TCP_KEEPINTVL", 10)):
            with contextlib.suppress(AttributeError, OSError):  # not on every system
                listener.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)
        listener.bind((host, port))
        listener.listen(256)
    except OSError as error:
        listener.close()
        raise _refused(host, port, error) from error
    return listener


def _refused(host: str, port: int, error: OSError) -> EvenholdError:
    """What a port that cannot be had means, and what to do."""
    if error.errno == errno.EADDRINUSE:
        return RequestError(
            f"port {port} is in use: end the other program, or give another with --port"
        )
    if error.errno == errno.EACCES:
        # on Windows also one that another program has, or that the system keeps for itself
        return RequestError(
            f"port {port} may not be used: give another above 1023 with --port, or --port 0 for "
            "any that is free"
        )
    return DeviceError(f"{host}:{port} cannot be opened: {error.strerror}; try another --port")


class _ImpatientProtocol(H11Protocol):
    """Uvicorn's HTTP/1.1 with a deadline for a request's head, and no more than a crowd.

    A client that connects and says nothing, or sends its head a byte at a time, is cut
    off; one that reads slowly is not, since a paused player does just that.
    """

    _deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        if len(self.connections) > MOST_OPEN:
            transport.abort()
        else:
            self._watch()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        self._watch()

    def on_response_complete(self) -> None:
        super().on_response_complete()
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        self._stop()
        super().connection_lost(exc)

    def _watch(self) -> None:
        waiting = self.conn.their_state is h11.IDLE
        if waiting and self._deadline is None:
            self._deadline = self.loop.call_later(HEAD_SECONDS, self.transport.close)
        elif not waiting:
            self._stop()

    def _stop(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None


class _Server(uvicorn.Server):
    """Uvicorn that ends at the first signal, whatever its clients are doing."""

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        super().handle_exit(sig, frame)
        self.force_exit = True


def _raise_file_limit() -> None:
    """Each connection that plays takes two files; many systems allow 256 or 1024 at first."""
    if sys.platform != "win32":  # which has no such limit
        import resource

        with contextlib.suppress(ValueError, OSError):
            soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
            wanted = 4 * MOST_CONNECTIONS
            if soft < wanted:
                most = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
                resource.setrlimit(resource.RLIMIT_NOFILE, (most, hard))


def serve(app: ASGIApp, listener: socket.socket) -> None:
    """Serve until a signal comes; the signal is then raised again for the caller."""
    _raise_file_limit()
    config = uvicorn.Config(
        app,
        http=_ImpatientProtocol,
        ws="none",
        lifespan="off",
        log_level="critical",  # what breaks an answer is said in one line by the guard
        access_log=False,
        server_header=False,
        limit_concurrency=MOST_CONNECTIONS,
        timeout_keep_alive=KEEP_ALIVE_SECONDS,
        timeout_graceful_shutdown=1,
        h11_max_incomplete_event_size=MOST_HEAD_BYTES,
    )
    _run(_answer(_Server(config), listener))


async def _answer(server: uvicorn.Server, listener: socket.socket) -> None:
    said: set[str] = set()

    def say(_: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        """One line, once, where the loop would print a traceback each time."""
        line = f"{context.get('exception') or context['message']}"
        if line not in said:
            said.add(line)
            _LOG.warning("evenhold: a connection could not be served: %s", line)

    asyncio.get_running_loop().set_exception_handler(say)
    await server.serve(sockets=[listener])


def _run(work: Coroutine[Any, Any, None]) -> None:
    """Run on a selector loop, on Windows too.

    The loop that is usual there closes the listening socket for good when a client drops its
    connection while that is being accepted.
    """
    loop = asyncio.SelectorEventLoop()
    try:
        loop.run_until_complete(work)
    finally:
        loop.run_until_complete(_end_others())
        loop.close()


async def _end_others() -> None:
    """End all tasks but this one; it also gives threads the loop's word that they may end."""
    left = asyncio.all_tasks() - {asyncio.current_task()}
    for task in left:
        task.cancel()
    await asyncio.gather(*left, return_exceptions=True)
    await asyncio.sleep(0)
