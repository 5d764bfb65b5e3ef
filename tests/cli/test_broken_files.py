"""Files with bytes changed or cut off, of each kind: one line, the right exit code, no hang.

A few that were found to be telling; `python -m tests.simulation.broken_files` tries hundreds.
"""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import pytest
from PIL import Image

from tests.cli.running import run, run_process
from tests.simulation.broken_files import broken, faults, whole_files

SIDE = 40_000  # pixels, which one bit each makes 200 MB, and R'G'B' 5 GB


def png_of(side: int) -> bytes:
    """A PNG of one bit a pixel, all black, written by its specification (W3C PNG, clause 5)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        check = zlib.crc32(kind + data)
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", check)

    data = zlib.compress(bytes(side * (1 + (side + 7) // 8)), 9)
    header = struct.pack(">IIBBBBB", side, side, 1, 0, 0, 0, 0)
    signature = b"\x89PNG\r\n\x1a\n"
    return signature + chunk(b"IHDR", header) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def tiff_of(side: int, samples: int = 1) -> bytes:
    """A TIFF 6.0 that declares one strip of so many pixels a side and holds next to nothing."""
    entries = (
        *((256, side), (257, side), (258, 1), (259, 1), (262, 1), (273, 8)),
        *((277, samples), (278, side), (279, 9)),
    )
    table = b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in entries)
    ends = struct.pack("<H", len(entries)) + table + struct.pack("<I", 0)
    return b"II*\0" + struct.pack("<I", 20) + bytes(12) + ends


def webp_of(side: int) -> bytes:
    """A lossless WebP that declares its largest size and holds next to nothing (RFC 9649)."""
    size = (side - 1) | (side - 1) << 14
    data = b"\x2f" + size.to_bytes(4, "little") + bytes(64)
    chunk = b"VP8L" + struct.pack("<I", len(data)) + data + bytes(len(data) % 2)
    return b"RIFF" + struct.pack("<I", 4 + len(chunk)) + b"WEBP" + chunk


BOMBS = {
    "bomb.png": lambda: png_of(SIDE),
    "bomb.tiff": lambda: tiff_of(SIDE),
    "bomb.webp": lambda: webp_of(16_383),
}


@pytest.mark.parametrize("name", BOMBS)
def test_a_picture_that_would_fill_memory_is_refused(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    bomb = BOMBS[name]()
    path.write_bytes(bomb)
    assert len(bomb) < 400_000
    checked = run("check", name, cwd=tmp_path)
    assert (checked.returncode, checked.stderr.count("\n")) == (1, 1)
    assert "has too many pixels: pictures of up to 134 million pixels are checked" in checked.stderr
    read = run("read", name, *(("--as", "photo") if name.endswith("png") else ()), cwd=tmp_path)
    assert (read.returncode, read.stderr.count("\n")) == (1, 1)
    assert "too many pixels" in read.stderr or "cannot be read as video" in read.stderr


def test_what_the_picture_library_logs_is_no_line_of_ours(tmp_path: Path) -> None:
    """In a process of its own: the test runner catches what is logged."""
    (tmp_path / "odd.tiff").write_bytes(tiff_of(16, samples=2048))
    done = run_process("check", "odd.tiff", cwd=tmp_path)
    assert (done.returncode, done.stderr.count("\n")) == (1, 1)
    assert done.stderr.startswith("evenhold: odd.tiff cannot be read")


@pytest.mark.parametrize("size", [(4, 400), (600, 16)])
def test_pictures_of_no_possible_shape_are_refused(tmp_path: Path, size: tuple[int, int]) -> None:
    first, *rest = [Image.new("L", size, 80 * n) for n in range(3)]
    first.save(tmp_path / "thin.gif", save_all=True, append_images=rest, duration=40)
    done = run("read", "thin.gif", cwd=tmp_path)
    assert (done.returncode, done.stderr.count("\n")) == (1, 1)
    assert f"has pictures of {size[0]}x{size[1]}, no size of a video" in done.stderr


# Kind, seed, cut: damage of the container, of the pictures, and of both.
TELLING = (
    *(("clip.mp4", 3, False), ("clip.mp4", 5, True), ("clip.webm", 2, False)),
    *(("clip.gif", 1, False), ("clip.apng", 4, False), ("clip.webp", 0, True)),
    ("clip.mov", 5, False),  # says another size than its pictures have
    ("clip.mov", 192, False),  # 49816x180
    *(("still.png", 6, False), ("still.jpg", 1, True), ("still.tiff", 7, False)),
)


@pytest.fixture(scope="module")
def wholes(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    return whole_files(tmp_path_factory.mktemp("whole"))


@pytest.mark.parametrize("word", ["read", "check"])
def test_a_clock_that_no_video_has_is_refused(
    wholes: dict[str, bytes], tmp_path: Path, word: str
) -> None:
    """A loop of nanoseconds would be gone round ten million times, and its rate be given as fact.

    The stream header is that of the AVI RIFF file reference: dwScale and dwRate after 20 bytes.
    """
    damaged = bytearray(wholes["clip.avi"])
    struct.pack_into("<II", damaged, damaged.index(b"strh") + 8 + 20, 1, 872_415_256)
    (tmp_path / "odd.avi").write_bytes(damaged)
    done = run(word, "odd.avi", cwd=tmp_path)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (1, "", 1)
    assert "odd.avi has 872415256 pictures a second by its clock" in done.stderr


@pytest.mark.parametrize(("kind", "seed", "cut"), TELLING)
def test_a_broken_file_is_read_or_refused_in_one_line(
    tmp_path: Path, wholes: dict[str, bytes], kind: str, seed: int, cut: bool
) -> None:
    path = tmp_path / f"broken{Path(kind).suffix}"
    path.write_bytes(broken(wholes[kind], seed, cut=cut))
    for word in ("read", "check"):
        code, fault = faults(word, path)
        assert fault == "", code
