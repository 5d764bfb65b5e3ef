"""A photo in a file: upright, with its exposure, read and judged."""

from __future__ import annotations

import warnings
from contextlib import suppress
from fractions import Fraction
from pathlib import Path

import numpy as np
from PIL import ExifTags, Image, ImageOps

from patterns.errors import InputError
from patterns.picture.arrays import UInt8Array
from patterns.reading.photo import judge_photo, unread_photo
from patterns.reading.reading import Reading
from patterns.strip.photo import read_photo
from patterns.strip.read import Unread
from patterns.timing.cadence import Display

PHOTO_FORMATS = ("JPEG", "PNG")
MOST_PIXELS = 1 << 27


# Upright, uint8 (height, width, 3) of full range R'G'B'; and the exposure, None if EXIF has none.
Photo = tuple[UInt8Array, Fraction | None]


def open_photo(path: Path) -> Photo | None:
    """Photo in a JPEG or PNG file, or None if that is an animation.

    Raises `InputError`: too large, or a damaged picture.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of Pillow's, about what is odd in a file
            with Image.open(path, formats=PHOTO_FORMATS) as image:
                if getattr(image, "n_frames", 1) > 1 and image.format == "PNG":
                    return None
                if image.width * image.height > MOST_PIXELS:
                    raise Image.DecompressionBombError
                return _photo(image)
    except Image.DecompressionBombError as error:
        raise InputError(
            f"{path} has too many pixels: photos of up to {MOST_PIXELS / 1e6:.0f} million pixels "
            "are read; crop it to the strip"
        ) from error
    except (OSError, ValueError, SyntaxError, EOFError) as error:
        raise InputError(f"{path} is a damaged picture ({error}): try a fresh copy") from error


def judged_photo(
    photo: Photo, *, file: str, exposure_s: Fraction | None, display: Display | None
) -> Reading:
    """Reading of a photo of a screen; the file's name is to show, the rest is what is known."""
    found = read_photo(photo[0])
    if isinstance(found, Unread):
        return unread_photo(file, found)
    return judge_photo(found, file=file, exposure_s=exposure_s or photo[1], display=display)


def _photo(image: Image.Image) -> Photo:
    exposure_s = None
    with suppress(ValueError, TypeError, ZeroDivisionError, OverflowError):
        told = image.getexif().get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.ExposureTime)
        if told is not None and float(told) > 0:
            exposure_s = Fraction(float(told)).limit_denominator(10_000)
    upright = ImageOps.exif_transpose(image).convert("RGB")
    return np.asarray(upright), exposure_s
