"""One frame of a clip as a picture, for pages."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image

from patterns.clip import Clip
from patterns.frame_source import FrameSource
from patterns.picture.stills import picture_bytes, planes_to_rgb
from patterns.side_by_side import Progress
from patterns.whole_file import write_whole

__all__ = ["poster_jpeg", "write_poster"]

WIDTH = 960  # pixels


def poster_jpeg(clip: Clip, n: int, width: int) -> bytes:
    """Frame `n` of `clip` as a JPEG `width` pixels wide."""
    picture = Image.fromarray(planes_to_rgb(FrameSource(clip).draw(n)))
    picture.thumbnail((width, picture.height), Image.Resampling.LANCZOS)
    return picture_bytes(np.asarray(picture), ".jpg", quality=88, optimize=True)


def write_poster(clip: Clip, folder: Path, progress: Progress) -> str:  # noqa: ARG001 - a task
    """Write the middle frame of `clip` into `folder`; returns the file's name.

    Without the strip, whose figures are those of one rate: a pattern's clips share it.
    """
    name = f"evenhold-{clip.pattern}.jpg"
    plain = replace(clip, strip="none")
    if not clip.motion.in_pixels and clip.width > WIDTH:
        # Drawn no larger than it is shown, where the scene stays the same.
        plain = replace(plain, width=WIDTH, height=2 * round(clip.height * WIDTH / clip.width / 2))
    write_whole(folder / name, poster_jpeg(plain, clip.frames // 2, WIDTH), force=True)
    return name
