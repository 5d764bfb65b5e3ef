"""The picture of the worst moment, with the area that flashed or was striped marked in it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

from patterns.errors import RequestError
from patterns.picture.arrays import BoolArray, UInt8Array
from patterns.picture.stills import picture_bytes
from patterns.safety.check import WorstMoment
from patterns.whole_file import write_whole

WIDTH = 960
OUTLINE = (255, 0, 200)
OUTLINE_PX = 4
DIMMED = 0.35  # what is outside is shown with this share of its signal


def marked_picture(moment: WorstMoment) -> UInt8Array:
    """R'G'B' picture, 960 wide: outside of the area dimmed, the area outlined."""
    rows, columns = moment.picture.shape[:2]
    size = (WIDTH, max(1, round(WIDTH * rows / columns)))
    picture = np.asarray(Image.fromarray(moment.picture).resize(size, Image.Resampling.BICUBIC))
    inside = np.asarray(Image.fromarray(moment.region).resize(size, Image.Resampling.NEAREST))
    pixels = np.where(inside[..., np.newaxis], picture, picture * DIMMED)
    marked = np.asarray(pixels, np.uint8)
    marked[inside & ~_eroded(inside, OUTLINE_PX)] = OUTLINE
    return marked


def _eroded(mask: BoolArray, by_px: int) -> BoolArray:
    """Places from which nothing outside, nor the picture's border, is within `by_px`."""
    kept = np.pad(mask, by_px)
    for axis in (0, 1):
        kept = np.logical_and.reduce([np.roll(kept, k, axis) for k in range(-by_px, by_px + 1)])
    return np.asarray(kept[by_px:-by_px, by_px:-by_px], np.bool_)


def check_picture_path(path: Path) -> None:
    """Refuse a name that is not that of a PNG file."""
    if path.suffix.lower() != ".png":
        raise RequestError(f"picture {path.name!r} must end in .png")


def write_marked(moment: WorstMoment, path: Path, *, force: bool) -> None:
    """Write the marked picture as PNG; the file is whole or not there."""
    check_picture_path(path)
    write_whole(path, picture_bytes(marked_picture(moment), ".png"), force=force)
