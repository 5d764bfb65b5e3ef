"""The pages in a real browser: play, measure, send; by finger, by mouse and by keyboard."""

from __future__ import annotations

import base64
import json
import os
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from patterns.measure.reading import from_json
from patterns.strip.layout import strip_layout
from patterns.strip.read import StripReading, read_strip
from patterns.timing.cadence import Display, cadence
from tests.web.chromium import Console, chromium, finish, open_player
from tests.web.conftest import RATES
from tests.web.serving import Served, served

PHONE = {"viewport": {"width": 390, "height": 844}, "device_scale_factor": 3, "has_touch": True}
SIDEWAYS = {"viewport": {"width": 844, "height": 390}, "device_scale_factor": 3}
TABLET = {"viewport": {"width": 820, "height": 1180}, "device_scale_factor": 2}
DESKTOP = {"viewport": {"width": 1280, "height": 800}}
SIZES: dict[str, Any] = {
    "phone": PHONE, "sideways": SIDEWAYS, "tablet": TABLET, "desktop": DESKTOP,
}  # fmt: skip
LEAST_TARGET_PX = 44  # WCAG 2.2, 2.5.5


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A page that may log no error."""
    opened = browser.new_page(**SIZES["desktop"])
    console = Console(opened)
    yield opened
    opened.close()
    assert not console.errors


def address(site: Served, path: str = "/", host: str = "localhost") -> str:
    return f"http://{host}:{site.port}{site.base}{path}"


def shot(page: Page, name: str) -> None:
    """Keep a picture where somebody asked for pictures to look at."""
    if folder := os.environ.get("EVENHOLD_SCREENSHOTS"):
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


def test_the_caution_stands_before_the_first_play_only(page: Page, site: Served) -> None:
    page.goto(address(site))
    page.click("a.clip >> nth=0")
    assert "photosensitive epilepsy" in page.inner_text("#caution")
    page.click("#decline")
    expect(page.locator("#player")).to_be_hidden()
    open_player(page, "evenhold-bars-24fps.mp4")
    page.keyboard.press("Escape")
    page.click("a.clip >> nth=1")
    expect(page.locator("#player")).to_be_visible()
    expect(page.locator("#caution")).to_be_hidden()


@pytest.mark.parametrize("host", ["localhost", "phone.test"])
def test_each_clip_plays_and_its_reading_agrees(
    page: Page, site: Served, kit: Path, host: str
) -> None:
    """On 60 Hz, headless; also under a name that is no secure context."""
    page.goto(address(site, host=host))
    assert page.evaluate("window.isSecureContext") is (host == "localhost")
    for rate in RATES:
        open_player(page, f"evenhold-bars-{rate}fps.mp4")
        page.wait_for_timeout(2500)
        reading = finish(page)
        assert reading["rate"] == rate
        assert abs(reading["details"]["measured_refresh"]["hz"] - 60) < 0.2
        assert reading["details"]["device"]["secure_context"] is (host == "localhost")
        held = [h["refreshes"] for h in reading["holds"]]
        # a busy machine may drop frames and miss callbacks; a hold it reports must be right
        allowed = set(cadence(Fraction(rate), Display.fixed(60)).holds)
        if len(held) >= 12 and not reading["dropped"]:
            assert sum(hold in allowed for hold in held) >= 0.9 * len(held), reading["verdict"]
        from_json(reading, source="page")
    page.fill("#label", "Boat's tablet")
    page.click("#send")
    expect(page.locator("#sent")).to_contain_text("Kept on the laptop as browser-")
    name = page.inner_text("#sent").split()[-1].rstrip(".")
    stored = json.loads((kit / "readings" / name).read_text())
    assert stored["details"]["device"]["label"] == "Boat's tablet"
    assert stored["holds"] == reading["holds"]


_SEE = """async () => {
  const video = document.getElementById("video");
  const canvas = new OffscreenCanvas(640, 40);
  const context = canvas.getContext("2d", { willReadFrequently: true });
  const seen = [];
  await new Promise((done) => {
    const look = (now, frame) => {
      context.drawImage(video, 0, 320, 640, 40, 0, 0, 640, 40);
      const data = context.getImageData(0, 0, 640, 40).data;
      let text = "";
      for (let i = 1; i < data.length; i += 4) text += String.fromCharCode(data[i]);
      seen.push([frame.mediaTime, btoa(text)]);
      if (seen.length < 40) video.requestVideoFrameCallback(look);
      else done();
    };
    video.requestVideoFrameCallback(look);
  });
  return seen;
}"""


def test_media_times_are_the_strips_numbers(page: Page, site: Served) -> None:
    """Read from the pixels in a pass of its own, at 24, where a callback is never late."""
    assert strip_layout(640, 360, Fraction(24)).band_rows("bottom") == (320, 360)
    page.goto(address(site))
    open_player(page, "evenhold-bars-24fps.mp4")
    read = 0
    for media_s, band in page.evaluate(_SEE):
        picture = np.zeros((360, 640), np.uint8)
        picture[320:] = np.frombuffer(base64.b64decode(band), np.uint8).reshape(40, 640)
        reading = read_strip(picture)
        if isinstance(reading, StripReading):
            assert abs(reading.number - media_s * 24) < 0.01
            read += 1
    assert read >= 36


def test_next_and_previous_by_swipe_keys_and_buttons(page: Page, site: Served) -> None:
    page.goto(address(site))
    open_player(page, "evenhold-bars-24fps.mp4")
    title = page.locator("#title")

    def swipe(from_x: int, to_x: int) -> None:
        page.mouse.move(from_x, 300)
        page.mouse.down()
        page.mouse.move(to_x, 310, steps=3)
        page.mouse.up()

    expect(title).to_have_text("Bars, 24 fps")
    page.keyboard.press("ArrowRight")
    expect(title).to_have_text("Bars, 25 fps")
    swipe(700, 300)
    expect(title).to_have_text("Bars, 30 fps")
    page.click("#next")
    expect(title).to_have_text("Bars, 60 fps")
    page.click("#next")
    expect(title).to_have_text("Bars, 24 fps")
    swipe(300, 700)
    expect(title).to_have_text("Bars, 60 fps")
    page.click("#previous")
    page.keyboard.press("ArrowLeft")
    expect(title).to_have_text("Bars, 25 fps")
    assert page.evaluate("document.getElementById('video').loop")
    page.mouse.click(640, 300)
    expect(page.locator("#player")).to_have_class("bare")
    page.mouse.move(600, 310)
    expect(page.locator("#player")).not_to_have_class("bare")


def test_by_keyboard_alone(page: Page, site: Served) -> None:
    """From the top of the page to a reading on the laptop without a pointer."""
    page.goto(address(site))

    def focused() -> str:
        return str(page.evaluate("document.activeElement.id || document.activeElement.className"))

    page.keyboard.press("Tab")
    assert focused() == "clip"
    page.keyboard.press("Enter")
    page.wait_for_selector("#accept")
    assert focused() == "accept"
    page.keyboard.press("Enter")
    expect(page.locator("#player")).to_be_visible()
    assert focused() == "player"
    stops = []
    for _ in range(7):
        page.keyboard.press("Tab")
        stops.append(focused())
    assert stops == ["close", "previous", "pause", "next", "full", "finish", "close"]
    page.keyboard.press("Shift+Tab")
    assert focused() == "finish"
    page.keyboard.press("ArrowRight")
    expect(page.locator("#title")).to_have_text("Bars, 25 fps")
    page.keyboard.press("f")
    page.wait_for_timeout(1500)
    page.locator("#player").focus()
    page.keyboard.press(" ")
    expect(page.locator("#pause")).to_have_text("Play")
    page.keyboard.press(" ")
    expect(page.locator("#pause")).to_have_text("Pause")
    page.wait_for_timeout(1500)
    finish(page)
    assert focused() == "summary"
    page.keyboard.press("Tab")
    assert focused() == "label"
    page.keyboard.type("Keys only")
    page.keyboard.press("Tab")
    assert focused() == "send"
    page.keyboard.press("Enter")
    expect(page.locator("#sent")).to_contain_text("Kept on the laptop")


_GRAB = """() => {
  const canvas = document.getElementById("bars");
  const data = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
  let text = "";
  for (let i = 1; i < data.length; i += 4) text += String.fromCharCode(data[i]);
  return [canvas.width, canvas.height, btoa(text)];
}"""


@pytest.mark.parametrize("size", ["phone", "sideways", "desktop"])
def test_live_bars_carry_a_strip_that_is_read(browser: Browser, site: Served, size: str) -> None:
    page = browser.new_page(**SIZES[size])
    console = Console(page)
    page.goto(address(site, "/live", "phone.test"))
    expect(page.locator("#start")).to_be_enabled(timeout=10_000)
    page.click("#start")
    page.click("#accept")
    expect(page.locator("#live")).to_contain_text("a bar crosses in", timeout=15_000)
    numbers = []
    for _ in range(3):
        width, height, text = page.evaluate(_GRAB)
        picture = np.frombuffer(base64.b64decode(text), np.uint8).reshape(height, width)
        ratio = SIZES[size].get("device_scale_factor", 1)
        assert (width, height) == tuple(
            ratio * s // 2 * 2 for s in SIZES[size]["viewport"].values()
        )
        reading = read_strip(picture)
        assert isinstance(reading, StripReading)
        assert reading.rate is not None
        assert abs(reading.rate - 60) < 0.2
        numbers.append(reading.number)
    assert numbers == sorted(set(numbers))
    shot(page, f"live-{size}")
    found = finish(page)
    assert (found["file"], found["kind"]) == ("live bars", "browser")
    assert found["details"]["measured_refresh"]["frames"] > 30
    expect(page.locator("#stage")).to_be_hidden()
    page.close()
    assert not console.errors


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_pages_fit_every_screen(browser: Browser, site: Served, size: str, scheme: Any) -> None:
    """No sideways scrolling, nothing too small for a finger, nothing that the checker finds."""
    page = browser.new_page(**SIZES[size], color_scheme=scheme)
    console = Console(page)
    page.goto(address(site))
    look(page, f"clips-{size}-{scheme}")
    page.click("a.clip >> nth=0")
    look(page, f"caution-{size}-{scheme}")
    page.click("#accept")
    page.wait_for_timeout(1200)
    page.locator("#player").focus()
    page.keyboard.press("Tab")
    look(page, f"player-{size}-{scheme}")
    finish(page)
    look(page, f"summary-{size}-{scheme}")
    page.goto(address(site, "/live"))
    look(page, f"reference-{size}-{scheme}")
    page.close()
    assert not console.errors


def look(page: Page, name: str) -> None:
    shot(page, name)
    assert page.evaluate(
        "document.documentElement.scrollWidth <= document.documentElement.clientWidth"
    )
    for target in page.locator("button:visible, a.clip:visible, input:visible").all():
        box = target.bounding_box()
        assert box is None or min(box["width"], box["height"]) >= LEAST_TARGET_PX, name
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()


def test_without_scripts_the_clips_are_links(browser: Browser, site: Served) -> None:
    page = browser.new_page(java_script_enabled=False)
    page.goto(address(site))
    assert "Scripts are off" in page.inner_text("main")
    link = page.locator("a.clip >> nth=0").get_attribute("href")
    assert link == "clips/evenhold-bars-24fps.mp4"
    page.close()


def test_a_browser_that_does_not_tell_is_told_plainly(page: Page, site: Served) -> None:
    """What is missing elsewhere is taken away here before the page's own scripts run."""
    page.add_init_script(
        "delete HTMLVideoElement.prototype.requestVideoFrameCallback;"
        "delete Element.prototype.requestFullscreen;"
        "delete Element.prototype.webkitRequestFullscreen;"
        "delete HTMLVideoElement.prototype.webkitEnterFullscreen;"
        "delete Navigator.prototype.wakeLock;"
    )
    page.goto(address(site))
    assert "play unmeasured" in page.inner_text("#missing")
    open_player(page, "evenhold-bars-24fps.mp4")
    assert "does not tell when frames are shown" in page.inner_text("#live")
    page.keyboard.press("s")
    expect(page.locator("#player")).to_be_hidden()
    expect(page.locator("#summary")).to_be_hidden()


def test_a_laptop_that_has_gone_is_said(browser: Browser, kit: Path) -> None:
    page = browser.new_page()
    with served(kit) as site:
        page.goto(address(site))
        open_player(page, "evenhold-bars-24fps.mp4")
        page.wait_for_timeout(1500)
    page.keyboard.press("s")
    expect(page.locator("#verdict")).to_contain_text("does not answer")
    page.close()


_FIT = "async (times) => (await import('./static/refresh.js')).fitRefresh(times)"


@pytest.mark.parametrize("hz", [50, 60000 / 1001, 60, 90, 120, 144, 240])
@pytest.mark.parametrize("grain_ms", [0.1, 1.0])
def test_the_refresh_is_the_slope(page: Page, site: Served, hz: float, grain_ms: float) -> None:
    """Six seconds of rounded timestamps, a third of them missing; against NumPy's own fit."""
    page.goto(address(site))
    rng = np.random.default_rng(7)
    numbers = np.arange(round(6 * hz))
    numbers = numbers[rng.random(len(numbers)) > 0.33]
    times = np.floor((1000 + numbers * 1000 / hz) / grain_ms) * grain_ms
    found = page.evaluate(_FIT, times.tolist())
    assert found["interval_ms"] == pytest.approx(np.polyfit(numbers, times, 1)[0], rel=1e-6)
    assert abs(1000 / found["interval_ms"] - hz) < (0.005 if grain_ms < 1 else 0.05)
    assert found["state"] == "steady"


def test_what_is_not_steady_is_said(page: Page, site: Served) -> None:
    page.goto(address(site))
    saving = page.evaluate(_FIT, [i * 1000 / 30 for i in range(90)])
    assert saving["state"] == "power-saving"
    changing = [i * 1000 / 60 for i in range(100)]
    changing += [changing[-1] + (i + 1) * 1000 / 48 for i in range(100)]
    assert page.evaluate(_FIT, changing)["state"] == "changing"
    rng = np.random.default_rng(3)
    variable = np.cumsum(rng.uniform(7, 20, 200)).tolist()
    assert page.evaluate(_FIT, variable)["state"] == "changing"
    assert page.evaluate(_FIT, [1, 2, 3])["state"] == "unknown"


def test_the_chart_tells_unobserved_from_long(page: Page, site: Served) -> None:
    page.goto(address(site))
    calls = [[n / 24, 41.7 * n, n] for n in (0, 1, 2, 5, 6)] + [[0, 300, 7], [1 / 24, 342, 8]]
    code = "async (c) => (await import('./static/frames.js')).holdsOf(c, 24, 7, 1000 / 60)"
    holds = page.evaluate(code, calls)
    assert [h["refreshes"] for h in holds] == [3, 3, None, 3, None, 3]
    assert [h["dropped"] for h in holds] == [0] * 6
    code = "async (c) => (await import('./static/frames.js')).holdsOf(c, 24, 99, 1000 / 60)"
    lost = page.evaluate(code, [[0, 0, 0], [3 / 24, 125, 1]])
    assert lost[0]["dropped"] == 2


@pytest.mark.parametrize(
    ("scale", "words"),
    [(1, ""), (2.0, ""), (3.001, ""), (1.5, "1.50 screen pixels"), (0.5, "0.50 screen pixels")],
)
def test_scaling_is_said_honestly(page: Page, site: Served, scale: float, words: str) -> None:
    page.goto(address(site))
    code = "async (s) => (await import('./static/screen.js')).scalingText(s)"
    text = page.evaluate(code, scale)
    assert text == "" if not words else words in text
