"""Chromium for the tests: where it is, how it is started, and what to install without it."""

from __future__ import annotations

import os
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NoReturn

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Playwright, expect

expect.set_options(timeout=30_000)  # a busy machine may be slow, which is no fault of the page


# The one without windows opens a page at a fifth of the processor time.
WINDOWLESS, WITH_WINDOWS = ("chromium-headless-shell",), ("chromium", "chromium-browser")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
    # a made-up name that is no secure context, as a phone sees the laptop's plain address
    "--host-resolver-rules=MAP phone.test 127.0.0.1",
]


def unavailable(what: str, install: str) -> NoReturn:
    """Skip on somebody's own machine, fail where everything must have been installed."""
    text = f"{what} is missing: {install}"
    if os.environ.get("CI"):
        pytest.fail(text)
    pytest.skip(text)


def launch(playwright: Playwright, args: Sequence[str] = (), **options: Any) -> Browser:
    """Start a Chromium of its own; whoever asks for it closes it."""
    names = WITH_WINDOWS if options.get("headless") is False else WINDOWLESS + WITH_WINDOWS
    path = next(filter(None, map(shutil.which, names)), None)
    if path is None:
        unavailable("Chromium", f"apt-get install --no-install-recommends {names[0]}")
    return playwright.chromium.launch(executable_path=path, args=[*FLAGS, *args], **options)


class Console:
    """Everything that went wrong in a page."""

    def __init__(self, page: Page) -> None:
        self.errors: list[str] = []
        page.on("console", lambda m: self.errors.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda error: self.errors.append(str(error)))


LEAST_TARGET_PX = 44  # WCAG 2.2, 2.5.5


def shot(page: Page, name: str) -> None:
    """Keep a picture where somebody asked for pictures to look at."""
    if folder := os.environ.get("EVENHOLD_SCREENSHOTS"):
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


def fits(page: Page, name: str) -> None:
    """No sideways scrolling, nothing too small for a finger."""
    shot(page, name)
    assert page.evaluate(
        "document.documentElement.scrollWidth <= document.documentElement.clientWidth"
    ), name
    for target in page.locator("button:visible, a.clip:visible, input:visible").all():
        box = target.bounding_box()
        assert box is None or min(box["width"], box["height"]) >= LEAST_TARGET_PX, name


def look(page: Page, name: str) -> None:
    """It fits, and the checker of accessibility finds nothing."""
    fits(page, name)
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()


PLAYS = """() => new Promise((done) => {
  const video = document.querySelector("video");
  const look = () => {
    if (video.currentTime > 0) done();
    else video.addEventListener("timeupdate", look, { once: true });
  };
  look();
})"""
PRESENTS = """(count) => new Promise((done) => {
  const video = document.querySelector("video");
  const next = () => {
    count -= 1;
    if (count < 0) done();
    else video.requestVideoFrameCallback(next);
  };
  next();
})"""
REFRESHES = """(count) => new Promise((done) => {
  const next = () => {
    count -= 1;
    if (count < 0) done();
    else requestAnimationFrame(next);
  };
  next();
})"""


def wait_playing(page: Page) -> None:
    """Until the page's video has moved on from its beginning."""
    page.evaluate(PLAYS)


def wait_frames(page: Page, count: int) -> None:
    """Until the browser has reported `count` more frames of the video, however long that takes."""
    page.evaluate(PRESENTS, count)


def wait_refreshes(page: Page, count: int) -> None:
    """Until the page was drawn `count` times more, however long that takes."""
    page.evaluate(REFRESHES, count)


def open_player(page: Page, name: str) -> None:
    """Tap a clip and accept the caution if it comes."""
    page.click(f"a.clip[data-file='{name}']")
    expect(page.locator("#caution[open], #player:not([hidden])")).to_be_visible()
    if page.locator("#caution").is_visible():
        page.click("#accept")
    expect(page.locator("#player")).to_be_visible()
    wait_playing(page)


def finish(page: Page) -> dict[str, Any]:
    """Stop and sum up; the reading that the server made."""
    with page.expect_response("**/summary") as waiting:
        page.keyboard.press("s")
    answer = waiting.value.json()
    assert "reading" in answer, answer
    expect(page.locator("#send")).to_be_enabled()  # the last that the page does with it
    reading: dict[str, Any] = answer["reading"]
    return reading
