"""Output that cannot be written, names that are none, programs that are no encoder: one line."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.running import COMMAND, environment, run, run_process
from tests.systems import posix

CADENCE = ("cadence", "24", "--display", "60")
SMALL = ("--rate", "24", "--seconds", "0.2", "--size", "320x180", "--allow-flashing")


def one_line(done: subprocess.CompletedProcess[str], code: int, words: str) -> None:
    assert done.returncode == code, done.stderr
    (line,) = done.stderr.splitlines()
    assert line.startswith("evenhold: ")
    assert words in line


def shell(text: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    command = text.replace("EVENHOLD", " ".join(COMMAND))
    return subprocess.run(
        ["bash", "-c", command], cwd=cwd, env=environment(), capture_output=True, text=True,
        timeout=250, check=False,
    )  # fmt: skip


@posix
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize("words", [CADENCE, ("--help",)], ids=" ".join)
def test_a_full_disk_behind_stdout(tmp_path: Path, words: tuple[str, ...]) -> None:
    done = shell(f"EVENHOLD {' '.join(words)} > /dev/full", tmp_path)
    one_line(done, 1, "the output cannot be written")


@posix
def test_a_reader_that_goes_away_is_no_failure(tmp_path: Path) -> None:
    done = shell(f"EVENHOLD {' '.join(CADENCE)} | true; exit ${{PIPESTATUS[0]}}", tmp_path)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 32 KiB, where the tests may mount one."""
    disk = tmp_path / "small"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=32k", "tmpfs", str(disk)]
    if (
        sys.platform != "linux"
        or subprocess.run(mount, capture_output=True, check=False).returncode
    ):
        pytest.skip("not allowed to mount a file system")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


@pytest.mark.parametrize(
    "words",
    [
        ("kit", "--rates", "24", "--seconds", "1", "--size", "320x180", "--jobs", "1"),
        ("present", "--split", "--seconds", "0.5", "--size", "960x540"),
        ("present", "--stills"),
    ],
    ids=["kit", "split", "stills"],
)
def test_a_full_disk_is_one_line_and_nothing_is_left_half(
    small_disk: Path, tmp_path: Path, words: tuple[str, ...]
) -> None:
    done = run(*words, "--quiet", "--out", str(small_disk / "out"), cwd=tmp_path)
    one_line(done, 1, " is full")
    assert not [file for file in small_disk.rglob("*") if ".part" in file.name]


@posix
def test_nowhere_to_write_at_all(tmp_path: Path) -> None:
    done = shell(f"EVENHOLD render bars {' '.join(SMALL)} --out a.mp4 >&- 2>&-", tmp_path)
    assert done.returncode == 0
    assert (tmp_path / "a.mp4").stat().st_size > 1000


def test_names_of_what_is_no_file(tmp_path: Path) -> None:
    if sys.platform == "win32":
        pytest.skip("pipes that are files")
    os.mkfifo(tmp_path / "pipe.mp4")
    (tmp_path / "round.mp4").symlink_to("round.mp4")
    said = {
        "pipe.mp4": "is a pipe or a device",
        "round.mp4": "is a link that leads nowhere",
        f"{'x' * 300}.mp4": "does not exist",
        "/dev/zero": "is a pipe or a device",
    }
    for command in ("read", "check"):
        done = run(command, *said, cwd=tmp_path)
        assert done.returncode == 1
        for line, (name, words) in zip(done.stderr.splitlines(), said.items(), strict=True):
            assert line.startswith(f"evenhold: {name} {words}")


@posix
def test_a_program_that_is_no_decoder(tmp_path: Path) -> None:
    program = tmp_path / "quiet"
    program.write_text("#!/bin/sh\nexit 0\n")
    program.chmod(0o755)
    (tmp_path / "clip.mp4").write_bytes(b"\0\0\0\x20ftypisom" + bytes(500))
    done = run_process("read", "clip.mp4", cwd=tmp_path, IMAGEIO_FFMPEG_EXE=str(program))
    one_line(done, 1, "the decoder gives no reason")


@posix
@pytest.mark.parametrize("files", [5, 6, 8])
def test_no_more_files_can_be_opened(tmp_path: Path, files: int) -> None:
    (tmp_path / "clip.mp4").write_bytes(b"\0\0\0\x20ftypisom" + bytes(500))
    done = shell(f"ulimit -n {files}; EVENHOLD read clip.mp4", tmp_path)
    one_line(done, 1, "encoder")
