"""Evenhold: clips that show how evenly a screen holds the frames of a video.

>>> import patterns
>>> clip = patterns.describe("bars", rate="23.976", shutter=180, size="360p", seconds=1)
>>> luma = [frame.y for frame in patterns.frames(clip)]  # uint8 (360, 640), 24 of them
>>> record = patterns.write(clip, "bars.mp4")  # doctest: +SKIP
>>> patterns.cadence("24", "60").holds
(3, 2)
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fractions import Fraction
    from pathlib import Path

    from patterns.clip import Clip, describe
    from patterns.errors import EvenholdError
    from patterns.frame_source import frames
    from patterns.picture.planes import planes_to_rgb
    from patterns.timing.cadence import Cadence

__all__ = ["Clip", "EvenholdError", "cadence", "describe", "frames", "planes_to_rgb", "write"]

# Loaded when first used, so that `import patterns` costs nothing.
_HOMES = {
    "Clip": "patterns.clip",
    "EvenholdError": "patterns.errors",
    "describe": "patterns.clip",
    "frames": "patterns.frame_source",
    "planes_to_rgb": "patterns.picture.planes",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'patterns' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)


def write(clip: Clip, path: str | Path, *, force: bool = False) -> dict[str, Any]:
    """Write a clip and its record; returns the record (schema 'evenhold/clip 1').

    Raises `EvenholdError`: as `evenhold render` reports it; nothing is left behind.
    """
    from patterns.kit.make_clip import clip_job, make_clip

    return make_clip(clip_job(clip, path, force=force))


def cadence(rate: str | int | Fraction, display: str | int) -> Cadence:
    """Cadence of a rate on a display, '60' or a variable range '48-120', in hertz."""
    from patterns.timing.cadence import cadence, parse_display
    from patterns.timing.rates import parse_rate

    return cadence(parse_rate(str(rate)), parse_display(str(display)))
