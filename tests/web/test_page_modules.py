"""The page's own modules, called in the browser: the refresh, the holds, the scaling."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from playwright.sync_api import Browser, Page

from tests.chromium import Console
from tests.web.browsing import address
from tests.web.serving import Served


@pytest.fixture(scope="module")
def page(shared_browser: Browser, site: Served) -> Iterator[Page]:
    """One for all: the functions that are called keep nothing."""
    opened = shared_browser.new_page()
    console = Console(opened)
    opened.goto(address(site))
    yield opened
    opened.close()
    assert not console.errors


_FIT = "async (times) => (await import('./static/refresh.js')).fitRefresh(times)"


@pytest.mark.parametrize("hz", [50, 60000 / 1001, 60, 90, 120, 144, 240])
@pytest.mark.parametrize("grain_ms", [0.1, 1.0])
def test_the_refresh_is_the_slope(page: Page, hz: float, grain_ms: float) -> None:
    """Six seconds of rounded timestamps, a third of them missing; against NumPy's own fit."""
    rng = np.random.default_rng(7)
    numbers = np.arange(round(6 * hz))
    numbers = numbers[rng.random(len(numbers)) > 0.33]
    times = np.floor((1000 + numbers * 1000 / hz) / grain_ms) * grain_ms
    found = page.evaluate(_FIT, times.tolist())
    assert found["interval_ms"] == pytest.approx(np.polyfit(numbers, times, 1)[0], rel=1e-6)
    assert abs(1000 / found["interval_ms"] - hz) < (0.005 if grain_ms < 1 else 0.05)
    assert found["state"] == "steady"


def test_what_is_not_steady_is_said(page: Page) -> None:
    saving = page.evaluate(_FIT, [i * 1000 / 30 for i in range(90)])
    assert saving["state"] == "power-saving"
    changing = [i * 1000 / 60 for i in range(100)]
    changing += [changing[-1] + (i + 1) * 1000 / 48 for i in range(100)]
    assert page.evaluate(_FIT, changing)["state"] == "changing"
    rng = np.random.default_rng(3)
    variable = np.cumsum(rng.uniform(7, 20, 200)).tolist()
    assert page.evaluate(_FIT, variable)["state"] == "changing"
    assert page.evaluate(_FIT, [1, 2, 3])["state"] == "unknown"


def test_the_chart_tells_unobserved_from_long(page: Page) -> None:
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
def test_scaling_is_said_honestly(page: Page, scale: float, words: str) -> None:
    code = "async (s) => (await import('./static/screen.js')).scalingText(s)"
    text = page.evaluate(code, scale)
    assert text == "" if not words else words in text
