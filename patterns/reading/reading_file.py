"""Readings out of JSON files, whatever command or person kept them."""

from __future__ import annotations

import json
import os
from pathlib import Path

from patterns.errors import InputError
from patterns.reading.reading import Reading
from patterns.reading.reading_fields import from_json
from patterns.video.packets import unreadable

__all__ = ["load_readings"]

MOST_BYTES = 256 << 20
_BEFORE = b"\xef\xbb\xbf\xfe\xff\0 \t\r\n"  # white space and byte order marks of UTF-8, -16 and -32


def load_readings(path: Path) -> list[Reading] | None:
    """Readings in a JSON file (an object or a list of them); None if it is no JSON.

    UTF-8, UTF-16 and UTF-32 are read, byte order mark or not: shells write what they like.

    Raises
    ------
    InputError
        Missing, too large, damaged, or JSON of something else.
    """
    if not os.path.isfile(path) or path.stat().st_size == 0:  # noqa: PTH113 - raises nothing
        raise unreadable(path, "")
    with path.open("rb") as file:
        looks = file.read(64).lstrip(_BEFORE)[:1] in (b"{", b"[")
    if not looks and path.suffix.lower() != ".json":
        return None
    if path.stat().st_size > MOST_BYTES:
        raise InputError(f"{path} is too large for a reading: make it again")
    try:
        data = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError) as error:
        raise InputError(f"{path} is not JSON that can be read ({error}): make it again") from error
    several = data if isinstance(data, list) else [data]
    if not several:
        raise InputError(f"{path} holds no reading: make one with 'evenhold read FILE --json'")
    return [from_json(entry, source=str(path)) for entry in several]
