"""Frame sizes by name or as WIDTHxHEIGHT."""

from __future__ import annotations

import re

from patterns.errors import RequestError

MIN_SIDE, MAX_SIDE = 128, 8192  # pixels

SIZES: dict[str, tuple[int, int]] = {
    "360p": (640, 360),
    "480p": (854, 480),
    "540p": (960, 540),
    "720p": (1280, 720),
    "1080p": (1920, 1080),
    "1440p": (2560, 1440),
    "4k": (3840, 2160),
    "8k": (7680, 4320),
    "phone-720": (720, 1280),
    "phone-1080": (1080, 1920),
    "phone-1080-tall": (1080, 2340),
    "phone-1440-tall": (1440, 3120),
    "square": (1080, 1080),
}
_PAIR = re.compile(r"(\d{1,5})\s*[x×]\s*(\d{1,5})")


def parse_size(text: str) -> tuple[int, int]:
    """Width and height in pixels from '1080p', 'phone-1080' or '1920x1080'.

    Raises
    ------
    RequestError
        Neither a name of `SIZES` nor WIDTHxHEIGHT, or a side that is not allowed.
    """
    wanted = text.strip().lower()
    if wanted in SIZES:
        return SIZES[wanted]
    pair = _PAIR.fullmatch(wanted)
    if not pair:
        raise RequestError(
            f"size {text!r} is unknown: give WIDTHxHEIGHT in pixels or one of {', '.join(SIZES)}"
        )
    width, height = int(pair[1]), int(pair[2])
    check_size(width, height)
    return width, height


def check_size(width: int, height: int) -> None:
    """Refuse what no clip can be, in pixels.

    Raises
    ------
    RequestError
        A side is odd (chroma is stored for pairs of pixels) or not 128 to 8192.
    """
    for name, side in (("width", width), ("height", height)):
        if side % 2 or not MIN_SIDE <= side <= MAX_SIDE:
            raise RequestError(
                f"size {width}x{height} is not possible: its {name} must be an even number from "
                f"{MIN_SIDE} to {MAX_SIDE}; try 1080p or 1280x720"
            )


def size_name(width: int, height: int) -> str:
    """Short name of a size, '1080p', or '1000x500' where it has none."""
    for name, size in SIZES.items():
        if size == (width, height):
            return name
    return f"{width}x{height}"
