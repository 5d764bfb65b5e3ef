"""Relative holds, and the frames that passed, from one long-exposure photo (READING.md)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from patterns.picture.arrays import FloatArray, UInt8Array
from patterns.picture.planes import BT709
from patterns.strip.camera_locate import locate
from patterns.strip.camera_track import refine, unit_px
from patterns.strip.code import NUMBER_BITS, NUMBER_CELLS, Identity, number_words, read_identity
from patterns.strip.photo_light import Shares, measure_shares
from patterns.strip.photo_pixels import Pixels, take_pixels
from patterns.strip.placement import Placement, check_light, levels, sample_cells
from patterns.strip.read import Unread

LAST = (1 << NUMBER_BITS) - 1
MOST_ROUNDS = 12
STRIDE = 3  # frames, from one first frame on trial to the next
CLUSTERS = 4  # of whole rounds that fit best, around which every run is tried
LEAST_DOUBT = 0.012  # of a number cell's share, beside what its pixels say
UNLIT = 0.1  # of a mean cell
AS_GOOD = 9.0  # chi-squared beyond the best, within which a run is as good


@dataclass(frozen=True)
class Run:
    """Frames that passed one after the other."""

    first: int  # number of the first frame
    frames: int  # how many there were
    fewest: int  # frames that fit nearly as well
    most: int  # likewise
    misfit: float  # RMS of what the number cells are off, in standard uncertainties


@cache
def _bits() -> FloatArray:
    """Cells of every number, (numbers, 28)."""
    shifts = np.arange(NUMBER_CELLS - 1, -1, -1, dtype=np.uint32)
    return np.asarray((number_words(np.arange(LAST + 1))[:, None] >> shifts) & 1, np.float32)


def _whole_rounds(cells: FloatArray, level: FloatArray, sigma: FloatArray) -> list[tuple[int, int]]:
    """First frame and number of whole rounds of the row that fit best, far from each other."""
    bits, count = _bits(), len(cells)
    own = cells[np.arange(len(bits) - count) % count, None].astype(np.float32)
    once = np.cumsum(own * (bits[count:] - bits[:-count]), axis=0)
    once = np.concatenate([np.zeros_like(once[:1]), once]) + cells @ bits[:count]
    total, found = np.zeros_like(once[::STRIDE]), list[tuple[float, int, int]]()
    apart = 2 * count // STRIDE  # of two rounds of the row the best: its neighbours say nothing new
    level, sigma = level.astype(np.float32), sigma.astype(np.float32)
    for rounds in range(MOST_ROUNDS):
        more = once[rounds * count :: STRIDE]
        total = total[: len(more)] + more
        off = (((total / (rounds + 1) - level) / sigma) ** 2).sum(axis=1)
        blocks = off[: len(off) // apart * apart].reshape(-1, apart)
        best = blocks.min(axis=1)
        found += [
            (float(best[i]), STRIDE * int(i * apart + blocks[i].argmin()), rounds + 1)
            for i in np.argpartition(best, CLUSTERS)[:CLUSTERS]
        ]
    return [(first, rounds) for _, first, rounds in sorted(found)[:CLUSTERS]]


def _around(
    cells: FloatArray, level: FloatArray, sigma: FloatArray, first: int, rounds: int
) -> list[tuple[float, int, int]]:
    """(chi-squared, first frame, frames) of every run near some whole rounds."""
    bits, count = _bits(), len(cells)
    firsts = np.arange(max(0, first - count), min(first + count, LAST - 1))
    rows, lit = np.arange(len(firsts)), cells > UNLIT / count
    shown = np.zeros((len(firsts), count, bits.shape[1]), np.float32)
    times = np.zeros((len(firsts), count), int)
    expected = np.zeros((len(firsts), bits.shape[1]))
    off = np.full(((rounds + 1) * count, len(firsts)), np.inf)
    for done in range(len(off)):
        numbers = np.minimum(firsts + done, LAST)
        own = numbers % count
        before = shown[rows, own] / np.maximum(times[rows, own], 1)[:, None]
        shown[rows, own] += bits[numbers]
        times[rows, own] += 1
        after = shown[rows, own] / times[rows, own][:, None]
        expected += cells[own][:, None] * (after - before)
        missing = 1 - (cells * (times > 0)).sum(axis=1)
        # a frame that was not lit did not pass: no run begins or ends with it
        ends = lit[own] & lit[firsts % count]
        cost = (((expected - level) / sigma) ** 2).sum(axis=1) + (missing / LEAST_DOUBT) ** 2
        off[done, ends] = cost[ends]
    near = np.argwhere(off < off.min() + AS_GOOD)
    return [(float(off[i, j]), int(firsts[j]), int(i) + 1) for i, j in near]


def find_run(cells: FloatArray, level: FloatArray, sigma: FloatArray) -> Run | None:
    """Run of frames that fits the number cells best; None if they were not measured.

    `cells`: shares of the exposure for which the hold cells were lit, (cells,).
    `level`, `sigma`: the same of the number cells and their standard uncertainties, (28,).
    """
    lit = np.maximum(cells, 0)
    if not len(level) or lit.sum() <= 0:
        return None
    lit, doubt = lit / lit.sum(), np.hypot(sigma, LEAST_DOUBT)
    found = [
        run
        for first, rounds in _whole_rounds(lit, level, doubt)
        for run in _around(lit, level, doubt, first, rounds)
    ]
    best = min(found)[0]
    good = [(frames, off, first) for off, first, frames in found if off < best + AS_GOOD]
    # a frame that was hardly lit changes nothing: of those that fit as well, the fewest
    frames, _, first = min(run for run in good if run[1] < best + 1)
    lengths = [run[0] for run in good]
    rms = float(np.sqrt(best / len(level)))
    return Run(first, frames, min(lengths), max(lengths), rms)


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
    """What the hold row of a long-exposure photo says."""

    # Share of the exposure for which each hold cell was lit, 0 to 1, in their order. A cell that is
    # lit in every frame would be 1; together they add up to about 1.
    cells: tuple[float, ...]
    uncertainty: tuple[float, ...]  # standard uncertainty of each, in the same unit
    # Whether each may be given as a number: right to 8 % (of itself, or of the mean where that is
    # more) but for a risk of 1 %, and not clipped. The others are too uncertain.
    known: tuple[bool, ...]
    clipped: tuple[int, ...]  # cells too bright for the camera: their share is a lower bound
    identity: Identity  # rate and clip of the strip
    warnings: tuple[str, ...]  # what makes the shares doubtful, one line each
    run: Run | None  # the frames that passed, by the number cells; None where those are too small


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
    light = sample_cells([luma], placement, 0)[0]
    if (reason := check_light(light)) is not None:
        return Unread(reason)
    if unit_px(placement).min() < LEAST_UNIT_PX:
        return Unread("too small: go nearer, the strip needs about 600 pixels along")
    on = placement.grid
    identity = read_identity(levels(on, light)[1] > 0.45)
    if identity is None:
        return Unread("the identity cells cannot be read: is the photo sharp?")
    fit = refine(luma, placement, identity, rounds=3)
    return (fit.placement if fit else placement), identity


def read_photo(picture: UInt8Array) -> PhotoReading | Unread:
    """Read a long-exposure photo: upright, uint8 (height, width) or (..., 3), full range R'G'B'.

    `Unread` where there is no strip, it is too small or dark, or the references are clipped.
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
    over = [(patch.codes >= CLIPPED).mean() > CLIPPED_SHARE for patch in pixels.held]
    clipped = tuple(i for i, clips in enumerate(over) if clips)
    return PhotoReading(
        tuple(float(c) for c in found.share),
        tuple(float(d) for d in found.sigma),
        _known(found, clipped),
        clipped,
        identity,
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
