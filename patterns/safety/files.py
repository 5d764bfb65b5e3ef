"""Checks a file: a video, an animation (GIF, APNG, WebP) or a still picture."""

from __future__ import annotations

import os
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from PIL import Image, ImageSequence, UnidentifiedImageError

from patterns.errors import InputError
from patterns.rendering.planes import Planes, UInt8Array
from patterns.safety.check import FlashCheck, WorstMoment
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
WINDOW_S = 1  # flashes are counted within a second
RGB_FORMATS = ("rgb", "bgr", "gbr", "argb", "abgr", "0rgb", "0bgr", "pal8")
HDR_TRANSFERS = ("smpte2084", "arib-std-b67")

Progress = Callable[[int, int], None]
Timed = Iterator[tuple[Fraction, UInt8Array | Planes]]


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
    if not place.is_file():
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
    last_s = info.times[-1] - info.times[0] + 1 / rate
    again = loop or (info.pictures > 1 and last_s < SHORT_S)
    watch = _Watch(check, progress, info.pictures)
    first = watch.see((time_s - info.times[0], frame) for time_s, frame in read(path, size=size))
    while again and first and watch.now_s < last_s + WINDOW_S:
        shift = watch.now_s + 1 / rate
        watch.see(
            (shift + time_s - info.times[0], frame) for time_s, frame in read(path, size=size)
        )
    report = check.report(still=first == 1, notes=_video_notes(info, first, again))
    return FileResult(path, report, check.worst)


class _Watch:
    """Feeds a check and says how far it is."""

    def __init__(self, check: FlashCheck, progress: Progress | None, count: int) -> None:
        self.check, self.progress, self.count = check, progress, count
        self.now_s = Fraction(0)
        self.done = 0

    def see(self, pictures: Timed) -> int:
        """Take all pictures; returns how many there were. `now_s` is then the last one's time."""
        before = self.done
        for time_s, picture in pictures:
            self.check.see(time_s, picture)
            self.now_s = time_s
            self.done += 1
            if self.progress is not None:
                self.progress(min(self.done, self.count), self.count)
        return self.done - before


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
        notes.append("Looked at as played in a loop, until a second of it had been seen again.")
    return tuple(notes)


def _check_image(
    path: Path, image: Image.Image, viewing: Viewing, progress: Progress | None
) -> FileResult:
    count = int(getattr(image, "n_frames", 1))
    if count == 1:
        check = FlashCheck(image.width, image.height, STILL_RATE, viewing)
        check.see(Fraction(0), next(_frames(path, image))[1])
        return FileResult(path, check.report(still=True), check.worst)
    check = FlashCheck(image.width, image.height, ANIMATION_RATE, viewing)
    clock = _Clock()
    watch = _Watch(check, progress, count)
    watch.see(clock.time(_frames(path, image)))
    once_s = clock.now_s
    while clock.now_s < once_s + WINDOW_S:
        watch.see(clock.time(_frames(path, image)))
    notes = ("An animation: looked at as played in a loop, on white.",)
    return FileResult(path, check.report(notes=notes, end_s=clock.now_s), check.worst)


class _Clock:
    """Adds up how long the frames of an animation stay."""

    def __init__(self) -> None:
        self.now_s = Fraction(0)

    def time(self, frames: Iterator[tuple[Fraction, UInt8Array]]) -> Timed:
        for stays_s, frame in frames:
            yield self.now_s, frame
            self.now_s += stays_s


def _frames(path: Path, image: Image.Image) -> Iterator[tuple[Fraction, UInt8Array]]:
    """Frames with how long each stays, seconds."""
    try:
        for frame in ImageSequence.Iterator(image):
            rgba = frame.convert("RGBA")
            stays_s = Fraction(frame.info.get("duration", 0) or 0).limit_denominator(1000) / 1000
            page = Image.new("RGBA", rgba.size, "white")  # what most pages are
            page.alpha_composite(rgba)
            shown_s = stays_s if stays_s > SHORTEST_S else INSTEAD_S
            yield shown_s, np.asarray(page.convert("RGB"))
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise InputError(f"{path} is damaged: {error}") from error
