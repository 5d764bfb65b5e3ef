"""`evenhold cadence` as a person at a terminal meets it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image

from patterns.cli import main


def test_one_pair_is_told_in_full(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["cadence", "24", "--display", "60"]) == 0
    out = capsys.readouterr().out
    for line in ("cadence         3:2\n", "2 frames, 83.3 ms", "4.17 ms RMS (8.33 ms from"):
        assert line in out
    assert "steady moves judder" in " ".join(out.split())


def test_several_make_a_grid_within_80_columns(capsys: pytest.CaptureFixture[str]) -> None:
    rates = ["23.976", "24", "25", "29.97", "30", "48", "50", "59.94", "60", "120"]
    displays = ["50", "59.94", "60", "75", "90", "120", "144", "48-120", "240"]
    options = [word for hertz in displays for word in ("--display", hertz)]
    assert main(["cadence", *rates, *options]) == 0
    out = capsys.readouterr().out
    assert max(map(len, out.splitlines())) < 80
    assert all(f"{hertz} Hz" in out for hertz in displays)
    assert sum(line.startswith("23.976 ") for line in out.splitlines()) > 1  # several blocks


def test_json_has_an_object_for_each_pair(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["cadence", "24", "23.976", "--display", "60", "--json"]) == 0
    film, ntsc = json.loads(capsys.readouterr().out)
    assert film["schema"] == "evenhold/cadence 1"
    assert (film["rate_exact"], film["display"], film["holds"]) == ("24", "60", [3, 2])
    assert (film["beat_hz"], film["odd_holds_per_second"], film["even"]) == (12, 12, False)
    assert film["timing_error_span_ms"] == pytest.approx(1000 / 120)
    assert ntsc["rate_exact"] == "24000/1001"
    assert ntsc["holds"]["complete"] is True
    assert sum(frames for _, frames in ntsc["holds"]["runs"]) == ntsc["period_frames"] == 400
    assert sum(hold * frames for hold, frames in ntsc["holds"]["runs"]) == 1001


def test_json_of_a_huge_period_says_that_it_is_cut(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["cadence", "23.976", "--display", "59.95", "--json"]) == 0
    (found,) = json.loads(capsys.readouterr().out)
    assert found["holds"]["complete"] is False
    assert found["period_frames"] == found["holds"]["period_frames"] == 480_000


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "RATE... is missing"),
        (["0"], "outside 0.1 to 480"),
        (["-24"], "-2"),
        (["nan"], "is not a rate"),
        (["24/0"], "is not a rate"),
        (["24", "--display", "0"], "outside 0.1 to 1000"),
        (["24", "--display", "120-48"], "give the lower refresh first"),
        (["24", "--picture", "holds.gif"], "neither .png nor .svg"),
        (["24", "--scheme", "red"], "light"),
        (["24", "25", "30", "50", "60", "--picture", "holds.png"], "takes 1 to 12"),
    ],
)
def test_bad_input_gets_one_line_and_exit_2(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["cadence", *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert words in err
    assert err.count("\n") == 1


@pytest.mark.parametrize("name", ["holds.png", "holds.svg"])
def test_a_picture_is_replaced_only_by_force(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / name
    path.write_text("mine")
    assert main(["cadence", "24", "--display", "60", "--picture", str(path)]) == 2
    assert "--force" in capsys.readouterr().err
    assert path.read_text() == "mine"
    assert main(["cadence", "24", "--display", "60", "--picture", str(path), "--force"]) == 0
    assert path.stat().st_size > 1000
    assert list(tmp_path.iterdir()) == [path]


def test_a_missing_folder_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "nowhere" / "holds.png"
    assert main(["cadence", "24", "--picture", str(path)]) == 2
    assert "does not exist" in capsys.readouterr().err


def test_the_default_picture_is_a_slide(tmp_path: Path) -> None:
    path = tmp_path / "holds.png"
    assert main(["cadence", "24", "--picture", str(path), "--scheme", "dark"]) == 0
    with Image.open(path) as image:
        assert image.size == (1920, 1080)
