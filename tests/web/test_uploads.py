"""Readings that arrive: whole, counted, slowed, under the server's names."""

from __future__ import annotations

import json
import shutil
import stat
from pathlib import Path

import pytest

from patterns.errors import OutputError
from patterns.web.site import Pace, ReadingShelf, TooManyError
from tests.systems import links, posix
from tests.web.serving import observation, served


def test_a_reading_is_kept_under_a_name_of_the_servers_choosing(kit: Path, tmp_path: Path) -> None:
    kit = Path(shutil.copytree(kit, tmp_path / "fresh", ignore=shutil.ignore_patterns("readings")))
    device = observation()["device"] | {"label": "../../etc/<script>"}
    with served(kit) as site:
        answer = site.post("/readings", observation(device=device))
        again = site.post("/readings", observation())
    assert answer.status == 201
    assert answer.json()["file"] == "browser-0001-evenhold-bars-24fps.json"
    assert again.json()["file"] == "browser-0002-evenhold-bars-24fps.json"
    path = kit / "readings" / answer.json()["file"]
    stored = json.loads(path.read_text())
    assert stored == answer.json()["reading"]
    assert (stored["schema"], stored["kind"]) == ("evenhold/reading 1", "browser")
    assert not [p for p in path.parent.iterdir() if p.name.startswith(".")]


def test_a_summary_keeps_nothing(kit: Path) -> None:
    with served(kit) as site:
        before = ReadingShelf(kit).names()
        assert site.post("/summary", observation()).status == 200
        assert ReadingShelf(kit).names() == before


def test_nothing_sent_reaches_html(kit: Path) -> None:
    mark = "<img src=x onerror=alert(1)>"
    device = observation()["device"] | {"label": mark, "agent": mark}
    with served(kit) as site:
        answer = site.post("/readings", observation(device=device))
        assert answer.headers["content-type"] == "application/json"
        for path in ("/", "/live"):
            assert mark.encode() not in site.ask(site.base + path).body
        refused = site.post("/readings", observation(clip=mark))
        assert refused.status == 400
        assert mark.encode() not in refused.body


def test_an_unknown_clip_is_refused(kit: Path) -> None:
    with served(kit) as site:
        assert site.post("/readings", observation(clip="../kit.json")).status == 400


def test_posts_are_slowed(kit: Path) -> None:
    """RFC 6585: 429 with the time to wait."""
    with served(kit, burst=3, pause_s=60) as site:
        answers = [site.post("/summary", observation()) for _ in range(5)]
    assert [a.status for a in answers] == [200, 200, 200, 429, 429]
    assert answers[-1].headers["retry-after"] == "5"


@posix
def test_a_full_disk_is_said_and_leaves_nothing(kit: Path) -> None:
    """A limit on file size stands in for a full disk; RFC 4918: 507."""
    with served(kit, file_limit=1000) as site:
        before = sorted(p.name for p in kit.rglob("*"))
        answer = site.post("/readings", observation())
        assert answer.status == 507
        assert "cannot be written" in answer.json()["error"]
        assert site.ask(site.base + "/").status == 200
    after = sorted(p.name for p in kit.rglob("*"))
    assert [name for name in after if name not in before] in ([], ["readings"])


def test_the_shelf_is_counted(tmp_path: Path) -> None:
    shelf = ReadingShelf(tmp_path, most=2)
    assert shelf.keep({}, "One") == "browser-0001-one.json"
    assert shelf.keep({}, "../A b/../c") == "browser-0002-a-b-..-c.json"
    with pytest.raises(TooManyError, match="holds 2 readings"):
        shelf.keep({}, "three")
    assert len(list((tmp_path / "readings").iterdir())) == 2


def test_names_go_on_after_a_gap_and_never_replace(tmp_path: Path) -> None:
    shelf = ReadingShelf(tmp_path)
    shelf.keep({}, "a")
    kept = tmp_path / "readings" / "browser-0007-b.json"
    kept.write_text("mine")
    assert shelf.keep({}, "") == "browser-0008-reading.json"
    assert kept.read_text() == "mine"


@links
def test_a_link_is_no_place_for_readings(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    served_folder = tmp_path / "served"
    served_folder.mkdir()
    (served_folder / "readings").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(OutputError, match="is a link"):
        ReadingShelf(served_folder).keep({}, "a")
    assert not list((tmp_path / "elsewhere").iterdir())


def test_a_file_in_the_way_is_said(tmp_path: Path) -> None:
    (tmp_path / "readings").write_text("in the way")
    with pytest.raises(OutputError):
        ReadingShelf(tmp_path).keep({}, "a")
    assert stat.S_ISREG((tmp_path / "readings").stat().st_mode)


def test_the_pace_by_its_own_clock() -> None:
    """Three at once, then one every two seconds, each device by itself."""
    now = [100.0]
    pace = Pace(burst=3, seconds=2.0, clock=lambda: now[0])
    for _ in range(3):
        pace.take("a")
    with pytest.raises(TooManyError):
        pace.take("a")
    pace.take("b")
    now[0] += 2.0
    pace.take("a")
    with pytest.raises(TooManyError):
        pace.take("a")
    now[0] += 60
    for _ in range(3):
        pace.take("a")


def test_the_pace_remembers_a_bounded_number_of_devices() -> None:
    pace = Pace(burst=1, most_devices=10, clock=lambda: 100.0)
    for number in range(10):
        pace.take(f"device {number}")
    with pytest.raises(TooManyError):
        pace.take("device 0")
    for number in range(10, 20):
        pace.take(f"device {number}")
    pace.take("device 0")  # forgotten for those that came since
