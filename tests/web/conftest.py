"""What all tests of the pages share: clips, their server, a page."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from patterns.kit.kit import kit_clips, make_kit
from patterns.scenes.bars.pattern import BARS
from patterns.timing.cadence import Display
from tests.chromium import Console
from tests.web.browsing import SIZES
from tests.web.serving import Served, served

RATES = (24, 25, 30, 60)


@pytest.fixture(scope="session")
def kit(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("web") / "tarn-hollow"
    size = (640, 360)
    clips = kit_clips([BARS.motion(*size)], map(Fraction, RATES), size=size, seconds=3)
    make_kit(folder, clips, (Display.fixed(60),))
    (folder.parent / "secret.txt").write_text("not for devices")
    return folder


@pytest.fixture(scope="session")
def site(kit: Path) -> Iterator[Served]:
    """A server that all tests share which do not end or strain it."""
    with served(kit) as running:
        yield running


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A page that may log no error."""
    opened = browser.new_page(**SIZES["desktop"])
    console = Console(opened)
    yield opened
    opened.close()
    assert not console.errors
