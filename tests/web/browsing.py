"""Screens that pages are looked at on, and their addresses."""

from __future__ import annotations

from typing import Any

from tests.web.serving import Served

__all__ = ["SIZES", "address"]

PHONE = {"viewport": {"width": 390, "height": 844}, "device_scale_factor": 3, "has_touch": True}
SIDEWAYS = {"viewport": {"width": 844, "height": 390}, "device_scale_factor": 3}
DESKTOP = {"viewport": {"width": 1280, "height": 800}}
SIZES: dict[str, Any] = {
    "phone": PHONE, "sideways": SIDEWAYS, "desktop": DESKTOP,
}  # fmt: skip


def address(site: Served, path: str = "/", host: str = "localhost") -> str:
    return f"http://{host}:{site.port}{site.base}{path}"
