"""Screens at other refresh rates: what the page says against what the framebuffer showed.

A headed Chromium plays on a dummy X screen. The screen's own framebuffer is read back
several hundred times a second, its strip is read with our reader, and each change is put
on the grid of refreshes. A busy machine looks too seldom or draws too late; what cannot
be told then is left out, and the whole is tried again, so that load is not taken for a
wrong hold, nor a wrong hold for load: one that is wrong is so at every try.
"""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page, Playwright

from patterns.strip.placement import Placement
from patterns.strip.read import StripReading, read_at, read_strip
from patterns.timing.cadence import Display, cadence
from tests.chromium import finish, launch, open_player, unavailable
from tests.web.dummy_screen import (
    HEIGHT,
    PACKAGES,
    RATES_HZ,
    WIDTH,
    DummyScreen,
    Framebuffer,
    Shown,
    Watch,
    dummy_screen,
    green,
    missing,
)
from tests.web.serving import Served

TRIES = 15
LEAST_COMPARED = 20
LATE_SHARE = 0.1  # frames that the machine drew late; a page that counts wrongly errs in many
WRONG_SHARE = 0.02
WATCHED_MS = 2600
CLEAR_ARC = 0.15  # of a refresh that must be free of changes, so that the grid can be laid


@pytest.fixture(scope="module")
def screen(tmp_path_factory: pytest.TempPathFactory) -> Iterator[DummyScreen]:
    if what := missing():
        unavailable("A dummy X screen", what)
    if sys.platform == "win32":
        pytest.skip("there is no such X server")
    own = os.getpriority(os.PRIO_PROCESS, 0)
    with contextlib.suppress(PermissionError):  # what is started from here on inherits it
        os.setpriority(os.PRIO_PROCESS, 0, -10)
    try:
        with dummy_screen(tmp_path_factory.mktemp("screen")) as running:
            yield running
    finally:
        os.setpriority(os.PRIO_PROCESS, 0, own)


def find_strip(display: str) -> StripReading:
    """Strip of the whole screen; looked for until it is there."""
    framebuffer = Framebuffer(display)
    try:
        for _ in range(100):
            found = read_strip(green(framebuffer.raw(0, 0, WIDTH, HEIGHT), WIDTH))
            if isinstance(found, StripReading):
                return found
            time.sleep(0.05)
    finally:
        framebuffer.close()
    raise AssertionError("no strip on the screen")


def box_of(placement: Placement) -> tuple[int, int, int, int]:
    corners = placement.to_picture([[0, 0], [1, 0], [0, 1], [1, 1]])
    left, top = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 3, 0)
    right, bottom = np.minimum(np.ceil(corners.max(axis=0)).astype(int) + 3, [WIDTH, HEIGHT])
    return int(left), int(top), int(right - left), int(bottom - top)


@dataclass(frozen=True)
class Coming:
    """A frame that came on; `before_s` to `first_s` is when."""

    number: int
    before_s: float
    first_s: float


def comings(shown: list[Shown], placement: Placement, box: tuple[int, ...]) -> list[Coming]:
    """Frames in the order in which they came; the first was on already and is left out."""
    shift = np.array([[1, 0, -box[0]], [0, 1, -box[1]], [0, 0, 1]], float)
    here = Placement(placement.arrangement, shift @ placement.matrix)
    found: list[Coming] = []
    for picture in shown:
        reading = read_at(green(picture.data, box[2]), here)
        if not isinstance(reading, StripReading) or reading.later is not None:
            continue
        if not found or found[-1].number != reading.number:
            found.append(Coming(reading.number, picture.before_s, picture.first_s))
    return found[1:]


def screen_steps(found: list[Coming], interval_s: float) -> list[tuple[int, float, int]]:
    """(number, time, refresh) of frames whose coming was seen in time.

    Changes come a little after their refresh, some later than others: the grid is laid
    so that the widest stretch without any change lies before it.
    """
    sure = [c for c in found if c.first_s - c.before_s < 0.5 * interval_s]
    if len(sure) < LEAST_COMPARED:
        return []
    times = [(c.before_s + c.first_s) / 2 for c in sure]
    places = np.sort([time_s / interval_s % 1 for time_s in times])
    gaps = np.diff(np.append(places, places[0] + 1))
    widest = int(gaps.argmax())
    if gaps[widest] < CLEAR_ARC:
        return []
    edge = places[widest] + gaps[widest] / 2
    steps = [int(np.floor(time_s / interval_s - edge)) for time_s in times]
    return [(c.number, t, step) for c, t, step in zip(sure, times, steps, strict=True)]


def watch(page: Page, screen: DummyScreen, name: str) -> tuple[dict[str, Any], list[Coming], float]:
    """Play and watch a clip: its reading, what the screen showed, and the page's clock zero."""
    open_player(page, name)
    page.mouse.click(300, 200)  # the bars over the strip go away
    placement = find_strip(screen.display).placement
    box = box_of(placement)
    watching = Watch(screen.display, box)
    begun_s = time.monotonic()
    zero_s = begun_s - page.evaluate("performance.now()") / 1000
    watching.start()
    page.wait_for_timeout(WATCHED_MS)
    shown = watching.stop()
    return finish(page), comings(shown, placement, box), zero_s


def lateness(
    reading: dict[str, Any], on_screen: list[tuple[int, float, int]], zero_s: float
) -> list[int]:
    """By how many refreshes each frame came later on the screen than the page says.

    Counted from what most frames do; all nought means that every hold is the same here
    and there.
    """
    interval_s = reading["details"]["measured_refresh"]["interval_ms"] / 1000
    begun_s = reading["holds"][0]["start_s"] if reading["holds"] else 0.0
    apart = [
        step - round((hold["start_s"] - begun_s) / interval_s)
        for number, time_s, step in on_screen
        for hold in reading["holds"]
        # the same number comes again with every loop, three seconds later
        if hold["number"] == number and abs(hold["start_s"] + zero_s - time_s) < 1
    ]
    usual = max(set(apart), key=apart.count) if apart else 0
    return [steps - usual for steps in apart]


@pytest.mark.parametrize("hz", RATES_HZ)
def test_holds_are_those_of_the_framebuffer_and_the_arithmetic(
    playwright: Playwright, screen: DummyScreen, site: Served, hz: int
) -> None:
    screen.set_refresh(hz)
    tried = []
    options: dict[str, Any] = {
        "headless": False,
        "env": {**os.environ, "DISPLAY": screen.display},
        "args": ["--window-position=0,0", f"--window-size={WIDTH},{HEIGHT}"],
    }
    with contextlib.closing(launch(playwright, **options)) as browser:
        page = browser.new_page(no_viewport=True)
        page.goto(f"http://phone.test:{site.port}{site.base}/")
        for _ in range(TRIES):
            reading, found, zero_s = watch(page, screen, "evenhold-bars-24fps.mp4")
            measured = reading["details"]["measured_refresh"]
            assert abs(measured["hz"] - hz) < 0.002 * hz
            on_screen = screen_steps(found, measured["interval_ms"] / 1000)
            late = lateness(reading, on_screen, zero_s)
            tried.append((reading["verdict"], len(found), late))
            agrees = sum(map(bool, late)) <= LATE_SHARE * len(late)
            if len(late) >= LEAST_COMPARED and agrees and by_arithmetic(reading, hz):
                return
    pytest.fail(f"at {hz} Hz, try by try: {tried}")


def by_arithmetic(reading: dict[str, Any], hz: int) -> bool:
    """Whether the holds are ceil(n R/F) for some phase, in all but one of fifty."""
    expected = cadence(Fraction(24), Display.fixed(hz)).holds
    held = {h["number"]: h["refreshes"] for h in reading["holds"]}
    best = max(
        sum(held[n] == expected[(n + turn) % len(expected)] for n in held)
        for turn in range(len(expected))
    )
    return bool(best >= (1 - WRONG_SHARE) * len(held))


def test_what_to_install_is_said() -> None:
    assert missing() in ("", f"apt-get install --no-install-recommends {PACKAGES}")
