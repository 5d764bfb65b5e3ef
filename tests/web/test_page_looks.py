"""How the pages look on every screen, checked by an outside checker; the live bars."""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Browser, expect

from patterns.strip.read import StripReading, read_strip
from tests.chromium import Console, finish, fits, look, shot, wait_frames, wait_refreshes
from tests.web.browsing import SIZES, address
from tests.web.serving import Served


@pytest.mark.parametrize(
    ("size", "scheme"), [("phone", "light"), ("sideways", "light"), ("desktop", "dark")]
)
def test_pages_fit_every_screen(browser: Browser, site: Served, size: str, scheme: Any) -> None:
    """No sideways scrolling, nothing too small for a finger, nothing that the checker finds.

    The checker looks at both schemes, at the narrowest and the widest screen: what lies between
    has nothing of its own.
    """
    check = fits if size == "sideways" else look
    page = browser.new_page(**SIZES[size], color_scheme=scheme)
    console = Console(page)
    page.goto(address(site))
    check(page, f"clips-{size}-{scheme}")
    page.click("a.clip >> nth=0")
    expect(page.locator("#caution")).to_be_visible()
    check(page, f"caution-{size}-{scheme}")
    page.click("#accept")
    expect(page.locator("#player")).to_be_visible()
    wait_frames(page, 24)  # enough for a summary
    page.locator("#player").focus()
    page.keyboard.press("Tab")
    check(page, f"player-{size}-{scheme}")
    finish(page)
    check(page, f"summary-{size}-{scheme}")
    page.goto(address(site, "/live"))
    check(page, f"reference-{size}-{scheme}")
    page.goto(address(site, "/how-to-film.html"))
    check(page, f"how-to-{size}-{scheme}")
    page.close()
    assert not console.errors


_GRAB = """() => {
  const canvas = document.getElementById("bars");
  const high = Math.floor(canvas.height / 4); // the strip is at the foot
  const data = canvas.getContext("2d").getImageData(
    0, canvas.height - high, canvas.width, high).data;
  let text = "";
  for (let i = 1; i < data.length; i += 4) text += String.fromCharCode(data[i]);
  return [canvas.width, canvas.height, high, btoa(text)];
}"""


@pytest.mark.parametrize("size", ["phone", "sideways", "desktop"])
def test_live_bars_carry_a_strip_that_is_read(browser: Browser, site: Served, size: str) -> None:
    page = browser.new_page(**SIZES[size])
    console = Console(page)
    page.goto(address(site, "/live", "phone.test"))
    expect(page.locator("#start")).to_be_enabled()
    page.click("#start")
    page.click("#accept")
    expect(page.locator("#live")).to_contain_text("a bar crosses in")
    wait_refreshes(page, 40)
    numbers, near = [], None
    for _ in range(3):
        wait_refreshes(page, 2)  # or a quick machine would read the same picture again
        width, height, high, text = page.evaluate(_GRAB)
        picture = np.frombuffer(base64.b64decode(text), np.uint8).reshape(high, width)
        ratio = SIZES[size].get("device_scale_factor", 1)
        assert (width, height) == tuple(
            ratio * s // 2 * 2 for s in SIZES[size]["viewport"].values()
        )
        reading = read_strip(picture, near=near)
        assert isinstance(reading, StripReading)
        near = reading.placement
        assert reading.identity is not None
        assert abs(reading.identity.rate - 60) < 0.2
        numbers.append(reading.number)
    assert numbers == sorted(set(numbers))
    shot(page, f"live-{size}")
    found = finish(page)
    assert (found["file"], found["kind"]) == ("live bars", "browser")
    assert found["details"]["measured_refresh"]["frames"] > 30
    expect(page.locator("#stage")).to_be_hidden()
    page.close()
    assert not console.errors
