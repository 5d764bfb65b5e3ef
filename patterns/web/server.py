"""The server: one process, bounded in time and memory, ended at once by Ctrl-C."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import secrets
import socket
from types import FrameType
from typing import Any

import h11
import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from patterns.errors import DeviceError, RequestError

__all__ = ["bind", "new_key", "serve"]

HEAD_SECONDS = 15.0  # in which a request's head must have come
MOST_CONNECTIONS = 400
MOST_HEAD_BYTES = 32_768
KEEP_ALIVE_SECONDS = 10
VANISHED_SECONDS = 30  # after which a silent peer is asked whether it is there


def new_key() -> str:
    """Key that cannot be guessed: 128 random bits, in letters, digits, '-' and '_'."""
    return secrets.token_urlsafe(16)


def bind(host: str, port: int) -> socket.socket:
    """Listening socket.

    Raises
    ------
    RequestError
        The port is in use, or may not be used.
    DeviceError
        The network refuses for another reason.
    """
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        for name, value in (("TCP_KEEPIDLE", VANISHED_SECONDS), ("TCP_KEEPINTVL", 10)):
            with contextlib.suppress(AttributeError, OSError):  # not on every system
                listener.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)
        listener.bind((host, port))
        listener.listen(256)
    except OSError as error:
        listener.close()
        if error.errno == errno.EADDRINUSE:
            raise RequestError(
                f"port {port} is in use: end the other program, or give another with --port"
            ) from error
        if error.errno == errno.EACCES:
            raise RequestError(f"port {port} may not be used: give one above 1023") from error
        raise DeviceError(f"{host}:{port} cannot be opened: {error.strerror}") from error
    return listener


class _ImpatientProtocol(H11Protocol):
    """Uvicorn's HTTP/1.1 with a deadline for a request's head.

    A client that connects and says nothing, or sends its head a byte at a time, is cut
    off; one that reads slowly is not, since a paused player does just that.
    """

    _deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
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
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource  # not on Windows, which has no such limit

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
        loop="asyncio",
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
    _Server(config).run(sockets=[listener])
