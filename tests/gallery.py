"""The committed gallery that the README shows: `python -m tests.gallery`."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np

from patterns.clip import describe
from patterns.drawing.canvas import to_png
from patterns.drawing.hold_chart import hold_chart
from patterns.frame_source import FrameSource
from patterns.kit.kit import poster_jpeg
from patterns.kit.make_clip import OUTPUTS
from patterns.picture.planes import picture_bytes, planes_to_rgb
from patterns.scenes.table import PATTERNS
from patterns.scenes.terrain.motion import TerrainMotion
from patterns.timing.cadence import cadence, parse_display
from patterns.whole_file import make_folder, write_whole

__all__ = ["make_gallery"]

ANGLES_DEG = (0, 90, 180, 360)
GAP_PX = 8
PAPER = (0xFA, 0xF8, 0xF3)
FAST_FLIGHT = TerrainMotion(ground_speed_m_s=Fraction(20))


def _shutter_strip() -> bytes:
    """The track at the lower edge of one frame of the flight, at four shutter angles, 1:1."""
    tiles = []
    for angle in ANGLES_DEG:
        clip = describe(FAST_FLIGHT, rate=24, shutter=Fraction(angle), strip="none")
        tiles.append(planes_to_rgb(FrameSource(clip).draw(60))[-360:, 1240:1560])
    gap = np.full((360, GAP_PX, 3), PAPER, np.uint8)
    row = [part for tile in tiles for part in (gap, tile)][1:]
    return picture_bytes(np.hstack(row), ".jpg", quality=86, optimize=True)


def make_gallery(folder: Path) -> list[Path]:
    """Write the gallery's pictures into `folder`; returns their paths."""
    pictures = {
        f"{pattern}.jpg": poster_jpeg(describe(pattern, rate=24), 60, 1280) for pattern in PATTERNS
    }
    pictures["shutter.jpg"] = _shutter_strip()
    chart = hold_chart([cadence(Fraction(rate), parse_display("60")) for rate in (24, 25, 30, 60)])
    pictures["cadence.png"] = to_png(chart)
    make_folder(folder)
    for name, data in pictures.items():
        write_whole(folder / name, data, force=True)
    return [folder / name for name in pictures]


if __name__ == "__main__":
    make_gallery(OUTPUTS / "gallery")
