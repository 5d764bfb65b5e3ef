"""A real browser without a window, for tests of pages; where there is none they are skipped."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from tests.chromium import chromium


# until its package is done, not longer: two such libraries cannot run in one thread
@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    with chromium() as launched:
        yield launched
