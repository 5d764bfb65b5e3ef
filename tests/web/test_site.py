"""Which files of a folder are served."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from patterns.errors import InputError, RequestError
from patterns.web.site import clips_page, open_site
from tests.systems import links
from tests.web.conftest import RATES
from tests.web.serving import KEY, Served, served

NAME = "evenhold-bars-24fps.mp4"


@pytest.fixture
def copy(kit: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(kit, tmp_path / "copy"))


def test_clips_and_posters_only(kit: Path) -> None:
    site = open_site(kit)
    assert sorted(site.files) == sorted(
        [f"evenhold-bars-{rate}fps.mp4" for rate in RATES] + [site.groups[0].poster]
    )
    assert site.record(NAME)
    assert site.record("kit.json") is None


def test_how_to_film_is_one_click_from_the_clips_and_needs_no_kit(site: Served) -> None:
    assert 'href="how-to-film.html"' in site.ask(f"/{KEY}/").body.decode()
    answer = site.ask(f"/{KEY}/how-to-film.html")
    assert (answer.status, answer.headers["content-type"]) == (200, "text/html; charset=utf-8")
    assert "<h2>Photograph it" in answer.body.decode()
    assert "photosensitive epilepsy" in answer.body.decode()
    assert "<style" not in answer.body.decode()  # the policy allows none inline
    assert site.ask("/how-to-film.html").status == 403  # behind the key as all else


def test_clips_without_a_kit(copy: Path) -> None:
    (copy / "kit.json").unlink()
    (copy / "notes.json").write_text("[1, 2")
    site = open_site(copy)
    assert [clip["rate"] for clip in site.groups[0].clips] == list(RATES)


@links
def test_links_are_left_out(copy: Path, tmp_path: Path) -> None:
    outside = tmp_path / "outside.mp4"
    shutil.move(copy / NAME, outside)
    (copy / NAME).symlink_to(outside)
    assert NAME not in open_site(copy).files


@links
def test_a_file_that_becomes_a_link_is_no_longer_served(copy: Path, tmp_path: Path) -> None:
    with served(copy) as site:
        path = f"{site.base}/clips/{NAME}"
        assert site.ask(path).status == 200
        shutil.move(copy / NAME, tmp_path / "outside.mp4")
        assert site.ask(path).status == 404
        (copy / NAME).symlink_to(tmp_path / "outside.mp4")
        assert site.ask(path).status == 404


@pytest.mark.parametrize(
    "name", ["../secret.mp4", "/etc/passwd", "a/../b.mp4", "..", "", ".", "a\0b", "..\\x.mp4"]
)
def test_a_kit_that_names_other_places_opens_none(copy: Path, name: str) -> None:
    kit = json.loads((copy / "kit.json").read_text())
    kit["patterns"][0]["clips"][0]["file"] = name
    kit["patterns"][0]["poster"] = name
    (copy / "kit.json").write_text(json.dumps(kit))
    (copy.parent / "secret.mp4").write_text("secret")
    site = open_site(copy)
    assert name not in site.files
    assert len(site.groups[0].clips) == len(RATES) - 1


@pytest.mark.parametrize("text", ["", "{", "[]", '{"schema": "other"}', "[" * 200_000])
def test_a_damaged_kit_is_said(copy: Path, text: str) -> None:
    (copy / "kit.json").write_text(text)
    with pytest.raises(InputError):
        open_site(copy)


def test_no_folder_and_no_clips(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match="does not exist"):
        open_site(tmp_path / "none")
    with pytest.raises(RequestError, match="holds no clip"):
        open_site(tmp_path)


@pytest.mark.parametrize(
    ("key", "value"),
    [("width", "<b>"), ("rate_exact", "24/0"), ("rate_exact", "0"), ("frames", None), ("codec", 1)],
)
def test_a_record_of_the_wrong_form_is_left_out(copy: Path, key: str, value: object) -> None:
    kit = json.loads((copy / "kit.json").read_text())
    kit["patterns"][0]["clips"][0][key] = value
    (copy / "kit.json").write_text(json.dumps(kit))
    site = open_site(copy)
    assert len(site.groups[0].clips) == len(RATES) - 1
    assert clips_page(site)


def test_text_of_records_is_escaped(copy: Path) -> None:
    kit = json.loads((copy / "kit.json").read_text())
    evil = '"><script>alert(1)</script>'
    kit["patterns"][0]["pattern"] = evil
    for record in kit["patterns"][0]["clips"]:
        record |= {"codec": evil, "pattern": evil, "codec_level": evil}
        record["safety"] = {"verdict": "exceeds", "summary": evil}
    (copy / "kit.json").write_text(json.dumps(kit))
    page = clips_page(open_site(copy))
    assert "<script>alert" not in page
    assert page.count("exceeds a limit") == len(RATES)
