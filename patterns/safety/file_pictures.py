"""Checks the pictures of a video, an animation (GIF, APNG, WebP) or a still picture."""

from __future__ import annotations

import logging
import warnings
from collections.abc import Callable, Generator
from contextlib import closing
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import numpy as np
from PIL import Image, ImageFilter, ImageSequence, UnidentifiedImageError

from patterns.errors import InputError, RequestError
from patterns.picture.arrays import UInt8Array
from patterns.picture.planes import picture_bytes
from patterns.safety.check import LOOPED, FlashCheck, Frame, WorstMoment
from patterns.safety.luminance import Shrunk
from patterns.safety.opened import OpenVideo
from patterns.safety.report import SafetyReport
from patterns.safety.viewing import Viewing
from patterns.side_by_side import Progress
from patterns.video.description import Damage
from patterns.video.probe import VideoInfo
from patterns.whole_file import write_whole

IMAGE_FORMATS = ("GIF", "PNG", "WEBP", "JPEG", "BMP", "TIFF")
MOST_PIXELS = 1 << 27
STILL_RATE = Fraction(1)
ANIMATION_RATE = Fraction(25)  # for the wider spacing of leading edges

# Browsers show a frame that asks for 10 ms or less for 100 ms: common practice, no source.
SHORTEST_S, INSTEAD_S = Fraction(1, 100), Fraction(1, 10)
SHORT_S = 5  # our choice of what is a short clip, no source
HDR_TRANSFERS = ("smpte2084", "arib-std-b67")

# Of the picture of the worst moment.
WIDTH = 960
OUTLINE = (255, 0, 200)
OUTLINE_PX = 4
DIMMED = 0.35  # what is outside is shown with this share of its signal

# What Pillow finds odd in a file is no line of ours; without a handler it goes to stderr.
logging.getLogger("PIL").addHandler(logging.NullHandler())

# When a picture is due, counted from the first, and how long it stays.
_Shown = tuple[Fraction, Fraction, Frame]
Frames = Callable[[], "Generator[_Shown, None, None]"]


class FileResult(NamedTuple):
    """What the check of one file found."""

    path: Path  # the file
    report: SafetyReport  # the findings
    # the worst moment, or None if nothing flashed and no stripes were found
    worst: WorstMoment | None


def check_image(path: Path, viewing: Viewing, progress: Progress | None) -> FileResult | None:
    """Check an animation or a still; None if it is neither. As `check_file`."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of Pillow's, about what is odd in a file
        image = _open_image(path)
        if image is None:
            return None
        with image:
            return _check_image(path, image, viewing, progress)


def _open_image(path: Path) -> Image.Image | None:
    try:
        image = Image.open(path, formats=IMAGE_FORMATS)
    except UnidentifiedImageError:
        return None
    except Image.DecompressionBombError as error:
        raise _too_large(path) from error
    except (OSError, ValueError) as error:
        raise InputError(f"{path} cannot be read as a picture: {error}") from error
    if image.width * image.height > MOST_PIXELS:
        image.close()
        raise _too_large(path)
    return image


def _too_large(path: Path) -> InputError:
    return InputError(
        f"{path} has too many pixels: pictures of up to {MOST_PIXELS / 1e6:.0f} million pixels are "
        "checked; give a smaller copy"
    )


def check_video(
    path: Path, video: OpenVideo, viewing: Viewing, loop: bool, progress: Progress | None
) -> FileResult:
    """Check a video; as `check_file`."""
    info = video.info
    rate = info.average_rate or STILL_RATE
    check = FlashCheck(info.width, info.height, rate, viewing)

    def frames() -> Generator[_Shown, None, None]:
        earlier_s = None
        with closing(video.read()) as pictures:
            for time_s, codes in pictures:
                if time_s == earlier_s:
                    raise InputError(f"{path} has two pictures due at once: try a fresh copy")
                earlier_s = time_s
                yield time_s - info.times[0], 1 / rate, Shrunk.of_codes(codes)

    length_s = info.times[-1] - info.times[0] + 1 / rate
    again = loop or (info.pictures > 1 and length_s < SHORT_S)
    pictures = _show(check, frames, progress, info.pictures, again=again)
    damage = video.told.damage(info.pictures)
    if damage.inside and video.threads > 1:
        with closing(OpenVideo(path, threads=1)) as repeatable:
            return check_video(path, repeatable, viewing, loop, progress)
    notes = _video_notes(info, pictures, damage, again)
    return FileResult(path, check.report(still=pictures == 1, notes=notes), check.worst)


def _show(
    check: FlashCheck, frames: Frames, progress: Progress | None, count: int, *, again: bool
) -> int:
    """Show a check all pictures, and those at the seam of a loop again; returns their number."""
    pictures, end_s = 0, Fraction(0)
    with closing(frames()) as shown:
        for due_s, stays_s, picture in shown:
            check.see(due_s, picture)
            pictures, end_s = pictures + 1, due_s + stays_s
            if progress is not None:
                progress(min(pictures, count), count)
    if again:
        check.see_again(end_s, lambda: ((due_s, picture) for due_s, _, picture in frames()))
    return pictures


def _video_notes(info: VideoInfo, decoded: int, damage: Damage, looped: bool) -> tuple[str, ...]:
    notes = []
    if damage.inside:
        notes.append(
            "The file is damaged: players fill what is lost each in its own way, and may show what "
            "was not checked; give a fresh copy."
        )
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
    still = count == 1
    rate = STILL_RATE if still else ANIMATION_RATE
    check = FlashCheck(image.width, image.height, rate, viewing)
    shown = None if still else progress
    _show(check, lambda: _frames(path, image), shown, count, again=not still)
    notes = () if still else ("An animation: looked at as played in a loop, on white.",)
    return FileResult(path, check.report(still=still, notes=notes), check.worst)


def _frames(path: Path, image: Image.Image) -> Generator[_Shown, None, None]:
    due_s = Fraction(0)
    try:
        for frame in ImageSequence.Iterator(image):
            page = _on_white(frame)  # which loads it: some formats tell its duration only then
            asked_s = Fraction(frame.info.get("duration", 0) or 0).limit_denominator(1000) / 1000
            stays_s = asked_s if asked_s > SHORTEST_S else INSTEAD_S
            yield due_s, stays_s, np.asarray(page)
            due_s += stays_s
    except Image.DecompressionBombError as error:
        raise _too_large(path) from error
    except (OSError, ValueError, SyntaxError) as error:
        raise InputError(f"{path} is damaged: {error}") from error


def _on_white(frame: Image.Image) -> Image.Image:
    """R'G'B' of a picture that may be clear somewhere, on what most pages are."""
    if not frame.has_transparency_data:
        return frame.convert("RGB")
    page = Image.new("RGBA", frame.size, "white")
    page.alpha_composite(frame.convert("RGBA"))
    return page.convert("RGB")


def marked_picture(moment: WorstMoment) -> UInt8Array:
    """R'G'B' picture, 960 wide: outside of the area dimmed, the area outlined."""
    rows, columns = moment.picture.shape[:2]
    size = (WIDTH, max(1, round(WIDTH * rows / columns)))
    picture = np.asarray(Image.fromarray(moment.picture).resize(size, Image.Resampling.BICUBIC))
    inside = np.asarray(Image.fromarray(moment.region).resize(size, Image.Resampling.NEAREST))
    pixels = np.where(inside[..., np.newaxis], picture, picture * DIMMED)
    marked = np.asarray(pixels, np.uint8)
    # within are places from which nothing outside, nor the picture's border, is so near
    padded = Image.fromarray(np.pad(inside, OUTLINE_PX).astype(np.uint8))
    within = np.asarray(padded.filter(ImageFilter.MinFilter(2 * OUTLINE_PX + 1)))
    within = within[OUTLINE_PX:-OUTLINE_PX, OUTLINE_PX:-OUTLINE_PX]
    marked[inside & (within == 0)] = OUTLINE
    return marked


def check_picture_path(path: Path) -> None:
    """Refuse a name that is not that of a PNG file."""
    if path.suffix.lower() != ".png":
        raise RequestError(f"picture {path.name!r} must end in .png")


def write_marked(moment: WorstMoment, path: Path, *, force: bool) -> None:
    """Write the marked picture as PNG; the file is whole or not there."""
    check_picture_path(path)
    write_whole(path, picture_bytes(marked_picture(moment), ".png"), force=force)
