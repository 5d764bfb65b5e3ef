"""What kind of file was given: a clip, a recording of a screen, a photo, or footage."""

from __future__ import annotations

import warnings
from collections.abc import Iterable
from contextlib import closing, suppress
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError

from patterns.errors import InputError
from patterns.measure.reading import Kind
from patterns.rendering.planes import UInt8Array
from patterns.strip.camera import CameraReader
from patterns.strip.read import StripReading, Unread, read_strip
from patterns.video.packets import unreadable
from patterns.video.probe import VideoInfo
from patterns.video.reader import read_luma

__all__ = ["Photo", "open_photo", "video_kind"]

PHOTO_FORMATS = ("JPEG", "PNG")
MOST_PIXELS = 1 << 27
LOOKED_AT = 240  # pictures of a video that are looked at for a strip
CLOSELY = 16  # of them one after the other, then one in each EVERY
EVERY = 10
SURE = 6  # pictures that must be read to be sure
STILL_PICTURES = 2.5  # pictures of a number, from which on a fast file is a recording
FAST_HZ = 100
FULL_WIDTH = 0.8  # share of the picture's longer side that a clip's own strip takes


@dataclass(frozen=True)
class Photo:
    """A photo, upright.

    Attributes
    ----------
    picture
        uint8 (height, width, 3), full range R'G'B'.
    exposure_s
        From EXIF; None if it does not say.
    """

    picture: UInt8Array
    exposure_s: Fraction | None


def open_photo(path: Path) -> Photo | None:
    """Photo in a file, or None if the file is no still picture.

    Raises
    ------
    InputError
        Missing, empty, too large, or a damaged picture.
    """
    if not path.is_file() or path.stat().st_size == 0:
        raise unreadable(path, "")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(path, formats=PHOTO_FORMATS) as image:
                if getattr(image, "n_frames", 1) > 1 and image.format == "PNG":
                    return None  # an animation
                return _photo(path, image)
    except UnidentifiedImageError:
        return None
    except Image.DecompressionBombError as error:
        raise _too_large(path) from error
    except (OSError, ValueError, SyntaxError, EOFError) as error:
        raise InputError(f"{path} is a damaged picture ({error}): try a fresh copy") from error


def _too_large(path: Path) -> InputError:
    return InputError(
        f"{path} has too many pixels: photos of up to {MOST_PIXELS / 1e6:.0f} million pixels are "
        "read; crop it to the strip"
    )


def _photo(path: Path, image: Image.Image) -> Photo:
    if image.width * image.height > MOST_PIXELS:
        raise _too_large(path)
    exposure_s = None
    with suppress(ValueError, TypeError, ZeroDivisionError, OverflowError):
        told = image.getexif().get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.ExposureTime)
        if told is not None and float(told) > 0:
            exposure_s = Fraction(float(told)).limit_denominator(10_000)
    upright = ImageOps.exif_transpose(image).convert("RGB")
    return Photo(np.asarray(upright), exposure_s)


def video_kind(path: Path, info: VideoInfo) -> Kind:
    """'clip', 'recording' or 'footage', from its first pictures.

    A clip's strip lies straight and spans the picture, and its numbers go on from picture
    to picture; in a recording it is tilted or takes a part only, or numbers stand still
    for several pictures of a fast file.
    """
    straight: list[StripReading] = []
    camera, filmed, tried, near = CameraReader(), 0, 0, None
    with closing(_of(read_luma(path))) as pictures:
        for place, luma in enumerate(pictures):
            if place >= LOOKED_AT:
                break
            if place >= CLOSELY and place % EVERY:
                continue
            tried += 1
            found = read_strip(luma, near=near)
            if isinstance(found, StripReading):
                near = found.placement
                straight.append(found)
            elif not isinstance(camera.read(luma), Unread):
                filmed += 1
            if len(straight) >= SURE or filmed >= SURE:
                break
            size = luma.shape
    if straight and len(straight) >= filmed:
        rate = float(info.rate or info.mean_rate or 0)
        return "recording" if _looks_filmed(straight, size, rate, tried) else "clip"
    return "recording" if filmed else "footage"


def _of(timed: Iterable[tuple[Fraction, UInt8Array]]):  # type: ignore[no-untyped-def]
    for _, luma in timed:
        yield luma


def _looks_filmed(
    found: list[StripReading], size: tuple[int, ...], rate_hz: float, tried: int
) -> bool:
    corners = found[0].placement.to_picture([[0.0, 0.5], [1.0, 0.5]])
    along = float(np.hypot(*(corners[1] - corners[0])))
    across = size[1] if found[0].placement.arrangement == "wide" else min(size)
    if along < FULL_WIDTH * min(across, size[1]):
        return True
    numbers = len({reading.number for reading in found})
    return rate_hz >= FAST_HZ and tried >= STILL_PICTURES * numbers
