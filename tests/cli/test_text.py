"""What goes in and out as text, whatever the shell and its code page make of it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from fractions import Fraction as F
from pathlib import Path

import pytest

from patterns.reading.stored_reading import load_readings
from tests.cli.running import COMMAND, environment
from tests.cli.test_compare import kept

NAME = "Łódź Stausee.mp4"
CODE_PAGES = ["cp437", "cp1252", "cp932", "ascii"]


def piped(*words: str, cwd: Path, encoding: str) -> subprocess.CompletedProcess[bytes]:
    """Run with both outputs in pipes of that encoding."""
    return subprocess.run(
        [*COMMAND, *words],
        cwd=cwd,
        env=environment(PYTHONIOENCODING=encoding, PYTHONUTF8="0"),
        capture_output=True,
        timeout=280,  # on Wine beside other work each process starts slowly
        check=False,
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A clip and its record, and two readings, all with names that few code pages have."""
    folder = tmp_path_factory.mktemp("Łódź")
    done = piped(
        *("render", "bars", "--rate", "24", "--seconds", "1", "--size", "320x180"),
        *("--out", NAME, "--json"), cwd=folder, encoding="cp437",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["file"] == NAME
    assert done.stdout.isascii()
    kept(folder / "Łódź tablet.json", 60)
    kept(folder / "телевизор.json", 50)
    return folder


@pytest.mark.parametrize("encoding", CODE_PAGES)
def test_every_code_page_can_be_printed_in(folder: Path, encoding: str) -> None:
    """Results and, in two of them, for both streams are set up alike, mistakes."""
    asked: list[tuple[tuple[str, ...], int]] = [
        (("compare", "Łódź tablet.json", "телевизор.json"), 0)
    ]
    if encoding in CODE_PAGES[::3]:
        asked.append((("render", "bars", "--rate", "24", "--out", NAME), 2))
    for words, code in asked:
        done = piped(*words, cwd=folder, encoding=encoding)
        said = done.stdout if code == 0 else done.stderr
        assert done.returncode == code, done.stderr
        assert b"Traceback" not in done.stderr
        text = said.decode("utf-8" if encoding == "ascii" else encoding)
        assert "dź " in text or r"d\u017a " in text


@pytest.mark.parametrize(
    "words",
    [
        ("compare", "Łódź tablet.json", "телевизор.json", "--json"),
        ("read", NAME, "--json"),
        ("check", NAME, "--json"),
    ],
)
def test_json_is_pure_ascii(folder: Path, words: tuple[str, ...]) -> None:
    done = piped(*words, cwd=folder, encoding="utf-8")
    assert done.returncode in (0, 3), done.stderr  # so short a clip flashes when it is looped
    assert done.stdout.isascii()
    assert "Łódź" in json.dumps(json.loads(done.stdout), ensure_ascii=False)


@pytest.mark.parametrize("name", ["tablet.json", "tablet.txt"])
@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32"]
)
def test_readings_in_the_encodings_of_shells(tmp_path: Path, encoding: str, name: str) -> None:
    """PowerShell 5's `>` writes UTF-16 with a byte order mark, and line ends of its own."""
    text = kept(tmp_path / "Łódź.json", 60).read_text(encoding="utf-8")
    path = tmp_path / name
    path.write_bytes(f"\r\n{text}\r\n".encode(encoding))
    found = (load_readings(path) or [])[0]
    assert found.file == "Łódź.mov"
    assert found.rate == F(24)


@pytest.mark.skipif(sys.platform == "win32", reason="file names are text there")
def test_a_name_that_is_no_text(tmp_path: Path) -> None:
    """Such as one from an old card, in an encoding that is not the system's."""
    for name in (b"\xa3\xf3d\x9f.json", b"tv.json"):
        path = tmp_path / os.fsdecode(name)
        path.write_bytes(kept(tmp_path / "tablet.json", 60).read_bytes())
    words = [os.fsdecode(b"\xa3\xf3d\x9f.json"), "tv.json"]
    done = piped("compare", *words, "--html", "page.html", cwd=tmp_path, encoding="utf-8")
    assert done.returncode == 0, done.stderr
    assert b"d\\udc9f" in done.stdout
    assert b"\xa3\xf3d\x9f" in (tmp_path / "page.html").read_bytes()
