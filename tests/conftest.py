"""All tests run as the command does, and which of them need the machine to themselves."""

import pytest

from patterns.__main__ import settle

settle()  # before numpy is loaded

# What is measured there, in a browser or by a clock, would be another thing beside other work.
ALONE = (
    "tests/web/test_screens.py",
    "tests/web/test_pages.py",
    "tests/web/test_kit_page.py",
    "tests/web/test_server.py",
    "tests/cli/test_serve.py",
    "tests/present/test_demo_page.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if item.nodeid.startswith(ALONE):
            item.add_marker(pytest.mark.alone)
