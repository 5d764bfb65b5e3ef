"""The server under strain: slow, stuck and many clients, signals, and a port in use."""

from __future__ import annotations

import contextlib
import signal
import socket
import struct
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from patterns.errors import RequestError
from patterns.web import server
from patterns.web.server import bind
from tests.systems import linux, posix, signals
from tests.web.serving import KEY, Served, observation, served

NAME = "evenhold-bars-60fps.mp4"
PARALLEL = 200
LONG_S = 80  # patience with slow clients that no machine is too busy for


def resident_bytes(pid: int) -> int:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) * 1024
    raise AssertionError("no VmRSS")


def recovers(site: Served) -> bool:
    """Whether it answers again: connections that were closed are noticed one after another."""
    end = time.monotonic() + 60
    while site.ask(f"/{KEY}/").status != 200:
        if time.monotonic() > end:
            return False
        time.sleep(0.1)
    return True


@pytest.fixture
def large(kit: Path, tmp_path: Path) -> Path:
    """A kit whose clip is 64 MB long: its record does not say so, and ranges do not care."""
    import shutil

    folder = Path(shutil.copytree(kit, tmp_path / "large"))
    with (folder / NAME).open("r+b") as file:
        file.truncate(64_000_000)
    return folder


@linux
def test_200_parallel_ranges_in_bounded_memory(large: Path) -> None:
    """Two hundred clients each want 64 MB and read it slowly: memory must not follow."""
    with served(large) as site:
        site.ask(f"/{KEY}/")
        before = resident_bytes(site.process.pid)
        request = f"GET /{KEY}/clips/{NAME} HTTP/1.1\r\nHost: localhost\r\nRange: bytes=0-\r\n\r\n"
        links = [site.connect() for _ in range(PARALLEL)]
        for link in links:
            link.sendall(request.encode())
        heads = [link.recv(4096)[:12] for link in links]
        assert heads == [b"HTTP/1.1 206"] * PARALLEL
        time.sleep(1)
        assert resident_bytes(site.process.pid) - before < 150_000_000
        # and somebody else is answered at once
        start = time.monotonic()
        assert site.ask(f"/{KEY}/clips/{NAME}", range="bytes=0-1").status == 206
        assert time.monotonic() - start < server.HEAD_SECONDS
        for link in links:
            link.close()


def test_200_parallel_ranges_are_right(site: Served, kit: Path) -> None:
    data = (kit / NAME).read_bytes()

    def ask(i: int) -> bool:
        first = i * 97 % (len(data) - 1000)
        answer = site.ask(f"/{KEY}/clips/{NAME}", range=f"bytes={first}-{first + 999}")
        return (answer.status, answer.body) == (206, data[first : first + 1000])

    with ThreadPoolExecutor(50) as pool:
        assert all(pool.map(ask, range(PARALLEL)))


def test_slow_clients_block_nobody(kit: Path) -> None:
    """Heads that never end, bodies that never come, answers that nobody reads."""
    head = f"POST /{KEY}/readings HTTP/1.1\r\nHost: localhost\r\n".encode()
    sent = (
        b"GET / HT",
        head + b"Content-Type: application/json\r\nContent-Length: 5000\r\n\r\n{",
        f"GET /{KEY}/clips/{NAME} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode(),
    )
    with served(kit, patience_s=LONG_S) as site, contextlib.ExitStack() as slow:
        begun = time.monotonic()
        for i in range(60):
            slow.enter_context(site.connect()).sendall(sent[i % 3])
        assert site.ask(f"/{KEY}/").status == 200
        assert site.post("/summary", observation()).status == 200
        assert time.monotonic() - begun < LONG_S  # when the slow ones are cut off
        slow.close()
        assert site.ask(f"/{KEY}/").status == 200


def test_a_stuck_head_and_a_stuck_body_are_ended(kit: Path) -> None:
    """As after the usual fifteen seconds, here two."""
    with served(kit, patience_s=2) as site, site.connect() as head, site.connect() as body:
        head.sendall(b"GET / HTTP/1.1\r\nHost: loc")
        body.sendall(
            f"POST /{KEY}/readings HTTP/1.1\r\nHost: localhost\r\n".encode()
            + b"Content-Type: application/json\r\nContent-Length: 5000\r\n\r\n{"
        )
        start = time.monotonic()
        assert head.recv(100) == b""
        assert time.monotonic() - start > 1
        assert body.recv(100).startswith(b"HTTP/1.1 408")


def test_a_post_that_breaks_off_is_forgotten(site: Served) -> None:
    for _ in range(20):
        link = site.connect()
        link.sendall(
            f"POST /{KEY}/readings HTTP/1.1\r\nHost: localhost\r\n".encode()
            + b"Content-Type: application/json\r\nContent-Length: 5000\r\n\r\n{"
        )
        link.close()
    assert site.ask(f"/{KEY}/").status == 200


def test_garbage_is_answered_and_forgotten(site: Served) -> None:
    for data in (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc", b"\r\n\r\n", b"GET\r\n\r\n", b"\0" * 9):
        with site.connect() as link:
            link.sendall(data)
    assert site.ask(f"/{KEY}/").status == 200


@signals
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_it_at_once_whatever_clients_do(large: Path, number: signal.Signals) -> None:
    with served(large) as site:
        links = [site.connect() for _ in range(20)]
        for i, link in enumerate(links):
            path = f"/{KEY}/clips/{NAME}" if i % 2 else "/"
            link.sendall(f"GET {path} HTTP/1.1\r\nHost: localhost\r\n".encode() + b"\r\n" * (i % 2))
        assert site.ask(f"/{KEY}/").status == 200
        site.process.send_signal(number)
        site.process.wait(server.HEAD_SECONDS - 1)  # before the stuck ones would be cut off
        for link in links:
            link.close()


def test_a_clip_that_shrinks_while_it_is_sent(large: Path) -> None:
    """Somebody renders anew into the folder: that answer breaks off, the server goes on."""
    with served(large) as site, site.connect() as link:
        link.sendall(f"GET /{KEY}/clips/{NAME} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode())
        assert link.recv(12) == b"HTTP/1.1 200"
        with (large / NAME).open("r+b") as file:
            file.truncate(1000)
        received = 0
        while part := link.recv(1 << 20):
            received += len(part)
        assert received < 64_000_000
        assert site.ask(f"/{KEY}/").status == 200


def test_a_port_in_use_is_one_line() -> None:
    with bind("127.0.0.1", 0) as listener:
        port = listener.getsockname()[1]
        with pytest.raises(RequestError, match=f"port {port} is in use") as error:
            bind("127.0.0.1", port)
        assert "--port" in str(error.value)


def test_loopback_is_not_reachable_from_the_network() -> None:
    from patterns.web.server import lan_addresses

    with bind("127.0.0.1", 0) as listener:
        for address in lan_addresses():
            with socket.socket() as link:
                link.settimeout(2)
                assert link.connect_ex((address, listener.getsockname()[1])) != 0


def test_connections_beyond_the_limit_are_told_so(site: Served) -> None:
    """503 instead of a queue without end; and it recovers."""
    links = [site.connect() for _ in range(server.MOST_CONNECTIONS + 5)]
    assert site.ask(f"/{KEY}/").status == 503
    for link in links:
        link.close()
    assert recovers(site)


def test_a_crowd_is_cut_off_before_the_loop_is_full(kit: Path) -> None:
    """Windows' `select` watches 512 sockets; one more would end the server."""
    with served(kit, patience_s=LONG_S) as site:
        links = [site.connect() for _ in range(600)]
        links[-1].settimeout(LONG_S / 2)  # before any would be cut off for its missing head
        with contextlib.suppress(ConnectionResetError):
            assert links[-1].recv(1) == b""
        for link in links:
            link.close()
        assert recovers(site)


@posix
def test_a_server_without_descriptors_left_serves_again_once_some_are_free(kit: Path) -> None:
    """60 idle connections where 40 files may be open: the impatient head limit frees them."""
    with (
        served(kit, open_files=40, patience_s=1) as site,
        contextlib.ExitStack() as idle,
    ):
        for _ in range(60):
            idle.enter_context(site.connect())
        assert site.ask(site.base + "/").status == 200
        assert site.process.poll() is None


def test_connections_reset_while_they_are_accepted(site: Served) -> None:
    """The usual loop of Windows stops listening for good after one of these."""
    for _ in range(200):
        with socket.socket() as link:
            link.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            link.connect(("127.0.0.1", site.port))
    assert site.ask(f"/{KEY}/").status == 200


@linux
def test_thousands_of_posts_keep_few_readings_and_hold_up_nobody(kit: Path) -> None:
    """With the usual pace: twenty at once, then one in two seconds."""
    begun = time.monotonic()
    with served(kit, burst=20) as site:
        before, folder = resident_bytes(site.process.pid), kit / "readings"
        kept = len(list(folder.glob("*")))
        with ThreadPoolExecutor(20) as pool:
            answers = pool.map(lambda _: site.post("/readings", observation()).status, range(400))
            found = set(answers)
        assert found == {201, 429}
        assert len(list(folder.glob("*"))) - kept <= 21 + (time.monotonic() - begun) / 2
        assert site.ask(f"/{KEY}/").status == 200
        assert resident_bytes(site.process.pid) - before < 60_000_000
        site.process.send_signal(signal.SIGINT)  # also with threads that have worked
        site.process.wait(60)
