"""`evenhold present` as a person runs it."""

from __future__ import annotations

import json
from fractions import Fraction as F
from itertools import groupby
from pathlib import Path

import pytest

from patterns.present.talk_request import TalkRequest
from patterns.strip.read import StripReading, read_strip
from patterns.video.reader import read_luma
from tests.cli.running import run

SMALL = ("--size", "540p", "--seconds", "0.5")


def test_without_more_it_makes_the_split_clip(tmp_path: Path) -> None:
    done = run("present", *SMALL, "--strip", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    path = tmp_path / "outputs/talk/split-bars-24-30-on-60hz.mp4"
    assert [p.name for p in path.parent.iterdir()] == [path.name]
    assert "24 and 30 frames a second on a 60 Hz screen" in done.stdout
    assert "safety: passes" in done.stdout
    spec = TalkRequest(path.parent, width=960, height=540).split()
    for areas, holds in zip(spec.areas, ([3, 2] * 6, [2] * 15), strict=True):
        area, numbers, near = areas.picture, [], None
        for _, luma in read_luma(path):
            reading = read_strip(luma[area.top : area.bottom, area.left : area.right], near=near)
            assert isinstance(reading, StripReading)
            near = reading.placement
            numbers.append(reading.number)
        assert [len(list(group)) for _, group in groupby(numbers)] == holds


def test_json_says_what_was_made(tmp_path: Path) -> None:
    words = ("--rates", "24,25", "--display", "50", "--slow", "2", "--layout", "line")
    done = run("present", *SMALL, *words, "--out", "talk", "--json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    assert data["schema"] == "evenhold/present 1"
    (item,) = data["items"]
    assert item["files"] == ["split-bars-24-25-on-50hz-line-slow2.mp4"]
    assert (item["slow"], item["seconds"], item["refresh_hz"]) == (2, 1.0, 50.0)
    assert item["panels"] == ["24 fps: uneven", "25 fps: even"]
    assert item["safety"]["verdict"] == "pass"
    times = [time for time, _ in read_luma(tmp_path / "talk" / item["files"][0])]
    assert times == [F(n, 50) for n in range(50)]


def test_parts_by_name(tmp_path: Path) -> None:
    done = run("present", "--conform", "--stills", "--html", "--animation", "gif", "--slow", "6",
               "--size", "540p", "--seconds", "0.2", "--cross", "1", "--out", "talk",
               cwd=tmp_path)  # fmt: skip
    assert done.returncode == 0, done.stderr
    names = {p.name for p in (tmp_path / "talk").iterdir()}
    assert names == {
        "conform-24-in-30-on-60hz-slow6.mp4", "hold-chart.png", "hold-chart.svg",
        "space-time.png", "space-time.svg", "tracked-eye.png", "demo.html",
        "loop-bars-24-30-on-60hz-slow6.gif",
    }  # fmt: skip
    assert "GIF plays each refresh for 100 ms, exactly as it should" in done.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--rates", "24"), "try --rates 24,30"),
        (("--rates", "24,25,30", "--layout", "line"), "two sides"),
        (("--display", "48-120"), "--display 60"),
        (("--animation", "gif"), "slow it at least 3 times"),
        (("--slow", "0"), "outside 1 to 60"),
        (("--shutter", "180", "--exposure", "1/60"), "give one of the two"),
        (("--exposure", "1/20"), "longest allowed is 1/24 s"),
        (("--conform", "--timeline", "24"), "nothing is conformed"),
        (("--cross", "0"), "infinitely fast"),
        (("--size", "640x200"), "too small"),
        (("--pattern", "stars"), "bars"),
    ],
)
def test_a_mistake_is_one_line_and_makes_nothing(
    words: tuple[str, ...], said: str, tmp_path: Path
) -> None:
    done = run("present", *words, cwd=tmp_path)
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert said in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_an_existing_file_is_kept(tmp_path: Path) -> None:
    (tmp_path / "demo.html").write_text("mine")
    done = run("present", "--html", "--out", ".", cwd=tmp_path)
    assert done.returncode == 2
    assert "--force" in done.stderr
    assert (tmp_path / "demo.html").read_text() == "mine"
    assert run("present", "--html", "--out", ".", "--force", cwd=tmp_path).returncode == 0


def test_what_flashes_is_refused_unless_it_is_allowed(tmp_path: Path) -> None:
    words = ("present", *SMALL, "--cross", "0.2", "--out", "talk")
    done = run(*words, cwd=tmp_path)
    assert done.returncode == 2
    assert "--allow-flashing" in done.stderr
    assert list((tmp_path / "talk").iterdir()) == []
    allowed = run(*words, "--allow-flashing", cwd=tmp_path)
    assert allowed.returncode == 0
    assert "warning: split-bars" in allowed.stderr
    assert "EXCEEDS" in allowed.stdout


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "talk").write_text("a file")
    done = run("present", "--html", "--out", "talk", cwd=tmp_path)
    assert done.returncode in (1, 2)
    assert len(done.stderr.splitlines()) == 1
