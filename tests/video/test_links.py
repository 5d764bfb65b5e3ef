"""A file that is given is the only one that is opened."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest

from patterns.errors import InputError
from patterns.video.probe import PacketScan
from patterns.video.process import ffmpeg_path
from patterns.video.reader import read_luma
from patterns.video.writer import VideoSpec, VideoWriter
from tests.video.links import Listener, linked_files
from tests.video.moving import moving_texture

NAMES = sorted(linked_files(Path("other.mp4").absolute(), 1))


@pytest.fixture(scope="module")
def listener() -> Iterator[Listener]:
    with Listener() as found:
        yield found


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, listener: Listener) -> Path:
    place = tmp_path_factory.mktemp("links")
    with VideoWriter(VideoSpec(place / "other.mp4", 160, 128, Fraction(24))) as writer:
        for frame in moving_texture(3):
            writer.write(frame)
    for name, text in linked_files(place / "other.mp4", listener.port).items():
        (place / name).write_text(text, encoding="utf-8")
    (place / "pictures-01.png").write_bytes((place / "other.mp4").read_bytes())
    return place


@pytest.mark.parametrize("name", NAMES)
def test_what_names_other_files_is_refused_in_one_line(
    folder: Path, listener: Listener, name: str
) -> None:
    for ask in (lambda path: PacketScan(path).packets(), lambda path: next(read_luma(path))):
        with pytest.raises(InputError) as error:
            ask(folder / name)
        assert str(error.value).startswith(str(folder / name))
        assert "another kind" in str(error.value) or "%" in name
        assert "\n" not in str(error.value)
    assert listener.heard == 0


def test_the_attacks_are_real(folder: Path) -> None:
    """The same decoder without our limits opens the other file, and calls."""
    plain = [ffmpeg_path(), "-v", "error"]
    out = ["-f", "null", "-"]
    for name in ("concat.mp4", "local.m3u8", "drawing.svg"):
        done = subprocess.run(
            [*plain, "-i", str(folder / name), *out], capture_output=True, check=False
        )
        assert done.returncode == 0, done.stderr
    with Listener() as other:
        text = linked_files(folder / "other.mp4", other.port)["master.m3u8"]
        (folder / "calls.m3u8").write_text(text, encoding="utf-8")
        words = ["-protocol_whitelist", "file,http,tcp", "-i", str(folder / "calls.m3u8"), *out]
        subprocess.run([*plain, *words], capture_output=True, check=False, timeout=60)
        assert other.heard > 0


NOT_ON_WINDOWS = () if sys.platform == "win32" else ("a\nb.mp4", "a:b.mp4", "a|b?.mp4")


@pytest.mark.parametrize("name", ["a%03d.mp4", "-i.mp4", "Łódź вид 河.mp4", *NOT_ON_WINDOWS])
def test_odd_names_are_names(folder: Path, name: str) -> None:
    path = folder / name
    path.write_bytes((folder / "other.mp4").read_bytes())
    assert PacketScan(path).packets().times == tuple(Fraction(n, 24) for n in range(3))


def test_a_picture_with_a_number_pattern_for_a_name(folder: Path) -> None:
    with pytest.raises(InputError, match="rename it"):
        PacketScan(folder / "pictures-%02d.png").packets()
