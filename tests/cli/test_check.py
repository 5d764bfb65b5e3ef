"""`evenhold check` as a user meets it: text, JSON, pictures, exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image

from patterns.cli import main
from tests.safety.sequences import flat


@pytest.fixture
def calm(tmp_path: Path) -> Path:
    """A still of the calm reservoir: one grey."""
    Image.fromarray(flat(90)).save(tmp_path / "calm.png")
    return tmp_path / "calm.png"


@pytest.fixture
def flashing(tmp_path: Path) -> Path:
    """Five flashes a second."""
    first, second = (Image.fromarray(flat(code)) for code in (0, 255))
    path = tmp_path / "beacon.gif"
    first.save(path, save_all=True, append_images=[second], duration=100, loop=0)
    return path


def test_what_passes(calm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(calm)]) == 0
    out, err = capsys.readouterr()
    assert out.splitlines()[0] == (f"{calm}: passes: no limit on flashes or stripes is exceeded")
    assert "An aid, not a certificate" in out
    assert not err


def test_what_exceeds_a_limit_has_exit_code_3(
    calm: Path, flashing: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(calm), str(flashing)]) == 3
    out = capsys.readouterr().out
    assert f"{flashing}: EXCEEDS 2 limit(s): WCAG 2.2 general flashes" in out
    assert "5.0 of 3, area 100.0% of 25.0%" in out
    assert out.count("An aid, not a certificate") == 2


def test_a_file_that_cannot_be_read_comes_before_a_limit(flashing: Path, tmp_path: Path) -> None:
    broken = tmp_path / "broken.gif"
    broken.write_bytes(b"GIF89a")
    assert main(["check", str(flashing), str(broken)]) == 1
    assert main(["check", str(broken), str(flashing)]) == 1


def test_json_is_a_list_of_reports(
    calm: Path, flashing: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "--json", str(calm), str(flashing)]) == 3
    still, animation = json.loads(capsys.readouterr().out)
    assert still["schema"] == animation["schema"] == "evenhold/safety 2"
    assert (still["verdict"], animation["verdict"]) == ("pass", "exceeds")
    assert still["method"] == "still"
    assert animation["viewing"] == {"peak_cd_m2": 200.0, "distance_heights": 3.0}
    worst = next(f for f in animation["flashes"] if f["criterion"].startswith("ITU"))
    assert worst["flashes_per_second"] == 5
    assert worst["flashes_margin"] == -2
    assert worst["area_margin"] == -0.75
    assert worst["times_s"]
    assert "not a certificate" in animation["disclaimer"]


def test_viewing_can_be_set(calm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--peak", "100", "--distance", "2.5", str(calm)]) == 0
    assert "peak white 100 cd/m2, seen from 2.5 picture heights" in capsys.readouterr().out


def test_a_picture_for_each_file(
    calm: Path, flashing: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "worst.png"
    assert main(["check", str(calm), str(flashing), "--picture", str(target)]) == 3
    assert (tmp_path / "worst-beacon.png").is_file()
    assert not target.exists()
    assert "no picture" in capsys.readouterr().err
    assert main(["check", str(flashing), "--picture", str(target)]) == 3
    assert target.is_file()
    assert main(["check", str(flashing), "--picture", str(target)]) == 2
    assert "--force" in capsys.readouterr().err
    assert main(["check", str(flashing), "--picture", str(target), "--force"]) == 3


def test_an_unreadable_file_does_not_stop_the_others(
    calm: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "notes.txt").write_text("Tarn Hollow, day 2")
    assert main(["check", str(tmp_path / "notes.txt"), str(calm)]) == 1
    out, err = capsys.readouterr()
    assert "calm.png: passes" in out
    assert len(err.splitlines()) == 1


@pytest.mark.parametrize(
    "arguments",
    [[], ["x.mp4", "--peak", "0"], ["x.mp4", "--distance", "99"], ["--picture", "a.jpg", "x.mp4"]],
)
def test_wrong_use_is_one_line(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", *arguments]) == 2
    out, err = capsys.readouterr()
    assert not out
    assert len(err.splitlines()) == 1


def test_help_documents_the_exit_codes(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--help"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "3 a file exceeds a limit" in text
    assert "An aid, not a certificate" in text
