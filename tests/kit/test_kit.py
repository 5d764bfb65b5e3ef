"""The kit: whole, resumable, and readable without a network."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from html.parser import HTMLParser
from pathlib import Path

import pytest

from patterns.clip import Clip
from patterns.errors import RequestError
from patterns.kit.kit import kit_clips, make_kit
from patterns.scenes.bars.pattern import BARS
from patterns.scenes.orbit.motion import OrbitMotion
from patterns.scenes.terrain.motion import TerrainMotion
from patterns.timing.cadence import Display

DISPLAYS = (Display.fixed(60), Display(Fraction(48), Fraction(120)))


def clips_at(*rates: int) -> tuple[Clip, ...]:
    motions = (BARS.motion(320, 180), TerrainMotion(), OrbitMotion())
    return kit_clips(motions, map(Fraction, rates), size=(320, 180), seconds=Fraction(1, 2))


class Links(HTMLParser):
    """Collects what a page refers to."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, _: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [v for k, v in attrs if k in ("src", "href", "poster") and v]


def test_a_kit_is_whole_and_a_second_run_makes_only_what_changed(tmp_path: Path) -> None:
    folder = tmp_path / "kit"
    # a second rate of one pattern is enough: which is made anew is asked clip by clip
    clips = [c for c in clips_at(24, 30) if c.pattern == "bars" or c.rate == 24]
    first = make_kit(folder, clips, DISPLAYS)
    assert len(first["made"]) == 4
    kit = json.loads((folder / "kit.json").read_text())
    assert kit["schema"] == "evenhold/kit 1"
    assert [group["pattern"] for group in kit["patterns"]] == ["bars", "terrain", "orbit"]
    for page in ("index.html", "crib-sheet.html", "how-to-film.html"):
        links = Links()
        links.feed((folder / page).read_text())
        for link in links.found:
            assert link.startswith("#") or (folder / link).is_file(), link
        assert page != "index.html" or "how-to-film.html" in links.found

    before = {p.name: p.stat().st_mtime_ns for p in folder.glob("*.mp4")}
    (folder / "evenhold-bars-30fps.mp4").write_bytes(b"damaged")
    (folder / "evenhold-orbit-24fps.mp4").unlink()
    again = make_kit(folder, clips, DISPLAYS)
    assert sorted(again["made"]) == ["evenhold-bars-30fps.mp4", "evenhold-orbit-24fps.mp4"]
    after = {p.name: p.stat().st_mtime_ns for p in folder.glob("*.mp4")}
    kept = set(before) - set(again["made"])
    assert {name: after[name] for name in kept} == {name: before[name] for name in kept}


def test_a_kit_of_smaller_files_is_another_one(tmp_path: Path) -> None:
    (clip,) = (c for c in clips_at(24) if c.pattern == "terrain")
    file = tmp_path / "evenhold-terrain-24fps.mp4"
    make_kit(tmp_path, [clip])
    before = file.stat().st_size
    small = [replace(clip, small=True)]
    assert make_kit(tmp_path, small)["made"] == [file.name]
    assert file.stat().st_size < 0.95 * before
    assert make_kit(tmp_path, small)["made"] == []


def test_motion_is_the_same_at_every_rate() -> None:
    for pattern in ("bars", "terrain", "orbit"):
        motions = {clip.motion for clip in clips_at(24, 60) if clip.pattern == pattern}
        assert len(motions) == 1


def test_names_sort_by_pattern_then_rate(tmp_path: Path) -> None:
    motion = BARS.motion(320, 180)
    clips = kit_clips([motion], [Fraction(120), Fraction(24)], size=(320, 180), frames=1)
    made = make_kit(tmp_path, clips)
    names = [clip["file"] for clip in made["patterns"][0]["clips"]]
    assert names[:2] == ["evenhold-bars-024fps.mp4", "evenhold-bars-120fps.mp4"]
    assert sorted(names[:2]) == names[:2]


def test_a_kit_of_nothing_is_refused() -> None:
    with pytest.raises(RequestError, match="at least one rate"):
        clips_at()
