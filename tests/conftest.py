"""All tests run as the command does; one browser for all; what needs the machine to itself."""

from __future__ import annotations

import os
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, settings

from patterns.__main__ import settle

if TYPE_CHECKING:  # a machine without a browser runs the tests that need none
    from playwright.sync_api import Browser, Playwright
    from xdist.remote import Producer
    from xdist.scheduler import Scheduling

settle()  # before numpy is loaded

# The same examples at every run, and no clock that a busy machine exceeds. New examples, and many
# more of them: pytest --hypothesis-profile thorough
PATIENT: Any = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile("suite", max_examples=60, derandomize=True, **PATIENT)
settings.register_profile("thorough", max_examples=1000, **PATIENT)
settings.load_profile("suite")

# What is measured there, in a browser or by a clock, would be another thing beside other work.
ALONE = (
    "tests/web/test_screens.py",
    "tests/web/test_pages.py::test_each_clip_plays",
    "tests/web/test_kit_page.py::test_it_plays_from_the_folder",
)


# The files that take longest, so that none is begun when all else is done.
LONGEST = (
    "tests/scenes/test_orbit_frames.py",
    "tests/footage/test_footage.py",
    "tests/video/test_files.py",
    "tests/reading/test_clip_file.py",
    "tests/strip/test_photo.py",
    "tests/scenes/test_terrain_frames.py",
    "tests/cli/test_render.py",
    "tests/test_side_by_side.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if item.nodeid.startswith(ALONE):
            item.add_marker(pytest.mark.alone)
    # stable: what opens pages, which waits most, then the longest, then the rest as collected
    items.sort(key=lambda item: (not needs_browser(item.path), not item.nodeid.startswith(LONGEST)))


@cache
def needs_browser(file: Path) -> bool:
    """Whether a file's tests open pages, or use the talk or the server that pages come from."""
    text = file.read_text(encoding="utf-8")
    return "playwright" in text or "talk_folder" in text or "site: Served" in text


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """One process more than there are cores: the one with the browser waits most of its time."""
    return (os.cpu_count() or 1) + 1


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> Scheduling:
    """Each process gets whole files, whose fixtures are made once; one gets all with a browser."""
    from xdist.scheduler import LoadFileScheduling

    class FilesAndBrowser(LoadFileScheduling):  # type: ignore[misc] # xdist has no types
        def _split_scope(self, nodeid: str) -> str:
            file = nodeid.partition("::")[0]
            # screens have browsers of their own, and wait while the shared one plays
            shared = file != ALONE[0] and needs_browser(config.rootpath / file)
            return "browser" if shared else file

    config.option.loadscopereorder = False  # the order above, not by the number of tests
    return FilesAndBrowser(config, log)


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
