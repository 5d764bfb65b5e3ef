"""The presentation as a folder: its pages, its notes and what they promise."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path
from typing import Any

import pytest

from patterns.errors import RequestError
from patterns.present.speaker_notes import clip_notes, conform_notes, eye_notes, space_time_notes
from patterns.present.split_clip import SplitClip
from patterns.present.talk import SCHEMA, make_talk, planned_items
from patterns.present.talk_pages import index_page, notes_page, talk_text
from patterns.present.talk_request import TalkRequest
from patterns.timing.cadence import Display, parse_display


def request_for(folder: Path, **other: Any) -> TalkRequest:
    small = TalkRequest(folder, width=720, height=404, seconds=F(1, 2))
    return replace(small, **other)


def test_notes_are_made_from_the_numbers() -> None:
    request = TalkRequest(Path("talk"))
    said = " ".join(clip_notes(request, request.split()).say)
    # 24 on 60: holds of 3 and 2 refreshes are 50 and 33.3 ms, the span half a refresh.
    assert "50 and 33.3 ms" in said
    assert "8.3 ms off" in said
    spec = request.split()
    width, cross_s = spec.areas[0].picture.width, spec.scene.value
    assert f"shakes by {float(width / cross_s / 120):.1f} px" in said  # 1/120 s off
    # 7 s across at 24: American Cinematographer Manual, as quoted by Chapiro et al. 2019.
    assert f"{float(7 / cross_s):.1f} times as fast as the guidance for pans" in said
    slow = clip_notes(request, request.split(slow=4))
    assert "At 24: 1 2 3, 1 2, 1 2 3, 1 2." in slow.say
    assert "At 30: 1 2, 1 2, 1 2, 1 2." in slow.say


def test_notes_of_stills_name_the_model_and_its_numbers() -> None:
    request = TalkRequest(Path("talk"))
    said = " ".join(eye_notes(request).say)
    speed = request.split().fastest_px_s
    # Denes et al. 2020, eq. 4: speed over rate; and 1/120 s of timing error. The plate goes
    # at a quarter of the clip's speed, the space-time diagram at the clip's own.
    blur, double = speed / 4 / 24, speed / 4 / 120
    assert f"smeared over {blur:.1f} px, with edges doubled {double:.1f} px apart" in said
    assert "At 60 a sharp edge" in said  # for contrast, though nobody asked for it
    assert "Denes et al. 2020" in said
    assert f"at the clip's {speed:.0f} px/s" in " ".join(space_time_notes(request).say)
    assert f"{speed / 120:.1f} px" in " ".join(space_time_notes(request).say)


SHAKES = [
    ((24, 30), 60, F(1, 120)),  # spans of the timing error, reckoned by hand
    ((24, 25, 30, 60), 60, F(1, 75)),
    ((25, 50), 60, F(1, 75)),
]


@pytest.mark.parametrize(("rates", "refresh_hz", "span_s"), SHAKES)
@pytest.mark.parametrize("pattern", ["bars", "terrain", "orbit"])
def test_the_worst_panel_shakes_by_four_pixels(
    rates: tuple[int, ...], refresh_hz: int, span_s: F, pattern: str
) -> None:
    request = TalkRequest(
        Path("talk"), rates=tuple(map(F, rates)), display=Display.fixed(refresh_hz)
    )
    for layout in (None, "line") if len(rates) == 2 else (None,):
        spec = request.split(pattern=pattern, layout=layout)
        assert 4 <= spec.fastest_px_s * float(span_s) <= 6
        assert spec.times_guidance > 1
    slow = request.split(pattern=pattern, slow=4, seconds=F(2))
    assert slow.scene == request.split(pattern=pattern).scene  # the same, only slowed


def test_a_speed_that_is_given_is_kept() -> None:
    request = TalkRequest(Path("talk"), paces={"bars": F(9)})
    spec = request.split()
    assert spec.scene.value == 9
    assert spec.times_guidance < 1
    assert "guidance" not in " ".join(clip_notes(request, spec).say)


def test_default_bars_close_their_loop() -> None:
    request = TalkRequest(Path("talk"))
    spec = request.split()
    assert (request.seconds / spec.scene.period_s).denominator == 1
    clip = SplitClip(replace(spec, width=960, height=540))
    first, after = clip.draw(0).y.copy(), clip.draw(spec.refreshes).y
    for areas in clip.areas:
        rows = slice(areas.picture.top, areas.picture.bottom)
        columns = slice(areas.picture.left, areas.picture.right)
        assert (first[rows, columns] == after[rows, columns]).all()


@pytest.mark.parametrize(
    ("footage", "timeline", "words"),
    [(24, 30, ["one frame in 4 shown twice", "80 % of the frames", "125 %"]),
     (50, 25, ["left out", "50 %", "200 %"]), (25, 24, ["left out", "96 %"])],
)  # fmt: skip
def test_notes_of_the_conform_demonstration(footage: int, timeline: int, words: list[str]) -> None:
    request = TalkRequest(Path("talk"), footage=F(footage), timeline=F(timeline))
    said = " ".join(conform_notes(request).say)
    for word in words:
        assert word in said


def test_stills_and_page_are_written_whole_and_listed(tmp_path: Path) -> None:
    data = make_talk(request_for(tmp_path / "talk"), ["demo", "stills"])
    names = [name for item in data["items"] for name in item["files"]]
    assert sorted(p.name for p in (tmp_path / "talk").iterdir()) == sorted(names)
    assert names == ["hold-chart.png", "hold-chart.svg", "space-time.png", "space-time.svg",
                     "tracked-eye.png", "demo.html"]  # fmt: skip
    assert data["schema"] == SCHEMA
    for item in data["items"]:
        files = [tmp_path / "talk" / name for name in item["files"]]
        assert item["bytes"] == sum(f.stat().st_size for f in files)
    assert "tracked-eye.png" in talk_text(data, tmp_path, whole=False)


def test_what_stands_in_the_way_is_said_before_anything_is_drawn(tmp_path: Path) -> None:
    (tmp_path / "tracked-eye.png").write_text("mine")
    with pytest.raises(RequestError, match=r"tracked-eye\.png exists"):
        make_talk(request_for(tmp_path), ["stills"])
    assert [p.name for p in tmp_path.iterdir()] == ["tracked-eye.png"]
    make_talk(request_for(tmp_path, force=True), ["stills"])


def made_up(**facts: Any) -> dict[str, Any]:
    item = {
        "kind": "clip", "files": ["split.mp4", "split.jpg"], "bytes": 1, "title": "Two rates",
        "look": "Here.", "say": ["This."], "refresh_hz": 60.0, "slow": 1, "seconds": 8.0,
        "panels": [],
        "safety": {"verdict": "pass", "summary": "passes"},
    }  # fmt: skip
    return {"title": "24 and 30", "display": "60", "items": [item | facts]}


def test_what_exceeds_a_limit_is_marked_on_both_pages() -> None:
    fine, bad = made_up(), made_up(safety={"verdict": "exceeds", "summary": "EXCEEDS 1 limit(s)"})
    for page in (index_page, notes_page):
        assert "Exceeds a limit" not in page(fine)
        assert "EXCEEDS 1 limit(s)" in page(bad)


def test_words_from_outside_are_escaped() -> None:
    assert "<b>" not in index_page(made_up(title="<b>bold</b>"))


@pytest.mark.parametrize(
    ("rates", "display", "words"),
    [((F(24),), "60", "two to four"), ((F(24), F(24)), "60", "different"),
     ((F(24), F(30)), "48-120", "single number")],
)  # fmt: skip
def test_what_cannot_be_compared_is_refused(rates: tuple[F, ...], display: str, words: str) -> None:
    with pytest.raises(RequestError, match=words):
        TalkRequest(Path("talk"), rates=rates, display=parse_display(display))


@pytest.mark.parametrize("count", [2, 3, 4])
@pytest.mark.parametrize("refresh_hz", [50, 60, 120, 144])
def test_a_whole_talk_can_be_planned_for_common_displays(count: int, refresh_hz: int) -> None:
    rates = (F(24), F(25), F(30), F(60))[:count]
    request = TalkRequest(Path("talk"), rates=rates, display=Display.fixed(refresh_hz))
    items = planned_items(request)
    assert len({name for item in items for name in item.files}) >= len(items)
