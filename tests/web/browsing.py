"""Screens that pages are looked at on, and their addresses."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from playwright.sync_api import Page

from tests.web.serving import Served

__all__ = ["SIZES", "address", "shot"]

PHONE = {"viewport": {"width": 390, "height": 844}, "device_scale_factor": 3, "has_touch": True}
SIDEWAYS = {"viewport": {"width": 844, "height": 390}, "device_scale_factor": 3}
TABLET = {"viewport": {"width": 820, "height": 1180}, "device_scale_factor": 2}
DESKTOP = {"viewport": {"width": 1280, "height": 800}}
SIZES: dict[str, Any] = {
    "phone": PHONE, "sideways": SIDEWAYS, "tablet": TABLET, "desktop": DESKTOP,
}  # fmt: skip


def address(site: Served, path: str = "/", host: str = "localhost") -> str:
    return f"http://{host}:{site.port}{site.base}{path}"


def shot(page: Page, name: str) -> None:
    """Keep a picture where somebody asked for pictures to look at."""
    if folder := os.environ.get("EVENHOLD_SCREENSHOTS"):
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)
