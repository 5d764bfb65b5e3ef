"""A file read back: a photo or a video."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from patterns.errors import InputError, RequestError
from patterns.reading.opened import Given, OpenVideo
from patterns.video.probe import first_bytes

if TYPE_CHECKING:  # what makes something of a file is loaded once a decoder is at work on it
    from patterns.reading.reading import Reading
    from patterns.side_by_side import Progress

PHOTOS = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")  # how a JPEG and a PNG begin


def read_file(path: Path, given: Given, progress: Progress | None = None) -> Reading:
    """Read a video or photo; `progress` is called with the pictures done and their number.

    Raises `InputError`: it cannot be read; `RequestError`: it is said to be what it cannot be.
    """
    if first_bytes(path).startswith(PHOTOS):
        # here, because videos need not wait for what reads photos
        from patterns.reading.photo import judged_photo, open_photo

        photo = open_photo(path)
        if photo is not None:
            if given.kind not in (None, "photo"):
                raise RequestError(f"{path} is a still picture, not a {given.kind}: leave --as out")
            return judged_photo(photo, path.name, given.exposure_s, given.display)
    if given.kind == "photo":
        raise InputError(f"{path} is no photo that can be read: give a JPEG or PNG")
    with closing(OpenVideo(path, given, progress)) as video:
        # here, because the decoder is at work while it is loaded
        from patterns.reading.video_reading import judged_video

        return judged_video(video, path, given)
