"""The slides in a real browser, from a folder: keys, notes, what moves and when, and paper."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from patterns.present.talk import make_talk
from tests.chromium import Console, wait_playing
from tests.present.conftest import talk_request

Open = Callable[..., Page]
SLIDES = 10  # the first, five clips, three stills, what is taken along


@pytest.fixture
def opened(browser: Browser, talk_folder: Path) -> Iterator[Open]:
    """Open the slides without a network; at the end nothing may have been complained of."""
    contexts, consoles = [], []

    def open_slides(place: str = "", **options: Any) -> Page:
        context = browser.new_context(**({"viewport": {"width": 1280, "height": 800}} | options))
        context.set_offline(True)
        contexts.append(context)
        page = context.new_page()
        consoles.append(Console(page))
        page.goto((talk_folder / "index.html").as_uri() + place)
        return page

    yield open_slides
    for context in contexts:
        context.close()
    assert [error for console in consoles for error in console.errors] == []


def expect_shown(page: Page, *numbers: int) -> None:
    """These slides can be seen, and no others."""
    shown = page.locator(".slide:not([hidden])")
    expect(shown).to_have_count(len(numbers))
    for at, number in enumerate(numbers):
        expect(shown.nth(at)).to_have_id(f"slide-{number}")
        expect(shown.nth(at)).to_be_visible()


def expect_playing(page: Page) -> None:
    expect(page.locator("video")).to_have_count(1)
    wait_playing(page)


def test_the_folder_has_all_that_its_pages_name(talk_folder: Path) -> None:
    data = json.loads((talk_folder / "talk.json").read_text())
    there = {p.name for p in talk_folder.iterdir()}
    for name in ("index", "notes"):
        page = (talk_folder / f"{name}.html").read_text()
        assert set(re.findall(r'(?:src|href)="([^"#]+)"', page)) <= there
        assert "photosensitive" in page
        assert "Content-Security-Policy" in page
    assert {name for item in data["items"] for name in item["files"]} <= there
    assert {item["kind"] for item in data["items"]} == {"clip", "still", "animation", "page"}


def test_the_same_request_gives_the_same_bytes(talk_folder: Path, tmp_path: Path) -> None:
    request = replace(talk_request(tmp_path), formats=("apng",))
    made = make_talk(request, ["split", "stills", "animation"])
    assert {item["kind"] for item in made["items"]} == {"clip", "still", "animation"}
    for path in tmp_path.iterdir():
        assert path.read_bytes() == (talk_folder / path.name).read_bytes(), path.name


def test_one_slide_at_a_time_by_keys(opened: Open) -> None:
    page = opened()
    expect_shown(page, 1)
    for key, number in [("ArrowRight", 2), ("ArrowRight", 3), ("ArrowLeft", 2), ("End", SLIDES),
                        ("ArrowRight", SLIDES), ("PageUp", SLIDES - 1), ("Home", 1),
                        ("PageDown", 2)]:  # fmt: skip
        page.keyboard.press(key)
        expect_shown(page, number)
        expect(page.locator("#place")).to_have_text(f"{number} of {SLIDES}")
        expect(page).to_have_url(re.compile(rf"#slide-{number}$"))
    page.reload()
    expect_shown(page, 2)


def test_every_picture_loads(opened: Open) -> None:
    page = opened()
    for number in range(2, SLIDES):
        page.keyboard.press("ArrowRight")
        width = page.evaluate(
            f"document.querySelector('#slide-{number} img').decode()"
            f".then(() => document.querySelector('#slide-{number} img').naturalWidth)"
        )
        assert width >= 960


def test_space_plays_the_clip_and_then_goes_on(opened: Open) -> None:
    page = opened()
    page.keyboard.press(" ")
    expect_shown(page, 2)
    expect(page.locator("video")).to_have_count(0)
    page.keyboard.press(" ")
    expect_playing(page)
    expect(page.locator("#play")).to_have_text("Pause")
    page.keyboard.press("Enter")
    expect(page.locator("#play")).to_have_text("Play")  # the player's event comes a moment later
    page.keyboard.press(" ")
    expect_shown(page, 3)
    expect(page.locator("video")).to_have_count(0)


def test_nothing_plays_before_the_caution_was_shown(opened: Open) -> None:
    page = opened("#slide-2")
    expect_shown(page, 2)
    page.click("#slide-2 .clip")
    expect_shown(page, 1)
    expect(page.locator("#slide-1 .caution")).to_contain_text("photosensitive")
    page.keyboard.press("ArrowRight")
    page.click("#slide-2 .clip")
    expect_playing(page)


def test_less_motion_is_honoured(opened: Open) -> None:
    page = opened(reduced_motion="reduce")
    expect(page.locator("#still")).to_be_visible()
    page.keyboard.press(" ")
    page.keyboard.press(" ")
    expect_shown(page, 3)
    page.click("#play")  # asked for all the same
    expect_playing(page)


def test_notes_come_and_go_and_follow_in_a_window_of_their_own(opened: Open) -> None:
    page = opened()
    page.keyboard.press("ArrowRight")
    notes = page.locator("#slide-2 .notes")
    expect(notes).to_be_hidden()
    page.keyboard.press("n")
    expect(notes).to_be_visible()
    expect(notes).to_contain_text("50 and 33.3 ms")  # 3 and 2 refreshes of 1/60 s
    page.keyboard.press("Home")
    with page.expect_popup() as waiting:
        page.click("#notes-window")
    other = waiting.value
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    expect(other.locator("li.now h2")).to_have_text(re.compile(r"3\. "))


# looked at again at every refresh: the window reaches its size some time after the event
COVERS_THE_SCREEN = """() => new Promise((done) => {
  const look = () => {
    const { x, y, width, height } =
      document.querySelector("#slide-2 .clip").getBoundingClientRect();
    if (x === 0 && y === 0 && width === innerWidth && height === innerHeight) done(true);
    else requestAnimationFrame(look);
  };
  look();
})"""


def test_full_screen_gives_a_picture_the_whole_screen(opened: Open) -> None:
    page = opened()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("f")
    expect(page.locator("html")).to_have_class(re.compile(r"\bfull\b"))
    assert page.evaluate(COVERS_THE_SCREEN)
    page.keyboard.press("f")
    expect(page.locator("html")).not_to_have_class(re.compile(r"\bfull\b"))


def test_paper_has_a_page_for_each_slide_with_its_notes(opened: Open) -> None:
    page = opened()
    pdf = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type /Page\b", pdf)) == SLIDES
    page.emulate_media(media="print")
    for kind in (".slide", ".notes"):
        for element in page.locator(kind).all():
            expect(element).to_be_visible()
    expect(page.locator(".bar")).to_be_hidden()


def test_without_scripts_all_slides_and_notes_are_there(opened: Open) -> None:
    page = opened(java_script_enabled=False)
    expect_shown(page, *range(1, SLIDES + 1))
    assert page.locator("a.clip").first.get_attribute("href") == "split-bars-24-30-on-60hz.mp4"


def test_links_say_in_words_what_they_open(opened: Open, talk_folder: Path) -> None:
    page = opened(java_script_enabled=False)
    names = {p.name for p in talk_folder.iterdir()}
    words = [link.inner_text() for link in page.locator("a").all()]
    assert not [w for w in words if any(name in w for name in names)]
    assert not [w for w in words if re.search(r"\.(mp4|png|svg|html|webp|gif)", w)]


def test_a_clip_that_the_browser_cannot_play_is_said_in_words(
    browser: Browser, talk_folder: Path, tmp_path: Path
) -> None:
    shutil.copytree(talk_folder, tmp_path / "talk")
    clip = tmp_path / "talk" / "split-bars-24-30-on-60hz.mp4"
    clip.write_bytes(clip.read_bytes()[:200])
    page = browser.new_page()
    page.goto((tmp_path / "talk" / "index.html").as_uri())
    page.keyboard.press("ArrowRight")
    page.keyboard.press(" ")
    expect(page.locator("#place")).to_contain_text("cannot play the clip")
    expect(page.locator("#slide-2 img")).to_be_visible()
    page.keyboard.press("ArrowRight")
    expect(page.locator("#place")).to_have_text(f"3 of {SLIDES}")
    page.close()
