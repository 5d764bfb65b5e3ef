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
from patterns.rendering.planes import UInt8Array
from patterns.safety.check import FlashCheck, WorstMoment
from patterns.safety.luminance import FINE, Grid
from patterns.safety.report import SafetyReport
from patterns.safety.viewing import Viewing
from patterns.video.probe import VideoInfo, probe
from patterns.video.reader import read_rgb

__all__ = ["FileResult", "check_file"]

IMAGE_FORMATS = ("GIF", "PNG", "WEBP", "JPEG", "BMP", "TIFF")
STILL_RATE = Fraction(1)
ANIMATION_RATE = Fraction(25)  # for the wider spacing of leading edges

# Browsers show a frame that asks for 10 ms or less for 100 ms: common practice, no source.
SHORTEST_S, INSTEAD_S = Fraction(1, 100), Fraction(1, 10)
HDR_TRANSFERS = ("smpte2084", "arib-std-b67")

Progress = Callable[[int, int], None]
Timed = Iterator[tuple[Fraction, UInt8Array]]


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
        Look at a video as it is when it is played in a loop (twice in a row). Animations
        always are, as WCAG 2.2 asks for short clips.
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


def _run(
    check: FlashCheck, pictures: Timed, count: int, progress: Progress | None
) -> tuple[int, Fraction]:
    """Feed the check; returns how many pictures came and the time of the last."""
    done, time_s = 0, Fraction(0)
    for time_s, picture in pictures:
        check.see(time_s, picture)
        done += 1
        if progress is not None:
            progress(min(done, count), count)
    return done, time_s


def _check_video(path: Path, viewing: Viewing, loop: bool, progress: Progress | None) -> FileResult:
    info = probe(path)
    rate = info.rate or info.mean_rate or STILL_RATE
    check = FlashCheck(info.width, info.height, rate, viewing)
    grid = Grid.of(info.width, info.height)
    # The decoder averages down to the fine grid, so that little comes through the pipe.
    size = (grid.columns * FINE, grid.rows * FINE)
    count = info.pictures * (2 if loop else 1)
    done, last_s = _run(check, read_rgb(path, size=size), count, progress)
    if loop and done:
        shift = last_s + 1 / rate - info.times[0]
        again = ((time_s + shift, frame) for time_s, frame in read_rgb(path, size=size))
        done += _run(check, again, count, None)[0]
    report = check.report(still=done == 1, notes=_video_notes(info, done, count, loop))
    return FileResult(path, report, check.worst)


def _video_notes(info: VideoInfo, done: int, count: int, loop: bool) -> tuple[str, ...]:
    notes = []
    if done < count:
        notes.append(f"Only {done} of {count} pictures could be decoded: the rest was not checked.")
    if info.transfer in HDR_TRANSFERS:
        notes.append(
            "The file is HDR: it was judged as SDR, and the limits for HDR (Michelson contrast "
            "above 1/17 where the darker picture is 160 cd/m2 or more) were not applied."
        )
    if loop:
        notes.append("Looked at as played twice in a row.")
    return tuple(notes)


def _check_image(
    path: Path, image: Image.Image, viewing: Viewing, progress: Progress | None
) -> FileResult:
    count = int(getattr(image, "n_frames", 1))
    if count == 1:
        check = FlashCheck(image.width, image.height, STILL_RATE, viewing)
        check.see(Fraction(0), next(_frames(path, image))[1])
        return FileResult(path, check.report(still=True), check.worst)
    clock = _Clock()
    check = FlashCheck(image.width, image.height, ANIMATION_RATE, viewing)
    _run(check, clock.twice(path, image), 2 * count, progress)
    notes = ("An animation: looked at as played twice in a row, on white.",)
    return FileResult(path, check.report(notes=notes, end_s=clock.now_s), check.worst)


class _Clock:
    """Adds up how long the frames of an animation stay."""

    def __init__(self) -> None:
        self.now_s = Fraction(0)

    def twice(self, path: Path, image: Image.Image) -> Timed:
        for _ in range(2):
            for stays_s, frame in _frames(path, image):
                yield self.now_s, frame
                self.now_s += stays_s


def _frames(path: Path, image: Image.Image) -> Timed:
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
