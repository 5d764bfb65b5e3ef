"""How to film and photograph a screen: one text, in the kit's folder and on the served page."""

from __future__ import annotations

from importlib.resources import files

from patterns.drawing.page import html_page

__all__ = ["HOW_TO_NAME", "HOW_TO_TITLE", "how_to_body", "how_to_page"]

HOW_TO_NAME = "how-to-film.html"
HOW_TO_TITLE = "How to film and photograph a screen"


def how_to_body() -> str:
    """HTML of the page's `main`."""
    return files("patterns.kit").joinpath("how_to_film.html").read_text(encoding="utf-8")


def how_to_page() -> str:
    """Whole page, for a folder."""
    return html_page(HOW_TO_TITLE, how_to_body())
