"""A file of footage measured: its pictures are decoded once, and looked at as they come."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

from patterns.footage.changes import (
    BESIDE,
    Changes,
    Marks,
    PictureChange,
    beside,
    freezes,
    hidden,
    mark,
    product,
)
from patterns.footage.conversion import Conversion
from patterns.footage.flow import Look, MotionLooks
from patterns.footage.motion import Shot, shots_of
from patterns.footage.rhythm import MOVING, find_conversion, repeats_by_steps
from patterns.picture.arrays import FloatArray, UInt8Array
from patterns.side_by_side import Progress
from patterns.video.probe import VideoInfo, probe
from patterns.video.reader import read_luma

WORKING_WIDTH = 400  # pixels along, to about which larger pictures are averaged down
UNKNOWN_RATE = Fraction(24)  # taken for that of a single picture
COMBED_EVERY = 4  # pictures; a telecine weaves two of five
COMBS = 2.5  # standard errors by which woven pictures comb more: telecine 2.7 to 5, others to 2.0
INTERLACED = 0.3  # of the moving pictures that are combed
KEPT_EVERY, MOST_KEPT = 24, 200  # working copies that are kept for the map: 18 MB at most
COARSE = 0.04  # bits a pixel
ENOUGH = 300  # pictures that must move to say that there is no rhythm: 12 repeats of 24 in 25


def working_side(width: int, height: int) -> int:
    """Pixels to a side of a pixel of the working copy."""
    return max(1, round(max(width, height) / WORKING_WIDTH))


def working_copy(luma: UInt8Array) -> UInt8Array:
    """Picture at which footage is looked at: means of blocks, about 400 pixels along."""
    side = working_side(*luma.shape)
    if side == 1:
        return luma
    rows, columns = luma.shape[0] // side, luma.shape[1] // side
    total = np.zeros((rows, columns * side), np.uint16)
    for y in range(side):  # whole rows first: one pass over the picture
        total += luma[y : rows * side : side, : columns * side]
    across = total[:, ::side].copy()
    for x in range(1, side):
        across += total[:, x::side]
    return np.asarray(across // (side * side), np.uint8)


def combed(luma: UInt8Array) -> float:
    """How much a picture looks as if its fields were of two moments."""
    lines = luma[:, ::8].astype(np.float32)
    next_lines, next_but_one = lines[1:] - lines[:-1], lines[2:] - lines[:-2]
    whole = product(next_but_one, next_but_one) + 0.5 * next_but_one.size
    return product(next_lines[1:], next_lines[1:]) / whole


@dataclass(frozen=True)
class Facts:
    """What footage is."""

    info: VideoInfo  # facts of the file
    times: tuple[Fraction, ...]  # of the pictures that were decoded, seconds
    step: FloatArray  # RMS difference of each picture to the one before, codes
    marks: Marks  # what each picture is by itself
    conversion: Conversion | None  # of the rate, if one was done
    hidden: str  # what cannot be told where none is seen: 'all', 'gaps' or ''
    shots: tuple[Shot, ...]  # motion of each shot
    interlaced: bool  # whether the two fields of moving pictures show two moments
    # a working copy of one of its pictures, near the middle of the shot with the fastest motion
    picture: UInt8Array

    @property
    def file_rate(self) -> Fraction:
        """Pictures a second, on average where they are not even."""
        return self.info.average_rate or UNKNOWN_RATE

    @property
    def rate(self) -> Fraction:
        """Frames a second at which it was shot, as far as a conversion shows."""
        if self.conversion is not None and self.conversion.footage is not None:
            return self.conversion.footage
        return self.file_rate

    @property
    def freezes(self) -> tuple[tuple[int, int], ...]:
        """First picture of each freeze, and how many show the same."""
        return freezes(self.step, self.marks.cuts)

    @property
    def known(self) -> tuple[Shot, ...]:
        """Shots whose motion is known."""
        return tuple(shot for shot in self.shots if not shot.why)

    @property
    def fastest(self) -> Shot | None:
        """Shot with the fastest motion."""
        return max(self.known, key=lambda shot: shot.fastest_px_s, default=None)

    @property
    def typical_px_s(self) -> float:
        """Median over all pictures of known shots of the shot's typical speed."""
        speeds = [np.full(s.last - s.first + 1, s.typical_px_s) for s in self.known]
        return float(np.median(np.concatenate(speeds))) if speeds else 0.0

    @property
    def cross_s(self) -> Fraction | None:
        """Seconds in which the fastest motion crosses the width; None where it is not known."""
        if self.fastest is None or not self.fastest.fastest_px_s:
            return None
        return Fraction(round(1000 * self.info.width / self.fastest.fastest_px_s), 1000) or None

    @property
    def even_size(self) -> tuple[int, int]:
        """Width and height of the pictures, pixels, each even, as clips are."""
        return self.info.width // 2 * 2, self.info.height // 2 * 2


class Measurer:
    """Takes all pictures of a file, as decoded, in their order."""

    def __init__(self, info: VideoInfo) -> None:
        self._info = info
        self._change = PictureChange()
        self._moves = MotionLooks(info.average_rate or UNKNOWN_RATE, info.pictures)
        self._shape = (0, 0)
        self._side, self._taken = 1, 0
        self._kept: dict[int, UInt8Array] = {}  # now and then one

    @property
    def looks(self) -> list[Look]:
        """Motion at moments, of the working copies."""
        return self._moves.looks

    def take(self, luma: UInt8Array) -> None:
        """Add the next picture, uint8 (height, width)."""
        small = working_copy(luma)
        if self._shape not in ((0, 0), small.shape):
            self.looks.clear()  # the picture changes its size on the way
        self._shape, self._side = (small.shape[0], small.shape[1]), working_side(*luma.shape)
        look = self._taken % COMBED_EVERY == 0
        self._change.take(small, combed(luma) if look else float("nan"))
        self._moves.take(small)
        if self._taken % KEPT_EVERY == 0 and len(self._kept) < MOST_KEPT:
            self._kept[self._taken] = small
        self._taken += 1

    def facts(self, times: Sequence[Fraction]) -> Facts:
        """What was found, once all pictures were taken."""
        changes, info = self._change.changes, self._info
        marks = mark(changes)
        run = dict(zip(info.times, info.runs, strict=True))
        runs = [run.get(time_s, 0) for time_s in times]
        conversion = find_conversion(changes, marks, info.rate, runs) if info.rate else None
        if conversion and conversion.kind == "telecine" and not _combs(conversion, changes):
            conversion = None
        frames, rate = _frames(conversion, times, info)
        cuts = np.flatnonzero(marks.cuts).tolist()
        size = (self._shape[1], self._shape[0])
        woven = np.array(changes.combed)[marks.moving]
        woven = woven[~np.isnan(woven)] > 1
        shots = shots_of(self.looks, cuts, frames, rate, float(self._side), size)
        fastest = max(shots, key=lambda shot: (not shot.why, shot.fastest_px_s))
        middle = (fastest.first + fastest.last) / 2
        near = min(self._kept, key=lambda place: abs(place - middle))
        return Facts(
            info, tuple(times), np.nan_to_num(np.array(changes.step)), marks, conversion,
            hidden(changes, marks, coarse=info.bits_per_pixel < COARSE), shots,
            bool(woven.size) and float(woven.mean()) > INTERLACED, self._kept[near],
        )  # fmt: skip


def _combs(woven: Conversion, changes: Changes) -> bool:
    """Whether the pictures that a telecine weaves comb more than the others: a rank sum test.

    48 in 30 shows the same places of things as telecine of 24 does, in whole pictures.
    """
    combed = np.array(changes.combed)
    known = np.flatnonzero(~np.isnan(combed))
    odd, rank = woven.marks()[known], combed[known].argsort().argsort()
    few, others = int(odd.sum()), int((~odd).sum())
    beyond = rank[odd].sum() - few * (few + others - 1) / 2  # mean of so many ranks from 0 on
    return bool(beyond > COMBS * (few * others * (few + others + 1) / 12) ** 0.5)


def _frames(
    conversion: Conversion | None, times: Sequence[Fraction], info: VideoInfo
) -> tuple[FloatArray, Fraction]:
    """Frame that each picture shows (not whole where times are uneven), and frames a second."""
    if conversion is not None and conversion.kind == "repeat" and conversion.footage:
        return conversion.frames[: len(times)].astype(np.float64), conversion.footage
    if info.rate is None and info.mean_rate is not None:
        return np.array([float((t - times[0]) * info.mean_rate) for t in times]), info.mean_rate
    return np.arange(len(times), dtype=np.float64), info.rate or UNKNOWN_RATE


def measure(path: Path, progress: Progress) -> Facts:
    """Measure a file that is known to be footage.

    Raises `InputError`: it cannot be read.
    """
    info = probe(path)
    measurer, times = Measurer(info), []
    with closing(read_luma(path)) as pictures:
        for time_s, luma in pictures:
            times.append(time_s)
            measurer.take(luma)
            progress(min(len(times), info.pictures), info.pictures)
    return measurer.facts(times)


def look_for_repeats(
    path: Path, info: VideoInfo, progress: Progress
) -> tuple[Conversion | None, int]:
    """Repeats that a file has all through, or None, and how many pictures were looked at.

    Decoding takes long: where 300 pictures that move show no rhythm, the others are not looked at.
    Raises `InputError`: it cannot be read.
    """
    assert info.rate is not None
    side = working_side(info.width, info.height)
    size = (max(20, info.width // side), max(20, info.height // side))
    change = PictureChange()
    with closing(read_luma(path, size=size)) as pictures:
        for done, (_, luma) in enumerate(pictures, start=1):
            change.take(luma)
            progress(min(done, info.pictures), info.pictures)
            if done % ENOUGH == 0 and has_none(np.nan_to_num(change.changes.step), info.rate):
                break
    found = find_conversion(change.changes, mark(change.changes), info.rate, info.runs)
    repeats = found if found is not None and found.kind == "repeat" else None
    return repeats, len(change.changes.step)


def has_none(steps: FloatArray, timeline: Fraction) -> bool:
    """Whether so many pictures moved that a rhythm would have shown."""
    if (beside(steps) > MOVING).sum() < ENOUGH - 2 * BESIDE:
        return False
    return repeats_by_steps(steps, timeline) is None
