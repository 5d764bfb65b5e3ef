"""Lettering in the one typeface that needs no font on the machine: the one inside Pillow.

`ImageFont.load_default(size=...)` (Pillow 10.1 and later) carries its own outlines and
is laid out without any shaping library, so that the same text gives the same pixels on
every machine with the same Pillow.
"""

from __future__ import annotations

from functools import lru_cache
from math import ceil

from PIL import ImageFont

LOWEST_SIZE = 4


@lru_cache(maxsize=64)
def font(size_px: int) -> ImageFont.FreeTypeFont:
    """Pillow's own typeface at `size_px` pixels to the em (4 or more)."""
    if size_px < LOWEST_SIZE:
        raise ValueError(f"lettering of {size_px} px cannot be drawn: {LOWEST_SIZE} is the least")
    loaded = ImageFont.load_default(size=size_px)
    if not isinstance(loaded, ImageFont.FreeTypeFont):  # a Pillow built without FreeType
        raise RuntimeError("this Pillow was built without FreeType: install a wheel from PyPI")
    return loaded


def typeface() -> bytes:
    """The typeface itself, a TrueType file of 13 kB, for pages and drawings to carry along."""
    return bytes(font(24).font_bytes)


@lru_cache(maxsize=64)
def cap_height_px(size_px: int) -> int:
    """Rows from the baseline up to the top of an H."""
    return round(-font(size_px).getbbox("H", anchor="ls")[1])


@lru_cache(maxsize=4096)
def text_width_px(text: str, size_px: int) -> int:
    """Columns that `text` takes: its advance, rounded up to whole pixels."""
    return ceil(font(size_px).getlength(text))


def size_for_width(text: str, width_px: float, largest_px: int) -> int:
    """Largest size, at most `largest_px`, at which `text` fits `width_px`; never below 4."""
    size = largest_px
    while size > LOWEST_SIZE and text_width_px(text, size) > width_px:
        size -= 1
    return size
