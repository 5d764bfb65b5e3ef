"""A photo in a file, upright, with its exposure."""

from __future__ import annotations

import os
import warnings
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError

from patterns.errors import InputError
from patterns.picture.arrays import UInt8Array
from patterns.video.packets import unreadable

PHOTO_FORMATS = ("JPEG", "PNG")
MOST_PIXELS = 1 << 27


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
    if not os.path.isfile(path) or path.stat().st_size == 0:  # noqa: PTH113 - raises nothing
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
