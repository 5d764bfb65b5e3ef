"""The live page in a real browser: what its canvases show, and that it waits to be asked."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction as F
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from patterns.drawing.style import LIGHT
from patterns.present.talk_pages import demo_page
from patterns.safety.check import FlashCheck
from patterns.timing.cadence import holds
from tests.chromium import wait_refreshes

SOURCE = files("patterns.present").joinpath("demo_cadence.js").read_text(encoding="utf-8")
Open = Callable[..., Page]
STEPS = 26


def _listed(name: str) -> list[F]:
    block = re.search(rf"const {name} = \[(.*?)\];", SOURCE, re.DOTALL)
    assert block
    return [F(int(a), int(b)) for a, b in re.findall(r"\[(\d+), (\d+)\]", block[1])]


RATES, REFRESHES = _listed("RATES"), _listed("REFRESHES")


# Frames at exact moments, whatever the machine does meanwhile, so many refreshes apart in turn.
FRAMES = """([hz, steps]) => {
  let [turn, n] = [0, 0];
  window.requestAnimationFrame = (show) => setTimeout(() => {
    n += steps[turn % steps.length];
    turn += 1;
    show((1000 * n) / hz);
  });
}"""
AT_EASE = (1, 1, 1, 1, 1, 2)  # one refresh in seven is missed
BUSY = (2, 2, 2, 1)  # of most refreshes every other one is
WEBKIT = "Object.defineProperty(Navigator.prototype, 'vendor', {get: () => 'Apple Computer, Inc.'})"


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("demo") / "demo.html"
    path.write_text(demo_page((F(24), F(30))), encoding="utf-8")
    return path.as_uri()


@pytest.fixture
def open_page(browser: Browser, address: str) -> Iterator[Open]:
    """Open the page; at the end it must not have complained, nor asked for anything."""
    contexts, trouble = [], []

    def opened(
        width: int = 720,
        height: int = 640,
        frames_hz: float | None = None,
        steps: Sequence[int] = AT_EASE,
        script: str = "",
        **options: Any,
    ) -> Page:
        context = browser.new_context(viewport={"width": width, "height": height}, **options)
        context.set_offline(True)
        contexts.append(context)
        page = context.new_page()
        page.add_init_script(script)
        if frames_hz:
            page.add_init_script(f"({FRAMES})([{frames_hz}, {list(steps)}])")
        page.on("console", lambda message: trouble.append(message.text))
        page.on("pageerror", lambda error: trouble.append(str(error)))
        page.on("request", lambda r: None if r.url == address else trouble.append(r.url))
        page.goto(address)
        page.wait_for_selector("body[data-measured]")
        return page

    yield opened
    for context in contexts:
        context.close()
    assert trouble == []


def choose(page: Page, name: str, value: float) -> None:
    page.evaluate(
        "([id, v]) => { const e = document.getElementById(id); e.value = v;"
        " e.dispatchEvent(new Event('input')); }",
        [name, str(value)],
    )


def choose_rates(page: Page, first: F, second: F, refresh_hz: F) -> None:
    choose(page, "rate-a", RATES.index(first))
    choose(page, "rate-b", RATES.index(second))
    choose(page, "refresh", 1 + REFRESHES.index(refresh_hz))


def pictures(page: Page) -> list[str]:
    """All pixels of both canvases."""
    code = "['a', 'b'].map((side) => document.getElementById(`scene-${side}`).toDataURL())"
    urls: list[str] = page.evaluate(code)
    return urls


def refresh_of(page: Page) -> int:
    return int(page.evaluate("document.body.dataset.refresh"))


def expect_refresh(page: Page, number: int) -> None:
    expect(page.locator("body")).to_have_attribute("data-refresh", str(number))


def wait_refresh(page: Page, at_least: int) -> None:
    """Until the page shows this refresh or a later one."""
    page.evaluate(
        """(due) => new Promise((done) => {
          const look = () => {
            if (Number(document.body.dataset.refresh) >= due) done();
            else requestAnimationFrame(look);
          };
          look();
        })""",
        at_least,
    )


# whether each canvas shows another picture than at the refresh before, step by step
CHANGES = """(steps) => {
  const last = { a: "", b: "" };
  const seen = { a: [], b: [] };
  for (let i = 0; i < steps; i += 1) {
    for (const side of ["a", "b"]) {
      const url = document.getElementById(`scene-${side}`).toDataURL();
      seen[side].push(url !== last[side]);
      last[side] = url;
    }
    document.getElementById("step").click();
  }
  return seen;
}"""


REWIND = """() => {
  while (document.body.dataset.refresh !== "0") document.getElementById("back").click();
}"""
CASES = [
    (F(24), F(30), F(60)), (F(25), F(50), F(60)), (F(24), F(60), F(144)), (F(30), F(60), F(50)),
    (F(24000, 1001), F(48), F(120)),
]  # fmt: skip


def test_holds_counted_on_the_canvas_agree_with_the_arithmetic(open_page: Open) -> None:
    page = open_page(360, 640)
    for first, second, refresh_hz in CASES:
        page.evaluate(REWIND)
        choose_rates(page, first, second, refresh_hz)
        seen = page.evaluate(CHANGES, STEPS)
        for side, rate in (("a", first), ("b", second)):
            lengths = np.diff(np.flatnonzero(seen[side])).tolist()  # the last one was cut short
            assert lengths
            due = [hold for hold in holds(rate, refresh_hz, 40) if hold]
            assert lengths == due[: len(lengths)], (rate, refresh_hz)


@pytest.mark.parametrize(
    ("hz", "steps", "named", "marks", "verdict"),
    [(60, AT_EASE, "60", ("uneven", "even"), "3:2"),
     (60000 / 1001, BUSY, "60", ("uneven", "even"), "3:2"),
     (144, BUSY, "144", ("even", "uneven"), "6 refreshes")],
)  # fmt: skip
def test_it_opens_at_the_rates_given_and_says_what_they_do_on_this_screen(
    open_page: Open,
    hz: float,
    steps: Sequence[int],
    named: str,
    marks: tuple[str, str],
    verdict: str,
) -> None:
    page = open_page(frames_hz=hz, steps=steps)
    expect(page.locator("#name-a")).to_have_text("24 fps")
    expect(page.locator("#mark-a")).to_have_text(marks[0])
    expect(page.locator("#verdict-a")).to_contain_text(verdict)
    expect(page.locator("#mark-b")).to_have_text(marks[1])
    expect(page.locator("#measured")).to_contain_text(f"about {named} times a second")


def test_a_browser_that_does_not_tell_the_screens_refresh_is_not_taken_at_its_word(
    open_page: Open,
) -> None:
    """WebKit's animation frames may come at half the display's refresh."""
    page = open_page(frames_hz=60, script=WEBKIT)
    expect(page.locator("#measured")).to_contain_text("This browser updates the page about 60")


def test_nothing_moves_until_it_is_asked_to(open_page: Open) -> None:
    page = open_page()
    play = page.locator("#play")
    before = pictures(page), refresh_of(page)
    wait_refreshes(page, 20)
    assert (pictures(page), refresh_of(page)) == before
    expect(play).to_have_text("Start the motion")
    play.click()
    expect(play).to_have_text("Pause")
    assert play.get_attribute("aria-pressed") is None  # its words say it, once
    wait_refresh(page, 6)
    play.click()
    expect(play).to_have_text("Go on")
    paused = refresh_of(page)
    wait_refreshes(page, 10)
    assert refresh_of(page) == paused


WATCH = """async () => {
  const seen = [];
  for (let i = 0; i < 60; i += 1) {
    const stamp = await new Promise((done) => requestAnimationFrame(done));
    seen.push(["a", "b"].map((s) => Number(document.getElementById(`scene-${s}`).dataset.frame))
      .concat(Number(document.body.dataset.refresh), stamp));
  }
  return seen;
}"""


def test_while_it_plays_every_refresh_shows_the_frame_that_is_due(open_page: Open) -> None:
    page = open_page(700, 700)
    choose_rates(page, F(24), F(25), F(60))
    page.click("#play")
    seen = page.evaluate(WATCH)
    refreshes = [k for _, _, k, _ in seen]
    assert refreshes == sorted(refreshes)
    assert refreshes[-1] - refreshes[0] >= 50
    for first, second, k, _ in seen:
        assert (first, second) == (k * 24 // 60, k * 25 // 60)


def test_slowing_repeats_refreshes(open_page: Open) -> None:
    page = open_page(700, 700)
    choose_rates(page, F(24), F(30), F(60))
    page.select_option("#slow", "15")
    page.click("#play")
    first, *_, last = page.evaluate(WATCH)
    gone = (last[3] - first[3]) * 60 / 1000  # refreshes of the screen, however busy it is
    assert gone >= 50
    assert last[2] - first[2] == pytest.approx(gone / 15, abs=1.5)


def test_keys_start_pause_and_step(open_page: Open) -> None:
    page = open_page()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowLeft")
    expect_refresh(page, 1)
    page.keyboard.press("Space")
    wait_refresh(page, 4)
    page.keyboard.press("Escape")
    expect(page.locator("#play")).to_have_text("Go on")
    paused = refresh_of(page)
    page.focus("#shutter")  # a slider keeps its own arrows
    page.keyboard.press("ArrowRight")
    expect(page.locator("#shutter-out")).to_have_text("195°")
    assert refresh_of(page) == paused


def test_touch_starts_and_pauses(open_page: Open) -> None:
    page = open_page(360, 800, has_touch=True, is_mobile=True)
    page.tap("#scene-a")
    expect(page.locator("#play")).to_have_text("Pause")
    wait_refresh(page, 4)
    page.tap("#scene-b")
    expect(page.locator("#play")).to_have_text("Go on")


def test_a_wish_for_less_motion_is_honoured(open_page: Open) -> None:
    page = open_page(reduced_motion="reduce")
    expect(page.locator("#motion-note")).to_be_visible()
    expect(page.locator("#step")).to_have_class(re.compile("primary"))
    before = refresh_of(page)
    wait_refreshes(page, 20)
    assert refresh_of(page) == before
    page.click("#step")
    expect_refresh(page, before + 1)
    page.click("#play")  # asked for all the same
    wait_refresh(page, before + 4)


@pytest.mark.parametrize(("width", "height"), [(360, 800), (844, 390), (820, 1180), (1440, 900)])
def test_it_fits_the_screen_and_both_pictures_are_in_sight(
    open_page: Open, width: int, height: int
) -> None:
    """In one scheme: the other changes colours alone, and is looked at in test_every_page."""
    page = open_page(width, height)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.click("#play")
    expect(page.locator("#play")).to_have_text("Pause")
    wait_refreshes(page, 3)
    for name in ("#scene-a", "#scene-b", "#meter-a", "#meter-b", "#play"):
        box = page.locator(name).bounding_box()
        assert box
        assert box["y"] > -1
        assert box["y"] + box["height"] <= height, name
    for button in page.query_selector_all("button, select, input"):
        box = button.bounding_box()
        assert box
        assert box["height"] >= 44


def test_the_meter_shows_short_holds_in_the_lighter_step(open_page: Open) -> None:
    page = open_page(1280, 900, frames_hz=60, color_scheme="light")
    for _ in range(29):
        page.keyboard.press("ArrowRight")
    short = tuple(int(LIGHT.short[i : i + 2], 16) for i in (1, 3, 5))
    share = page.evaluate(
        """(short) => { const c = document.getElementById("meter-a");
        const high = Math.round(c.height * 0.1);
        const row = c.getContext("2d").getImageData(0, high, c.width, 1).data;
        let n = 0;
        for (let i = 0; i < row.length; i += 4)
          n += short.every((v, j) => Math.abs(row[i + j] - v) < 3);
        return n / c.width; }""",
        list(short),
    )
    assert share == pytest.approx(2 / 5, abs=0.05)  # 24 on 60: two of five refreshes


def test_the_shutter_blurs_along_the_motion(open_page: Open) -> None:
    page = open_page(900, 800)
    choose(page, "speed", 2)
    sharpness = []
    for angle in (0, 180, 360):
        choose(page, "shutter", angle)
        pixels = page.evaluate(
            """() => { const c = document.getElementById("scene-a");
            const middle = Math.round(c.height * 0.5);
            const row = c.getContext("2d").getImageData(0, middle, c.width, 1).data;
            return Array.from(row.filter((_, i) => i % 4 === 1)); }"""
        )
        sharpness.append(np.abs(np.diff(np.array(pixels))).max())
    assert sharpness[0] > 1.5 * sharpness[1] > 1.5 * sharpness[2]


# what moves on the page, one picture above the other, step by step
BOTH_PICTURES = """(steps) => {
  const [a, b] = ["a", "b"].map((side) => document.getElementById(`scene-${side}`));
  const both = Object.assign(document.createElement("canvas"), {
    width: Math.max(a.width, b.width), height: a.height + b.height,
  });
  const urls = [];
  for (let i = 0; i < steps; i += 1) {
    both.getContext("2d").drawImage(a, 0, 0);
    both.getContext("2d").drawImage(b, 0, a.height);
    urls.push(both.toDataURL("image/jpeg", 0.9));
    document.getElementById("step").click();
  }
  return urls;
}"""


def test_the_fastest_setting_passes_the_flash_check(open_page: Open) -> None:
    page = open_page(720, 600)
    choose(page, "speed", 2)
    choose_rates(page, F(24), F(60), F(60))
    check = None
    for k, url in enumerate(page.evaluate(BOTH_PICTURES, 62)):
        shot = base64.b64decode(url.partition(",")[2])
        rgb = np.asarray(Image.open(io.BytesIO(shot)).convert("RGB"))
        check = check or FlashCheck(rgb.shape[1], rgb.shape[0], F(60))
        check.see(F(k, 60), rgb)
    assert check is not None
    assert check.report().passes


def test_rates_that_the_slider_lacks_are_taken_in(browser: Browser, tmp_path: Path) -> None:
    (tmp_path / "demo.html").write_text(demo_page((F(30), F(37, 2))), encoding="utf-8")
    page = browser.new_page()
    page.goto((tmp_path / "demo.html").as_uri())
    expect(page.locator("#name-a")).to_have_text("30 fps")
    expect(page.locator("#name-b")).to_have_text("18.5 fps")
    expect(page.locator("#mark-b")).to_have_text("uneven")
    page.close()
