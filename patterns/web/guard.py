"""The door: which requests get in at all, and what every answer carries.

In order: the host name (RFC 9110, 15.5.20: 421 for another host's), the key that the
address holds, the method, and for a post its origin, type, size and time. Nothing of a
refused request reaches the rest of the program.
"""

from __future__ import annotations

import asyncio
import logging
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from hmac import compare_digest

from starlette.datastructures import Headers
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

_LOG = logging.getLogger(__name__)
BODY_LIMIT_BYTES = 1 << 20
BODY_SECONDS = 15.0
LOOPBACK_HOSTS = frozenset({"localhost", "127.0.0.1", "::1"})
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "media-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": _POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "x-frame-options": "DENY",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


@dataclass(frozen=True)
class Rules:
    """Who gets in."""

    hosts: frozenset[str]  # names and addresses that it answers under, lower case, no port
    key: str = ""  # first segment of every path; '' where none is needed


def new_key() -> str:
    """Key that cannot be guessed: 128 random bits, in letters, digits, '-' and '_'."""
    return secrets.token_urlsafe(16)


def allowed_hosts(names: Iterable[str]) -> frozenset[str]:
    """Host names that a request may carry: `names`, in lower case, and those of loopback."""
    return LOOPBACK_HOSTS | {name.strip().lower().rstrip(".") for name in names}


class _RefusedError(Exception):
    def __init__(self, status: int, text: str, **headers: str) -> None:
        self.status, self.text = status, text
        self.headers = {"cache-control": "no-store"} | headers


def host_name(value: str) -> str:
    """Host of a Host header without its port: 'a:80' -> 'a', '[::1]:80' -> '::1'."""
    text = value.strip().lower()
    if text.startswith("["):
        return text[1:].partition("]")[0]
    return text.rpartition(":")[0] if text.count(":") == 1 else text


class Guard:
    """ASGI application around another that lets through only what the rules allow."""

    def __init__(self, app: ASGIApp, rules: Rules) -> None:
        self._app, self._rules = app, rules

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, or refuse it."""
        if scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
            return
        if scope["type"] != "http":
            return
        guarded = _with_headers(send)
        try:
            inner, body = await self._admit(scope, receive)
        except _RefusedError as refused:
            said = JSONResponse({"error": refused.text}, refused.status, refused.headers)
            await said(scope, receive, guarded)
            return
        try:
            await self._app(inner, body, guarded)
        except Exception as error:
            _LOG.warning("evenhold: the answer to %r broke off: %s", inner["path"], error)
            raise  # the server closes this connection

    async def _admit(self, scope: Scope, receive: Receive) -> tuple[Scope, Receive]:
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        if len(hosts) != 1 or host_name(hosts[0]) not in self._rules.hosts:
            raise _RefusedError(421, "this server does not answer under that host name")
        inner = {**scope, "path": self._path(scope["path"]), "root_path": "", "raw_path": None}
        if scope["method"] not in ("GET", "HEAD", "POST"):
            raise _RefusedError(405, "allowed are GET, HEAD and POST", allow="GET, HEAD, POST")
        if scope["method"] != "POST":
            return inner, receive
        _check_post(headers, hosts[0])
        return inner, _replay(await _body(receive), receive)

    def _path(self, path: str) -> str:
        """Path behind the key."""
        if not self._rules.key:
            return path
        given, _, rest = path.removeprefix("/").partition("/")
        if not compare_digest(given.encode(), self._rules.key.encode()):
            raise _RefusedError(
                403, "the address is not complete: scan the code on the laptop again"
            )
        return "/" + rest


def _check_post(headers: Headers, host: str) -> None:
    """Only our own page may post: another site's can neither set the type nor hide its origin."""
    if headers.get("content-type", "").partition(";")[0].strip().lower() != "application/json":
        raise _RefusedError(415, "posts are application/json")
    origin = headers.get("origin", "")
    other = bool(origin) and origin.partition("://")[2].lower() != host.strip().lower()
    if other or headers.get("sec-fetch-site", "") not in ("", "same-origin", "none"):
        raise _RefusedError(403, "posts come from this server's own page only")
    length = headers.get("content-length", "")
    if length.isdecimal() and int(length) > BODY_LIMIT_BYTES:
        raise _too_large()


def _too_large() -> _RefusedError:
    text = f"a post holds at most {BODY_LIMIT_BYTES} bytes: send a shorter one"
    return _RefusedError(413, text, connection="close")


async def _body(receive: Receive) -> bytes:
    try:
        return await asyncio.wait_for(_read(receive), BODY_SECONDS)
    except asyncio.TimeoutError:
        raise _RefusedError(408, "the post took too long", connection="close") from None


async def _read(receive: Receive) -> bytes:
    parts, size = [], 0
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise _RefusedError(400, "the post broke off", connection="close")
        parts.append(message.get("body", b""))
        size += len(parts[-1])
        if size > BODY_LIMIT_BYTES:
            raise _too_large()
        if not message.get("more_body", False):
            return b"".join(parts)


def _replay(body: bytes, receive: Receive) -> Receive:
    waiting: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

    async def give() -> Message:
        return waiting.pop() if waiting else await receive()

    return give


def _with_headers(send: Send) -> Send:
    extra = [(k.encode(), v.encode()) for k, v in HEADERS.items()]

    async def guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            message = {**message, "headers": [*message.get("headers", []), *extra]}
        await send(message)

    return guarded
