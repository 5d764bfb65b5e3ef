"""The kit's own page, opened from its folder without a server."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Browser, Page, expect

from tests.chromium import Console, open_player, wait_frames
from tests.web.conftest import RATES

WEBKIT = "Object.defineProperty(Navigator.prototype, 'vendor', {get: () => 'Apple Computer, Inc.'})"


def opened(browser: Browser, kit: Path, script: str) -> Page:
    """The kit's page where a script has run before its own."""
    page = browser.new_page()
    page.add_init_script(script)
    page.goto((kit / "index.html").as_uri())
    return page


def test_it_plays_from_the_folder_and_says_what_each_clip_does_here(
    browser: Browser, kit: Path
) -> None:
    page = browser.new_page()
    console = Console(page)
    page.goto((kit / "index.html").as_uri())
    expect(page.locator("#measured")).to_contain_text("refreshes 60")  # headless, always
    expect(page.locator(".here")).to_have_text(
        [
            "here: 3:2, uneven",
            "here: 3:2:3:2:2, uneven",
            "here: even, 2 each",
            "here: even, 1 each",
        ]
    )
    open_player(page, "evenhold-bars-24fps.mp4")
    expect(page.locator("#live")).to_contain_text("24 fps on 60.")
    page.keyboard.press("ArrowRight")
    expect(page.locator("#title")).to_have_text("Bars, 25 fps")
    page.keyboard.press("Escape")
    expect(page.locator("#player")).to_be_hidden()
    page.close()
    assert not console.errors


def test_where_the_page_does_not_know_the_display_it_gives_no_verdict(
    browser: Browser, kit: Path
) -> None:
    """WebKit updates pages 60 times a second on faster panels: stood in for by its name."""
    page = opened(browser, kit, WEBKIT)
    expect(page.locator("#measured")).to_contain_text("the screen itself may run")
    expect(page.locator(".here")).to_have_text([""] * len(RATES))
    open_player(page, "evenhold-bars-24fps.mp4")
    wait_frames(page, 24)  # where a display is known, holds are said by then
    expect(page.locator("#live")).to_contain_text("film the screen")
    expect(page.locator("#live")).not_to_contain_text("held")
    expect(page.locator("#chart")).to_be_hidden()
    page.close()


HELD = """{
  const go = window.requestAnimationFrame.bind(window);
  const held = [];
  window.requestAnimationFrame = (show) => held.push(show);
  window.release = () => {
    window.requestAnimationFrame = go;
    held.forEach(go);
  };
}"""


def test_a_page_opened_in_the_background_measures_once_it_is_seen(
    browser: Browser, kit: Path
) -> None:
    """There browsers give a page no animation frames."""
    page = opened(browser, kit, HELD)
    expect(page.locator("#measured")).to_contain_text("not known yet")
    page.evaluate("window.release()")
    expect(page.locator("#measured")).to_contain_text("times a second")
    page.close()


def test_a_codec_that_is_not_played_gets_a_sentence(browser: Browser, kit: Path) -> None:
    page = opened(browser, kit, "HTMLMediaElement.prototype.canPlayType = () => ''")
    missing = page.locator("#missing")
    expect(missing).to_contain_text("another codec: evenhold kit --codec vp9")
    page.evaluate("document.getElementById('missing').textContent = ''")
    page.click("a.clip >> nth=0")
    expect(missing).to_contain_text("another codec")  # said anew, and the page stays:
    assert page.url.endswith("index.html")  # the file alone would be an error page
    page.close()
