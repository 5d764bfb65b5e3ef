"""`evenhold compare` as a person runs it."""

from __future__ import annotations

import json
from fractions import Fraction as F
from pathlib import Path

from patterns.reading.reading import to_json
from patterns.reading.recording import judge_recording
from tests.cli.running import run
from tests.reading.screen import Screen, film, play


def kept(path: Path, refresh_hz: int) -> Path:
    screen = Screen(F(24), F(refresh_hz), 5)
    reading = judge_recording(film(play(screen), screen, 480, seed=1), file=f"{path.stem}.mov")
    path.write_text(json.dumps(to_json(reading)), encoding="utf-8")
    return path


def test_two_readings_make_a_table_and_a_page(tmp_path: Path) -> None:
    kept(tmp_path / "tablet.json", 60)
    kept(tmp_path / "tv.json", 50)
    done = run(
        "compare", "tablet.json", "tv.json", "--label", "Tablet", "--label", "TV",
        "--html", "page.html", cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0].startswith("Best: Tablet. Worst: TV, timing error ")
    assert lines[2].split()[:3] == ["device", "clip", "cadence"]
    assert "Tablet" in lines[3]
    assert (tmp_path / "page.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    again = run("compare", "tablet.json", "tv.json", "--html", "page.html", cwd=tmp_path)
    assert again.returncode == 2
    assert "exists: give --force" in again.stderr


def test_mistakes_are_one_line(tmp_path: Path) -> None:
    kept(tmp_path / "tablet.json", 60)
    (tmp_path / "other.json").write_text('{"schema": "evenhold/clip 1"}', encoding="utf-8")
    (tmp_path / "broken.json").write_text('{"schema": ', encoding="utf-8")
    (tmp_path / "notes.txt").write_text("Tarn Hollow, second day\n", encoding="utf-8")
    for words, code, said in (
        (("tablet.json",), 2, "two readings or more"),
        (("tablet.json", "tablet.json", "--label", "A"), 2, "1 labels for 2 readings"),
        (("tablet.json", "other.json"), 1, "is not a reading"),
        (("tablet.json", "broken.json"), 1, "is not JSON that can be read"),
        (("tablet.json", "none.json"), 1, "does not exist"),
        (("tablet.json", "notes.txt"), 1, "is text, and neither a reading nor a video"),
    ):
        done = run("compare", *words, cwd=tmp_path)
        assert done.returncode == code, done.stderr
        assert said in done.stderr
        assert len(done.stderr.splitlines()) == 1
        assert not done.stdout
