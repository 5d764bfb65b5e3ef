"""All tests run as the command does; one browser for all; what needs the machine to itself."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from patterns.__main__ import settle

if TYPE_CHECKING:  # a machine without it runs the tests that need none
    from playwright.sync_api import Browser, Playwright

settle()  # before numpy is loaded

# What is measured there, in a browser or by a clock, would be another thing beside other work.
ALONE = (
    "tests/web/test_screens.py",
    "tests/web/test_server.py",
    "tests/web/test_pages.py::test_each_clip_plays",
    "tests/web/test_pages.py::test_media_times",
    "tests/web/test_kit_page.py::test_it_plays_from_the_folder",
    "tests/present/test_demo_page.py::test_while_it_plays",
    "tests/present/test_demo_page.py::test_slowing",
)


@pytest.hookimpl(tryfirst=True)  # before the groups are read
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if item.nodeid.startswith(ALONE):
            item.add_marker(pytest.mark.alone)
        elif {"playwright", "talk_folder"} & set(getattr(item, "fixturenames", ())):
            item.add_marker(pytest.mark.xdist_group("browser"))  # one process has one browser


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    """What drives browsers; there can be one in a process."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="session")
def shared_browser(playwright: Playwright) -> Iterator[Browser]:
    """Chromium without a window."""
    from tests.chromium import launch

    running = launch(playwright)
    yield running
    running.close()


@pytest.fixture
def browser(shared_browser: Browser) -> Iterator[Browser]:
    """The one browser; what a test leaves open plays on beside no other test."""
    yield shared_browser
    for context in shared_browser.contexts:
        context.close()
