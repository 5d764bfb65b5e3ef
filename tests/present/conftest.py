"""A real browser without a window, for tests of pages; where there is none they are skipped."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

NAMES = ("chromium", "chromium-browser", "google-chrome")
HOW = (
    "no Chromium on this machine: install the package 'chromium' of your system, or run "
    "'python -m playwright install chromium'"
)


def _found(own: str) -> str | None:
    """Path of a Chromium: the system's, or one that the test library has fetched."""
    for name in NAMES:
        path = shutil.which(name)
        if path:
            return path
    return own if Path(own).exists() else None


# until its package is done, not longer: two such libraries cannot run in one thread
@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    with sync_playwright() as library:
        path = _found(library.chromium.executable_path)
        if path is None:
            if os.environ.get("CI"):
                pytest.fail(HOW)
            pytest.skip(HOW)
        launched = library.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield launched
        launched.close()
