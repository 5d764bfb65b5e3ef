"""`evenhold read` as a person runs it: its text, its files, and what it refuses."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import time
from fractions import Fraction as F
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest
from PIL import Image

from patterns.clip import Clip
from patterns.frame_source import frames
from patterns.scenes.bars.motion import BarsMotion
from patterns.video.writer import VideoSpec, VideoWriter
from tests.cli.running import encoders_in, run, start
from tests.systems import linux

GOLDEN = """\
bars-25.mp4: as it was made: every frame once and in order at 25 frames a
  second, 50 pictures in 2.0 s.

read as          a clip or its transcode
pictures         50 of 50 read
rate             the strip says 25 frames a second
file             25 pictures a second
pattern          even 1   expected even 1 on 25 a second
timing error     0.00 ms RMS, 0.00 ms span   expected 0.00 and 0.00
inter-arrival    40.00 ms mean, 0.00 sd, 40.00 to 40.00 (frame inter-arrival
                 time, ITU-T P.931)
dropped          0

held for (pictures)   frames
         1         50  ##############################
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with a short clip in it."""
    place = tmp_path_factory.mktemp("read")
    clip = Clip(BarsMotion(F(200), F(160), F(80)), F(25), F(1, 50), 640, 360, 50)
    with VideoWriter(VideoSpec(place / "bars-25.mp4", 640, 360, F(25), frames=50)) as writer:
        for frame in frames(clip):
            writer.write(frame)
    return place


def test_the_text_of_a_clip_to_the_letter(folder: Path) -> None:
    done = run("read", "bars-25.mp4", cwd=folder)
    assert done.returncode == 0, done.stderr
    assert done.stdout == GOLDEN
    assert not done.stderr


def test_json_csv_and_picture(folder: Path) -> None:
    done = run(
        "read", "bars-25.mp4", "--json", "--csv", "holds.csv", "--picture", "holds.png", cwd=folder
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["schema"] == "evenhold/reading 1"
    assert len((folder / "holds.csv").read_text(encoding="utf-8").splitlines()) == 51
    with Image.open(folder / "holds.png") as picture:
        assert picture.size == (1920, 600)
    two = run("read", "bars-25.mp4", "bars-25.mp4", "--json", cwd=folder)
    assert [entry["kind"] for entry in json.loads(two.stdout)] == ["clip", "clip"]


def bad_files(place: Path) -> dict[str, str]:
    """Name of each bad file and what is said of it."""
    (place / "text.mp4").write_text("this is no film\n" * 50, encoding="utf-8")
    (place / "zero.mp4").write_bytes(b"")
    (place / "zero.jpg").write_bytes(b"")
    (place / "noise.mov").write_bytes(np.random.default_rng(1).bytes(50_000))
    (place / "text.png").write_text("no picture", encoding="utf-8")
    Image.new("1", (20_000, 20_000)).save(place / "giant.png")
    Image.new("L", (64, 64)).save(place / "whole.png")
    data = (place / "whole.png").read_bytes()
    (place / "cut.png").write_bytes(data[:60])
    return {
        "text.mp4": "cannot be read as video",
        "zero.mp4": "is empty",
        "zero.jpg": "is empty",
        "noise.mov": "cannot be read as video",
        "text.png": "cannot be read as video",
        "giant.png": "too many pixels",
        "cut.png": "damaged picture",
        "nothing.mp4": "does not exist",
        ".": "is a folder",
    }


def test_bad_files_are_one_line_each_and_exit_1(tmp_path: Path) -> None:
    said = bad_files(tmp_path)
    done = run("read", *said, cwd=tmp_path)
    assert done.returncode == 1
    lines = done.stderr.splitlines()
    assert len(lines) == len(said)
    for line, (name, words) in zip(lines, said.items(), strict=True):
        assert line.startswith(f"evenhold: {name} ")
        assert words in line
    assert not done.stdout


def test_thousands_of_streams_are_no_harm(tmp_path: Path) -> None:
    words = ["-f", "lavfi", "-i", "color=s=64x64:r=10:d=0.3"]
    maps = ["-map", "0:v"] * 400
    subprocess.run(
        [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", *words, *maps, "-c:v", "rawvideo",
         "many.mkv"],
        cwd=tmp_path, check=True,
    )  # fmt: skip
    done = run("read", "many.mkv", cwd=tmp_path)
    assert len((done.stdout or done.stderr).splitlines()) >= 1
    if done.returncode:
        assert done.returncode == 1
        assert len(done.stderr.splitlines()) == 1
    else:
        assert "too short" in done.stdout


def test_a_photo_without_a_strip_says_so(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    Image.fromarray(rng.integers(0, 255, (400, 600, 3), np.uint8)).save(tmp_path / "lake.jpg")
    done = run("read", "lake.jpg", cwd=tmp_path)
    assert done.returncode == 0
    assert "nothing was read" in done.stdout
    assert "600 pixels along" in " ".join(done.stdout.split())


def test_wrong_use_is_exit_2(folder: Path) -> None:
    Image.new("L", (64, 64)).save(folder / "still.png")
    for words, said in (
        (("bars-25.mp4", "--display", "quick"), "is not a display"),
        (("bars-25.mp4", "--exposure", "0"), "leaves no light"),
        (("still.png", "--as", "clip"), "is a still picture"),
        (("bars-25.mp4", "--picture", "x.bmp"), "neither .png nor .svg"),
    ):
        done = run("read", *words, cwd=folder)
        assert done.returncode == 2, done.stderr
        assert said in done.stderr
        assert len(done.stderr.splitlines()) == 1


@linux
def test_stopping_leaves_no_decoder_behind(tmp_path: Path) -> None:
    subprocess.run(
        [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-f", "lavfi", "-i",
         "testsrc2=s=640x360:r=60:d=10", "-c:v", "libx264", "-preset", "ultrafast", "long.mp4"],
        cwd=tmp_path, check=True,
    )  # fmt: skip
    process = start("read", str(tmp_path / "long.mp4"), "--as", "recording", cwd=tmp_path)
    own = process.pid
    deadline = time.monotonic() + 60
    found: set[int] = set()  # one that looks what the file is has ended a moment later
    while time.monotonic() < deadline and not found:
        found = set(encoders_in(tmp_path)) - {own}
        time.sleep(0.02)
    assert found
    os.kill(own, signal.SIGINT)
    process.communicate(timeout=60)
    assert process.returncode == 130
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and encoders_in(tmp_path):
        time.sleep(0.1)
    assert not encoders_in(tmp_path)


@pytest.mark.parametrize(
    "words",
    [("read", "--csv", "t.csv"), ("read", "--picture", "t.png"), ("check", "--picture", "t.png")],
)
def test_two_files_of_one_name_are_not_written_over_each_other(
    folder: Path, tmp_path: Path, words: tuple[str, ...]
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    for place in (tmp_path, other):
        (place / "bars-25.mp4").write_bytes((folder / "bars-25.mp4").read_bytes())
    done = run(words[0], "bars-25.mp4", "other/bars-25.mp4", *words[1:], "--force", cwd=tmp_path)
    assert done.returncode == 2
    assert "would both be written to t-bars-25." in done.stderr
    assert done.stdout == ""
    assert not list(tmp_path.glob("t*"))
