"""Relative holds from one long-exposure photo of the strip's hold row.

Each hold cell is lit in its own frames only, so that its brightness in a photo of whole
seconds is in proportion to the time for which they were shown.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from patterns.picture.arrays import UInt8Array
from patterns.picture.light import BT709
from patterns.strip.camera_levels import Levels, check_light
from patterns.strip.camera_locate import locate
from patterns.strip.camera_sample import sample_cells
from patterns.strip.camera_track import refine, unit_px
from patterns.strip.identity import Identity, read_identity
from patterns.strip.photo_light import Shares, measure_shares
from patterns.strip.photo_numbers import Run, find_run
from patterns.strip.photo_pixels import Patch, Pixels, take_pixels
from patterns.strip.placement import Placement
from patterns.strip.read import Unread

__all__ = ["RIGHT_TO", "PhotoReading", "Unread", "read_photo"]

RIGHT_TO = 0.08
SURE = 2.58  # standard uncertainties: a normal error is larger once in a hundred times

LEAST_SIDE_PX = 64
LEAST_UNIT_PX = 1.6
LEAST_WHITE, LEAST_DARK = 6, 12  # patches without which light is not known along the strip
CLIPPED = 233  # luma code
CLIPPED_SHARE = 0.02
DOUBTFUL_SUM = 0.12
DOUBTFUL_CURVE = 0.08


@dataclass(frozen=True)
class PhotoReading:
    """What the hold row of a long-exposure photo says.

    Attributes
    ----------
    cells
        Share of the exposure for which each hold cell was lit, 0 to 1, in their order.
        A cell that is lit in every frame would be 1; together they add up to about 1.
    uncertainty
        Standard uncertainty of each, in the same unit.
    known
        Whether each may be given as a number: right to 8 % (of itself, or of the mean where
        that is more) but for a risk of 1 %, and not clipped. The others are too uncertain.
    clipped
        Indices of cells that are too bright for the camera: their share is a lower bound.
    identity
        Rate and clip of the strip.
    placement
        Where the strip lies.
    warnings
        What makes the shares doubtful, one line each.
    run
        The frames that passed, by the number cells; None where those are too small.
    """

    cells: tuple[float, ...]
    uncertainty: tuple[float, ...]
    known: tuple[bool, ...]
    clipped: tuple[int, ...]
    identity: Identity
    placement: Placement
    warnings: tuple[str, ...]
    run: Run | None


def _luma(picture: UInt8Array) -> UInt8Array:
    """Narrow-range luma of a full-range grey or R'G'B' picture."""
    # any weights would do: the cells are neutral
    grey = picture if picture.ndim == 2 else picture[..., :3].astype(np.float32) @ BT709
    return np.asarray(np.rint(16 + np.asarray(grey, np.float32) * np.float32(219 / 255)), np.uint8)


def _place(luma: UInt8Array) -> tuple[Placement, Identity] | Unread:
    """Find the strip and read whose it is."""
    placement = locate(luma)
    if placement is None:
        return Unread("no strip")
    light = sample_cells(luma, placement, 0)
    if (reason := check_light(light)) is not None:
        return Unread(reason)
    if unit_px(placement).min() < LEAST_UNIT_PX:
        return Unread("too small: go nearer, the strip needs about 600 pixels along")
    on = placement.grid
    identity = read_identity(Levels(on, light).of(light.identity, on.identity) > 0.45)
    if identity is None:
        return Unread("the identity cells cannot be read: is the photo sharp?")
    fit = refine(luma, placement, identity, rounds=3)
    return (fit.placement if fit else placement), identity


def read_photo(picture: UInt8Array) -> PhotoReading | Unread:
    """Read a long-exposure photo.

    Parameters
    ----------
    picture
        uint8 (height, width) or (height, width, 3): full range R'G'B' of a photo, upright.

    Returns
    -------
    PhotoReading or Unread
        Unread where there is no strip, it is too small or dark, or the references are
        clipped, so that nothing can be measured against them.
    """
    if picture.ndim not in (2, 3) or min(picture.shape[:2]) < LEAST_SIDE_PX:
        return Unread("the picture is smaller than any strip")
    luma = _luma(picture)
    placed = _place(luma)
    if isinstance(placed, Unread):
        return placed
    return _measure(luma, *placed)


def _measure(luma: UInt8Array, placement: Placement, identity: Identity) -> PhotoReading | Unread:
    pixels = take_pixels(luma, placement, identity)
    if pixels is None:
        return Unread("the strip is not wholly in view")
    if (reason := _check(pixels)) is not None:
        return Unread(reason)
    found = measure_shares(pixels)
    if not found.curve.rises:
        return Unread("the light references contradict each other: was the photo retouched?")
    clipped = tuple(i for i, patch in enumerate(pixels.held) if _clips(patch))
    return PhotoReading(
        tuple(float(c) for c in found.share),
        tuple(float(d) for d in found.sigma),
        _known(found, clipped),
        clipped,
        identity,
        placement,
        _warnings(float(found.share.sum()), found.misfit),
        find_run(found.share, found.number, found.number_sigma),
    )


def _check(pixels: Pixels) -> str | None:
    """Why nothing can be measured with these pixels; None if it can."""
    if len(pixels.white) < LEAST_WHITE or len(pixels.black + pixels.paper) < LEAST_DARK:
        return "too blurred for its size: hold still, focus, go nearer"
    if np.median([patch.codes.mean() for patch in pixels.white]) >= CLIPPED:
        return "clipped: white is over-exposed; expose a stop less, the lights darker"
    return None


def _clips(patch: Patch) -> bool:
    return bool((patch.codes >= CLIPPED).mean() > CLIPPED_SHARE)


def _known(found: Shares, clipped: tuple[int, ...]) -> tuple[bool, ...]:
    mean = float(found.share.mean())
    right = SURE * found.sigma <= RIGHT_TO * np.maximum(found.share, mean)
    return tuple(bool(t) and mean > 0 and i not in clipped for i, t in enumerate(right))


def _warnings(total: float, misfit: float) -> tuple[str, ...]:
    said = []
    if abs(total - 1) > DOUBTFUL_SUM:
        said.append(
            f"the cells' light adds up to {total:.2f} of white instead of 1: flare, or a "
            "picture that was scaled before it was shown"
        )
    if misfit > DOUBTFUL_CURVE:
        said.append(f"the halftones fit one light curve only to {100 * misfit:.0f} %")
    return tuple(said)
