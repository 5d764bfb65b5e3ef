"""What a notebook needs beside `describe` and `frames`: write a clip, ask for a cadence."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

from patterns.clip import Clip
from patterns.kit.make_clip import clip_job, make_clip
from patterns.timing.cadence import Cadence, parse_display
from patterns.timing.cadence import cadence as cadence_on
from patterns.timing.rates import parse_rate


def write(clip: Clip, path: str | Path, *, force: bool = False) -> dict[str, Any]:
    """Write a clip and its record; returns the record (schema 'evenhold/clip 1').

    Raises `EvenholdError`: as `evenhold render` reports it; nothing is left behind.
    """
    return make_clip(clip_job(clip, path, force=force))


def cadence(rate: str | int | Fraction, display: str | int) -> Cadence:
    """Cadence of a rate on a display, '60' or a variable range '48-120', in hertz."""
    return cadence_on(parse_rate(str(rate)), parse_display(str(display)))
