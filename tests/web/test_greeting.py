"""What the terminal shows: the address always, and a code that decodes to it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import segno

from patterns.cli.serve import greeting, half_blocks, page_address, qr_text
from patterns.web.guard import allowed_hosts, new_key
from patterns.web.server import lan_addresses
from patterns.web.site import open_site

ADDRESS = "http://192.168.1.20:8765/abcdefghijklmnopqrstuv/"


def modules(text: str, *, wide: bool) -> list[list[int]]:
    """Dark modules (1) from the plain drawing."""
    rows = []
    for line in text.split("\n"):
        if wide:
            rows.append([int(line[i] == " ") for i in range(0, len(line), 2)])
        else:
            rows.append([int(c in " ▄") for c in line])
            rows.append([int(c in " ▀") for c in line])
    return rows


@pytest.mark.parametrize("wide", [True, False])
def test_the_code_is_the_address(wide: bool) -> None:
    """Against the matrix of the QR library, quiet zone of four modules included (ISO/IEC 18004)."""
    text = qr_text(ADDRESS, colours=False, unicode=not wide)
    expected = np.pad(np.array(segno.make(ADDRESS, error="m", micro=False).matrix), 4)
    found = np.array(modules(text, wide=wide))[: len(expected)]
    assert (found == expected).all()


def test_ascii_terminals_get_ascii() -> None:
    text = qr_text(ADDRESS, colours=False, unicode=False)
    assert set(text) == {"#", " ", "\n"}
    assert max(map(len, text.split("\n"))) <= 82
    assert qr_text(ADDRESS, colours=True, unicode=False).isascii()
    assert "\x1b[107m" in qr_text(ADDRESS, colours=True, unicode=False)


@pytest.mark.parametrize("encoding", ["utf-8", "ascii", "latin-1", "cp437", "no-such"])
def test_the_address_is_always_printed(kit: Path, encoding: str) -> None:
    site = open_site(kit)
    page = page_address("10.0.0.5", 8765, "key")
    for is_terminal in (True, False):
        code = qr_text(page, colours=is_terminal, unicode=half_blocks(encoding))
        text = greeting(site, [page], code)
        assert "http://10.0.0.5:8765/key/" in text
        if encoding in ("ascii", "no-such"):
            assert text.isascii()
        else:
            assert half_blocks(encoding) == (encoding in ("utf-8", "cp437"))
    assert page_address("localhost", 80, "") == "http://localhost:80/"


def test_keys_cannot_be_guessed() -> None:
    """128 bits in an alphabet that needs no escaping in an address (RFC 3986, unreserved)."""
    keys = {new_key() for _ in range(1000)}
    assert len(keys) == 1000
    assert all(len(key) == 22 and key.replace("-", "a").replace("_", "a").isalnum() for key in keys)


def test_hosts_and_addresses() -> None:
    assert "127.0.0.1" not in lan_addresses()
    assert allowed_hosts(["Laptop.Local."]) >= {"laptop.local", "localhost", "127.0.0.1"}
    assert page_address("a", 1, "") == "http://a:1/"
