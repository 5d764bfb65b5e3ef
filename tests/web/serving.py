"""A server in a process of its own, and requests as raw as a test needs them."""

from __future__ import annotations

import contextlib
import json
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.cli.running import environment

ROOT = Path(__file__).parents[2]
KEY = "k3y-that-nobody-guesses"


@dataclass(frozen=True)
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes

    def json(self) -> Any:
        return json.loads(self.body)


@dataclass(frozen=True)
class Served:
    """A running server; `base` is the path behind which everything lies."""

    port: int
    key: str
    process: subprocess.Popen[str]

    @property
    def base(self) -> str:
        return f"/{self.key}" if self.key else ""

    def connect(self) -> socket.socket:
        return socket.create_connection(("127.0.0.1", self.port), timeout=60)

    def raw(self, request: bytes) -> Answer:
        """Send these very bytes; read the answer to the end of the connection."""
        with self.connect() as link:
            with contextlib.suppress(ConnectionError):  # refused before all of it was sent
                link.sendall(request)
            return parse(_all(link))

    def ask(
        self, path: str, *, method: str = "GET", host: str = "", body: bytes = b"", **headers: str
    ) -> Answer:
        """Send one request; `path` goes out as it is, header names with '_' for '-'."""
        lines = {"host": host or f"127.0.0.1:{self.port}", "connection": "close"}
        lines |= {"content-length": str(len(body))} if method == "POST" else {}
        lines |= {name.replace("_", "-"): value for name, value in headers.items()}
        head = "".join(f"{name}: {value}\r\n" for name, value in lines.items())
        return self.raw(f"{method} {path} HTTP/1.1\r\n{head}\r\n".encode("latin-1") + body)

    def post(self, path: str, data: Any, **headers: str) -> Answer:
        body = data if isinstance(data, bytes) else json.dumps(data).encode()
        named = {"content_type": "application/json"} | headers
        return self.ask(self.base + path, method="POST", body=body, **named)


def _all(link: socket.socket) -> bytes:
    parts = []
    while True:
        try:
            part = link.recv(1 << 16)
        except ConnectionResetError:  # the answer came before all of the request was read
            break
        if not part:
            break
        parts.append(part)
    return b"".join(parts)


def parse(data: bytes) -> Answer:
    if not data:  # cut off without a word
        return Answer(0, {}, b"")
    head, _, body = data.partition(b"\r\n\r\n")
    first, *lines = head.decode("latin-1").split("\r\n")
    pairs = (line.partition(": ") for line in lines)
    return Answer(int(first.split()[1]), {k.lower(): v for k, _, v in pairs}, body)


@contextmanager
def served(folder: Path, *, key: str = KEY, **options: int) -> Iterator[Served]:
    """Serve a folder; options: `file_limit` bytes a file may have, `open_files` at most,
    `burst` posts at once and one more in `pause_s`, `patience_s` with heads and bodies."""
    words = json.dumps({"folder": str(folder), "key": key, **options})
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.web.serving", words],
        cwd=ROOT,
        env=environment(),
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout
    try:
        yield Served(int(process.stdout.readline()), key, process)
    finally:
        process.kill()
        process.wait()
        process.stdout.close()


def observation(**changes: Any) -> dict[str, Any]:
    """What a page sends of 24 frames a second on 60 Hz, two seconds of it."""
    shown = [1000 * -(-5 * n // 2) / 60 for n in range(4, 52)]
    return {
        "schema": "evenhold/observation 1",
        "clip": "evenhold-bars-24fps.mp4",
        "refresh": {
            "interval_ms": 1000 / 60,
            "error_ms": 0.0001,
            "spread_ms": 0.04,
            "frames": 300,
            "state": "steady",
        },
        "callbacks": [[n / 24, ms, n] for n, ms in enumerate(shown, start=4)],
        "skipped": 4,
        "counters": {"total": 52, "dropped": 0},
        "shown": {"full_screen": True, "pixels_per_pixel": 1.5, "hidden": False},
        "device": {
            "label": "Dam wall tablet",
            "agent": "Somebody's browser",
            "screen": [1280, 800],
            "viewport": [1280, 720],
            "pixel_ratio": 1.5,
            "secure": False,
        },
        **changes,
    }


def main(words: str) -> None:
    from patterns.web import guard, server
    from patterns.web.app import make_app
    from patterns.web.guard import Rules
    from patterns.web.server import bind, serve
    from patterns.web.site import Pace, open_site

    options = json.loads(words)
    if patience_s := options.get("patience_s"):
        server.HEAD_SECONDS = guard.BODY_SECONDS = float(patience_s)
    if (limit := options.get("file_limit")) and sys.platform != "win32":
        import resource

        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
    if (limit := options.get("open_files")) and sys.platform != "win32":
        import resource

        resource.setrlimit(resource.RLIMIT_NOFILE, (limit, limit))
    rules = Rules(frozenset({"127.0.0.1", "localhost", "phone.test"}), options["key"])
    pace = Pace(burst=options.get("burst", 10_000), seconds=float(options.get("pause_s", 2)))
    with bind("127.0.0.1", 0) as listener:
        sys.stdout.write(f"{listener.getsockname()[1]}\n")
        sys.stdout.flush()
        serve(make_app(open_site(Path(options["folder"])), rules, pace=pace), listener)


if __name__ == "__main__":
    main(sys.argv[1])
