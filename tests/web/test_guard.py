"""Who gets in: host, key, method, and what every answer carries."""

from __future__ import annotations

import pytest

from patterns.web.guard import HEADERS, host_name
from tests.web.serving import KEY, Served, observation


@pytest.mark.parametrize(
    "path",
    ["/", "/live", "/clips/evenhold-bars-24fps.mp4", "/k3y/", f"/{KEY}x/", f"/{KEY[:-1]}/", "//"],
)
def test_without_the_key_nothing_is_served(site: Served, path: str) -> None:
    answer = site.ask(path)
    assert answer.status == 403
    assert "scan the code" in answer.json()["error"]


def test_the_key_opens_the_page(site: Served) -> None:
    answer = site.ask(f"/{KEY}/")
    assert answer.status == 200
    assert b"evenhold-bars-24fps.mp4" in answer.body


@pytest.mark.parametrize(
    "host", ["evil.test", "127.0.0.1.evil.test", "phone.test.evil", "user@127.0.0.1", "[::2]", "."]
)
def test_another_host_name_is_refused(site: Served, host: str) -> None:
    """RFC 9110, 15.5.20: 421 for a request that was meant for somebody else."""
    assert site.ask(f"/{KEY}/", host=host).status == 421


@pytest.mark.parametrize("host", ["phone.test", "PHONE.test:80", "localhost", "127.0.0.1:1"])
def test_its_own_names_are_answered(site: Served, host: str) -> None:
    assert site.ask(f"/{KEY}/", host=host).status == 200


def test_no_host_or_two_are_no_request(site: Served) -> None:
    """RFC 9112, 3.2: a request without a Host, or with two, gets 400."""
    line = f"GET /{KEY}/ HTTP/1.1\r\n".encode()
    assert site.raw(line + b"\r\n").status == 400
    assert site.raw(line + b"Host: localhost\r\nHost: evil.test\r\n\r\n").status == 400


def test_host_names_lose_their_port() -> None:
    assert host_name("Laptop.local:8765") == "laptop.local"
    assert host_name("[::1]:80") == "::1"
    assert host_name("10.0.0.5") == "10.0.0.5"


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(site: Served, method: str) -> None:
    answer = site.ask(f"/{KEY}/", method=method)
    assert answer.status == 405
    assert answer.headers["allow"] == "GET, HEAD, POST"


@pytest.mark.parametrize(
    "name",
    [
        "../secret.txt",
        "..%2fsecret.txt",
        "%2e%2e%2fsecret.txt",
        "%2e%2e/secret.txt",
        "..%5csecret.txt",
        "..\\secret.txt",
        "%252e%252e%252fsecret.txt",
        "..%c0%afsecret.txt",
        "..%ef%bc%8fsecret.txt",
        "%00../secret.txt",
        "evenhold-bars-24fps.mp4/../../secret.txt",
        "evenhold-bars-24fps.mp4%00.txt",
        "....//secret.txt",
        "/etc/passwd",
        "%2fetc%2fpasswd",
        "file:///etc/passwd",
        "kit.json",
        "index.html",
        "evenhold-bars-24fps.json",
        "readings",
        "",
        ".",
    ],
)
@pytest.mark.parametrize("place", ["clips", "static", "live"])
def test_nothing_but_named_files_is_reachable(site: Served, place: str, name: str) -> None:
    answer = site.ask(f"/{KEY}/{place}/{name}")
    assert answer.status in (400, 404), answer
    assert b"not for devices" not in answer.body
    assert b"root:" not in answer.body


@pytest.mark.parametrize(
    ("path", "status"), [("/", 200), ("/nothing", 404), ("/clips/none.mp4", 404), ("/live", 200)]
)
def test_every_answer_carries_the_policies(site: Served, path: str, status: int) -> None:
    answer = site.ask(f"/{KEY}{path}")
    assert answer.status == status
    assert HEADERS.items() <= answer.headers.items()
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "server" not in answer.headers


def test_refusals_carry_them_too(site: Served) -> None:
    for answer in (site.ask("/"), site.ask("/", host="evil.test"), site.ask("/", method="PUT")):
        assert HEADERS.items() <= answer.headers.items()


def test_posts_come_from_the_own_page_only(site: Served) -> None:
    """Another site's page cannot post in its visitor's name."""
    own = f"http://127.0.0.1:{site.port}"
    assert site.post("/summary", observation(), origin=own).status == 200
    assert site.post("/summary", observation(), origin="http://evil.test").status == 403
    assert site.post("/summary", observation(), origin="null").status == 403
    assert site.post("/summary", observation(), sec_fetch_site="cross-site").status == 403
    assert site.post("/summary", observation(), content_type="text/plain").status == 415


def test_posts_are_bounded(site: Served) -> None:
    """Said before the body is read, or as soon as it has grown too long."""
    huge = site.ask(
        f"/{KEY}/readings", method="POST", content_type="application/json", content_length="9" * 12
    )
    assert huge.status == 413
    chunk = b"8000\r\n" + b" " * 0x8000 + b"\r\n"
    head = f"POST /{KEY}/readings HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n".encode()
    head += b"Content-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n"
    assert site.raw(head + 40 * chunk + b"0\r\n\r\n").status == 413


def test_a_request_head_is_bounded(site: Served) -> None:
    assert site.ask(f"/{KEY}/", x_long="a" * 2_000_000).status == 400
