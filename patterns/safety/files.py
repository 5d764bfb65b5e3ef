"""Checks a file: a video, an animation (GIF, APNG, WebP) or a still picture."""

from __future__ import annotations

import os
import warnings
from collections.abc import Callable, Generator
from contextlib import closing
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from PIL import Image, ImageSequence, UnidentifiedImageError

from patterns.errors import InputError
from patterns.picture.arrays import UInt8Array
from patterns.picture.planes import Planes
from patterns.safety.check import LOOPED, FlashCheck, WorstMoment
from patterns.safety.luminance import FINE, Grid, Matrix
from patterns.safety.report import SafetyReport
from patterns.safety.viewing import Viewing
from patterns.video.probe import VideoInfo, probe
from patterns.video.reader import read_planes, read_rgb

__all__ = ["FileResult", "check_file"]

IMAGE_FORMATS = ("GIF", "PNG", "WEBP", "JPEG", "BMP", "TIFF")
STILL_RATE = Fraction(1)
ANIMATION_RATE = Fraction(25)  # for the wider spacing of leading edges

# Browsers show a frame that asks for 10 ms or less for 100 ms: common practice, no source.
SHORTEST_S, INSTEAD_S = Fraction(1, 100), Fraction(1, 10)
SHORT_S = 5  # our choice of what is a short clip, no source
RGB_FORMATS = ("rgb", "bgr", "gbr", "argb", "abgr", "0rgb", "0bgr", "pal8")
HDR_TRANSFERS = ("smpte2084", "arib-std-b67")

Progress = Callable[[int, int], None]
# When a picture is due, counted from the first, and how long it stays.
_Shown = tuple[Fraction, Fraction, UInt8Array | Planes]
Frames = Callable[[], "Generator[_Shown, None, None]"]


@dataclass(frozen=True)
class FileResult:
    """What the check of one file found.

    Attributes
    ----------
    path
        The file.
    report
        The findings.
    worst
        The worst moment, or None if nothing flashed and no stripes were found.
    """

    path: Path
    report: SafetyReport
    worst: WorstMoment | None


def check_file(
    path: str | os.PathLike[str],
    viewing: Viewing | None = None,
    *,
    loop: bool = False,
    progress: Progress | None = None,
) -> FileResult:
    """Check all pictures of a file.

    Parameters
    ----------
    path
        A video, an animation or a still picture.
    viewing
        Assumed viewing.
    loop
        Look at a video as played in a loop. Animations and videos shorter than 5 s always
        are: WCAG 2.2 asks for that of short clips.
    progress
        Called with the pictures done and their number.

    Raises
    ------
    InputError
        The file cannot be read.
    """
    place = Path(path)
    if not os.path.isfile(place):  # noqa: PTH113 - raises nothing, whatever the name
        raise InputError(f"{place} is not a file: give a video, an animation or a picture")
    image = _open_image(place)
    if image is None:
        return _check_video(place, viewing or Viewing(), loop, progress)
    with image:
        return _check_image(place, image, viewing or Viewing(), progress)


def _open_image(path: Path) -> Image.Image | None:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            return Image.open(path, formats=IMAGE_FORMATS)
    except UnidentifiedImageError:
        return None
    except (OSError, ValueError, Image.DecompressionBombError) as error:
        raise InputError(f"{path} cannot be read as a picture: {error}") from error


def _check_video(path: Path, viewing: Viewing, loop: bool, progress: Progress | None) -> FileResult:
    info = probe(path)
    rate = info.rate or info.mean_rate or STILL_RATE
    matrix = _matrix(info)
    check = FlashCheck(info.width, info.height, rate, viewing, matrix=matrix)
    grid = Grid.of(info.width, info.height)
    # The decoder averages down to twice the fine grid, so that little comes through the
    # pipe and the sides are even, as 4:2:0 asks.
    size = (2 * grid.columns * FINE, 2 * grid.rows * FINE)
    read = read_rgb if info.pixel_format.startswith(RGB_FORMATS) else read_planes

    def frames() -> Generator[_Shown, None, None]:
        for time_s, frame in read(path, size=size):
            yield time_s - info.times[0], 1 / rate, frame

    length_s = info.times[-1] - info.times[0] + 1 / rate
    again = loop or (info.pictures > 1 and length_s < SHORT_S)
    showing = _Showing(check, progress, info.pictures)
    showing.once(frames)
    notes = _video_notes(info, showing.pictures, again)
    still = showing.pictures == 1
    if again:
        showing.again(frames)
    return FileResult(path, check.report(still=still, notes=notes), check.worst)


class _Showing:
    """Feeds a check with rounds of pictures and says how far it is."""

    def __init__(self, check: FlashCheck, progress: Progress | None, count: int) -> None:
        self._check, self._progress, self._count = check, progress, count
        self.pictures = 0
        self.end_s = Fraction(0)

    def once(self, frames: Frames) -> None:
        """Show all pictures."""
        self._round(frames, None)

    def again(self, frames: Frames) -> None:
        """Show them again and again, until the seam of the loop has been seen."""
        once_s = self.end_s
        while self.pictures and self.end_s < self._check.loop_s(once_s):
            self._round(frames, once_s)

    def _round(self, frames: Frames, once_s: Fraction | None) -> None:
        start_s = self.end_s
        with closing(frames()) as shown:
            for due_s, stays_s, picture in shown:
                if once_s is not None and start_s + due_s >= self._check.loop_s(once_s):
                    return
                self._check.see(start_s + due_s, picture)
                self.end_s = start_s + due_s + stays_s
                self.pictures += 1
                if self._progress is not None:
                    self._progress(min(self.pictures, self._count), self._count)


def _matrix(info: VideoInfo) -> Matrix:
    """Matrix that the file names, else what its size suggests (common practice, no source)."""
    if info.matrix in ("smpte170m", "bt470bg"):
        return "bt601"
    if info.matrix.startswith("bt2020"):
        return "bt2020"
    return "bt601" if not info.matrix and min(info.width, info.height) < 720 else "bt709"


def _video_notes(info: VideoInfo, decoded: int, looped: bool) -> tuple[str, ...]:
    notes = []
    if decoded < info.pictures:
        notes.append(
            f"Only {decoded} of {info.pictures} pictures could be decoded: "
            "the rest was not checked."
        )
    if info.transfer in HDR_TRANSFERS:
        notes.append(
            "The file is HDR: it was judged as SDR, and the limits for HDR (Michelson contrast "
            "above 1/17 where the darker picture is 160 cd/m2 or more) were not applied."
        )
    if looped:
        notes.append(LOOPED)
    return tuple(notes)


def _check_image(
    path: Path, image: Image.Image, viewing: Viewing, progress: Progress | None
) -> FileResult:
    count = int(getattr(image, "n_frames", 1))
    if count == 1:
        check = FlashCheck(image.width, image.height, STILL_RATE, viewing)
        check.see(Fraction(0), next(_frames(path, image))[2])
        return FileResult(path, check.report(still=True), check.worst)
    check = FlashCheck(image.width, image.height, ANIMATION_RATE, viewing)
    showing = _Showing(check, progress, count)
    showing.once(lambda: _frames(path, image))
    showing.again(lambda: _frames(path, image))
    notes = ("An animation: looked at as played in a loop, on white.",)
    return FileResult(path, check.report(notes=notes, end_s=showing.end_s), check.worst)


def _frames(path: Path, image: Image.Image) -> Generator[_Shown, None, None]:
    due_s = Fraction(0)
    try:
        for frame in ImageSequence.Iterator(image):
            rgba = frame.convert("RGBA")
            asked_s = Fraction(frame.info.get("duration", 0) or 0).limit_denominator(1000) / 1000
            stays_s = asked_s if asked_s > SHORTEST_S else INSTEAD_S
            page = Image.new("RGBA", rgba.size, "white")  # what most pages are
            page.alpha_composite(rgba)
            yield due_s, stays_s, np.asarray(page.convert("RGB"))
            due_s += stays_s
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise InputError(f"{path} is damaged: {error}") from error
