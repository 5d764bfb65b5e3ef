"""Devices beside each other: rankings with reasons, ties, and what cannot be compared."""

from __future__ import annotations

from fractions import Fraction as F
from html.parser import HTMLParser

import pytest

from patterns.errors import RequestError
from patterns.reading.compare import compare, comparison_json, comparison_text
from patterns.reading.compare_page import compare_page
from patterns.reading.reading import Reading
from patterns.reading.recording import judge_recording
from tests.reading.screen import Screen, film, play


def read(refresh_hz: int, *, rate: int = 24, seed: int = 1, seconds: float = 8,
         lost: tuple[int, ...] = ()) -> Reading:  # fmt: skip
    screen = Screen(F(rate), F(refresh_hz), seconds, lost=frozenset(lost))
    return judge_recording(film(play(screen), screen, 480, seed=seed, jitter=0.1), file="x.mov")


def test_the_more_even_display_comes_first_with_its_reason() -> None:
    found = compare([("Tablet", read(60)), ("Projector", read(120))])
    ((clip, standings),) = found.rankings
    assert clip == "24 fps, clip 7a21"
    assert [(s.place, s.entry.label) for s in standings] == [(1, "Projector"), (2, "Tablet")]
    assert not standings[1].tied
    assert "ms more than the one before" in standings[1].reason
    error_ms = standings[1].entry.error_ms
    assert found.verdict == f"Best: Projector. Worst: Tablet, timing error {error_ms:.1f} ms."
    assert [entry.label for entry in found.entries] == ["Projector", "Tablet"]


def test_two_of_a_kind_are_tied() -> None:
    found = compare([("A", read(60)), ("B", read(60, seed=2))])
    ((_, standings),) = found.rankings
    assert [s.place for s in standings] == [1, 1]
    assert standings[1].tied
    assert "counts as equal" in standings[1].reason
    assert found.verdict == "No difference can be shown between A and B."


def test_losses_count_before_evenness() -> None:
    lossy = read(120, lost=tuple(range(20, 180, 12)))
    found = compare([("Lossy", lossy), ("Plain", read(60))])
    ((_, standings),) = found.rankings
    assert standings[0].entry.label == "Plain"
    assert "loses more frames" in standings[1].reason
    assert standings[1].entry.lost == 14
    assert found.verdict == "Best: Plain. Worst: Lossy, lost 14 frames in 8 s."
    assert "14 in 8 s, against none" in standings[1].reason


def test_other_clips_and_short_readings_are_not_ranked() -> None:
    other = read(60)._replace(clip=0x1111)
    short = read(60, seconds=0.8)
    found = compare([("A", read(60)), ("B", other), ("C", short)])
    assert not found.rankings
    assert any("B: no other device was read on 24 fps, clip 1111" in c for c in found.cautions)
    assert any(c.startswith("C on 24 fps") and "24 are needed" in c for c in found.cautions)
    assert found.verdict.startswith("Nothing can be compared")


def test_one_reading_is_no_comparison() -> None:
    with pytest.raises(RequestError, match="two readings or more"):
        compare([("A", read(60))])


def test_text_and_json_hold_the_table() -> None:
    found = compare([("Tablet", read(60)), ("Projector", read(120))])
    text = comparison_text(found)
    assert "Tablet     24 fps, clip 7a21  3:2" in text
    assert "± 0.0" not in text
    assert text.index("Projector ") < text.index("Tablet ")
    data = comparison_json(found)
    assert data["schema"] == "evenhold/comparison 1"
    assert data["devices"][1]["pattern"] == [3, 2]
    assert data["rankings"][0]["standings"][0]["label"] == "Projector"


class Outside(HTMLParser):
    """Collects what a page would fetch."""

    def __init__(self) -> None:
        super().__init__()
        self.fetched: list[str] = []
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.fetched += [v or "" for name, v in attrs if name in ("src", "href")]


def test_the_page_is_self_contained_and_escapes_names() -> None:
    found = compare([("<b>Tablet</b>", read(60)), ("TV & set", read(50))])
    page = compare_page(found)
    outside = Outside()
    outside.feed(page)
    assert not outside.fetched
    assert "script" not in outside.tags
    assert outside.tags.count("svg") == 2  # each reading's timeline
    assert 'fill="var(--short-ink)"' in page  # 3:2: text upon short holds is theirs, not the page's
    assert "default-src 'none'" in page
    assert page.count("@font-face") == 1  # text is as wide as it was reckoned, on any machine
    assert "textLength" not in page
    assert "#" not in page.split("<body>")[1]  # colours are the page's, in light and dark
    assert "<b>Tablet" not in page
    assert "TV &amp; set" in page
