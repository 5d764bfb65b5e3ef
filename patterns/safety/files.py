"""Checks a file: video, animation (GIF, APNG, WebP) or still picture."""

from __future__ import annotations

import os
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from patterns.safety.opened import OpenVideo
from patterns.safety.viewing import Viewing
from patterns.video.probe import first_bytes

if TYPE_CHECKING:
    from patterns.safety.file_pictures import FileResult
    from patterns.side_by_side import Progress

IMAGES = (b"GIF8", b"\x89PNG", b"RIFF", b"\xff\xd8\xff", b"BM", b"II", b"MM")  # how those begin


def check_file(
    path: str | os.PathLike[str],
    viewing: Viewing | None = None,
    *,
    loop: bool = False,
    progress: Progress | None = None,
) -> FileResult:
    """Check all pictures of a file.

    `path`: a video, an animation or a still picture.
    `viewing`: assumed viewing.
    `loop`: look at a video as played in a loop. Animations and videos shorter than 5 s always are:
    WCAG 2.2 asks for that of short clips.
    `progress`: called with the pictures done and their number.
    Raises `InputError`: the file cannot be read.
    """
    place, viewing = Path(path), viewing or Viewing()
    if first_bytes(place).startswith(IMAGES):  # for others Pillow would load all its plug-ins
        from patterns.safety.file_pictures import check_image

        found = check_image(place, viewing, progress)
        if found is not None:
            return found
    with closing(OpenVideo(place)) as video:
        # here, because the decoder is at work while it is loaded
        from patterns.safety.file_pictures import check_video

        return check_video(place, video, viewing, loop, progress)
