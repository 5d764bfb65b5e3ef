"""`evenhold conform` as a user meets it: text, JSON, names, refusals, exit codes."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import pytest

from patterns.cli import main
from patterns.conform.movie import Piece, pieces_of
from patterns.conform.track import Track
from tests.conform.footage import ffmpeg, see, shoot


@pytest.fixture(scope="module")
def shot(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return shoot(tmp_path_factory.mktemp("card") / "tarn-orbit.mp4", seconds=1)


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def printed(capsys: pytest.CaptureFixture[str], *words: object, code: int = 0) -> tuple[str, str]:
    assert main(["conform", *map(str, words)]) == code
    return capsys.readouterr()


def test_it_says_what_was_and_what_is(shot: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out, err = printed(capsys, shot, "--to", "30")
    assert not err
    assert out.splitlines()[:7] == [
        str(Path("outputs/tarn-orbit-30fps.mp4")),
        "  rate      24 -> 30 fps",
        "  length    1 -> 0.8 s, 24 frames",
        "  speed     125 %: everything in the picture moves faster",
        "  on  60 Hz 3:2 -> even 2",
        "  on 120 Hz even 5 -> even 4",
        # 7 s at 24, in proportion at 30: see tests/timing/test_panning.py
        "  guidance  7 -> 5.6 s to cross at least: a move that kept to that still does",
    ]
    assert see(Path("outputs/tarn-orbit-30fps.mp4")).times[-1] == Fraction(23, 30)


@pytest.mark.parametrize("words", [(), ("--to",)])
def test_without_a_rate_it_proposes_and_writes_nothing(
    words: tuple[str, ...], shot: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """30 and 60 divide 60 and 120: nearest first, 30/24 is 125 %."""
    out, _ = printed(capsys, shot, *words)
    lines = out.splitlines()
    assert len(lines) == 3
    assert "30  even on 60 and 120 Hz, at 125 % of the speed: faster" in lines[1]
    assert "60  even on 60 and 120 Hz, at 250 % of the speed" in lines[2]
    assert not list(folder.iterdir())


@pytest.mark.parametrize(
    ("displays", "rates"),
    [
        (["50"], ["25", "50"]),
        (["120"], ["24", "30", "60"]),
        (["50", "60"], ["25", "30", "50", "60"]),
    ],
)
def test_proposals_follow_the_displays(
    displays: list[str], rates: list[str], shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = [word for display in displays for word in ("--display", display)]
    found = json.loads(printed(capsys, shot, "--json", *asked)[0])
    assert [p["rate_exact"] for p in found["proposals"]] == rates
    assert found["written"] is None
    assert found["before"]["rate"] == 24


def test_json_says_the_same(shot: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = json.loads(printed(capsys, shot, "--to", "29.97", "--json", "--out", "even.mp4")[0])
    assert found["schema"] == "evenhold/conform 1"
    assert found["written"] == "even.mp4"
    assert found["after"]["rate_exact"] == "30000/1001"
    assert found["speed_exact"] == str(Fraction(30000, 1001) / 24)
    assert found["before"]["cadence"] == {"60": "3:2", "120": "even 5"}
    assert found["sound"] == "keep-pitch"


def test_nothing_is_replaced_unasked_and_never_the_original(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = shot.read_bytes()
    printed(capsys, shot, "--to", "30")
    _, err = printed(capsys, shot, "--to", "30", code=2)
    assert "exists: give --force" in err
    printed(capsys, shot, "--to", "30", "--force")
    _, err = printed(capsys, shot, "--to", "30", "--force", "--out", shot, code=2)
    assert "is the original" in err
    assert shot.read_bytes() == before


def test_several_files_go_into_a_folder_and_one_that_fails_stops_no_other(
    shot: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    second = folder / "dam.mov"
    ffmpeg("-i", shot, "-c", "copy", second)
    bad = folder / "bad.mp4"
    bad.write_bytes(shot.read_bytes()[:5000])
    out, err = printed(capsys, shot, bad, second, "--to", "30", "--out", "made", code=1)
    made = {path.name for path in (folder / "made").iterdir()}
    assert made == {"tarn-orbit-30fps.mp4", "dam-30fps.mov"}
    assert out.count("24 -> 30 fps") == 2
    assert err.count("\n") == 1
    assert "bad.mp4" in err


def test_one_result_never_takes_the_place_of_another_or_of_an_original(
    shot: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two cameras count their files alike; a result of an earlier run is given as a source too."""
    other = folder / "second camera" / shot.name
    other.parent.mkdir()
    shoot(other, seconds=0.5)
    out, err = printed(capsys, shot, other, "--to", "30", "--force", code=2)
    assert f"{shot} and {other} would both be written to " in err
    assert len(see(Path("outputs/tarn-orbit-30fps.mp4")).times) == 24
    assert out.count("24 -> 30 fps") == 1
    earlier = shoot(other.with_name("tarn-orbit-30fps.mp4"), seconds=0.5)
    before = earlier.read_bytes()
    words = (other, earlier, "--to", "30", "--force", "--out", other.parent)
    _, err = printed(capsys, *words, code=2)
    assert "which is an original" in err
    assert earlier.read_bytes() == before


NAMES = ["tarn hollow.mp4", "100% off %d.mp4", "-tarn.mp4", "Übersicht 水.mp4", "tarn; 'dam'.mp4"]


def test_any_name_of_a_file_serves(
    shot: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in NAMES:
        (folder / name).write_bytes(shot.read_bytes())
    printed(capsys, "--to", "30", "--keep-repeats", "--sound", "with-speed", "--", *NAMES)
    made = {path.name for path in (folder / "outputs").iterdir()}
    assert made == {name.replace(".mp4", "-30fps.mp4") for name in NAMES}


def test_a_source_that_grows_meanwhile_is_refused(
    shot: Path, folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """As one that is still copied from a card: its index may be there before its samples."""
    source = folder / "tarn.mp4"
    source.write_bytes(shot.read_bytes())

    def grows(track: Track, path: Path) -> list[Piece]:
        with source.open("ab") as file:
            file.write(b"\0\0\0\x08free")
        return pieces_of(track, path)

    monkeypatch.setattr("patterns.conform.conform.pieces_of", grows)
    _, err = printed(capsys, source, "--to", "30", code=1)
    assert "changed while it was read" in err
    assert not list((folder / "outputs").iterdir())


def test_ctrl_c_while_it_writes_leaves_nothing(
    shot: Path, folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("patterns.conform.movie._copy", stopped)
    _, err = printed(capsys, shot, "--to", "30", code=130)
    assert err.strip() == "evenhold: stopped"
    assert not list((folder / "outputs").iterdir())


def test_mistakes_are_one_line(
    shot: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cases: list[tuple[tuple[object, ...], int, str]] = [
        ((folder / "none.mp4", "--to", "30"), 1, "does not exist"),
        ((shot, "--to", "fast"), 2, "rate 'fast' is not a rate"),
        ((shot, "--to", "30", "--sound", "loud"), 2, "allowed are drop, keep-pitch, with-speed"),
        ((shot, "--to", "24"), 2, "plays at 24 fps already"),
        ((shot, "--to", "30", "--out", "no/where.mp4"), 2, "does not exist"),
        ((shot, shot, "--to", "30", "--out", "one.mp4"), 2, "names one file, and 2 are given"),
        ((shot, "--to", "30", "--out", "one.avi"), 2, "a result is named .mp4, .m4v, .mov, .qt"),
    ]
    for words, code, said in cases:
        _, err = printed(capsys, *words, code=code)
        assert said in err
        assert err.count("\n") == 1
