"""A published copy beside its original: which frame each of its pictures shows.

Small copies of the pictures are compared. A picture of the copy is fitted, by least squares, by
two neighbouring frames of the original and a constant, which also takes up a change of contrast:
the share of the later frame says which of the two it shows, or that it is a mixture. Where the
frames differ by too little beside what coding changed, nothing is said of the picture.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice, pairwise
from pathlib import Path
from typing import Any

import numpy as np

from patterns.errors import InputError
from patterns.picture.arrays import BoolArray, Float32Array, FloatArray, UInt8Array
from patterns.side_by_side import Progress
from patterns.timing.notation import counted
from patterns.timing.rates import format_decimal
from patterns.video.probe import probe
from patterns.video.reader import Crop, read_luma

SCHEMA = "evenhold/against 1"
SIZE = 128, 72  # pixels of the copies that are compared
MOST = 18_000  # pictures that are compared: ten minutes at 30 fps, 170 MB
REACH = 8  # frames to each side of the expected one that are tried
SURE = 0.04  # standard error of the share up to which a picture is judged
MIXED = 0.15  # share of the lesser frame from which a picture may be a mixture
CLEARLY = 0.4  # of what one frame leaves unexplained, what two leave of a mixture; coding 0.46 up
ALIKE = 0.9  # correlation from which a picture may be one of the original's
BEGIN_S = 20.0  # of the original in which the copy's beginning is looked for
FEWEST = 0.5  # of the pictures that must be found again to call it a copy
BARS_SEEN = 240  # pictures, from the first on, in which black bars are looked for
LIT = 30  # code above black and what coding leaves beside an edge
LIT_SHARE = 0.1  # of the pixels in a row or column that belongs to no bar


@dataclass(frozen=True)
class Film:
    """A file as it is compared: small pictures uint8 (n, 72, 128), times in s, exact rate."""

    name: str
    pictures: UInt8Array
    times: FloatArray
    rate: Fraction | None
    mean_rate: Fraction
    height: int
    in_bars: bool = False  # whether black bars around the pictures were left out


@dataclass(frozen=True)
class Against:
    """What became of an original."""

    # film, original: the copy and what it was made from
    film: Film
    original: Film
    judged: int  # pictures of the copy of which it is sure what they show
    # repeated, lost, mixed: pictures that show the frame of the one before, frames that none shows,
    # and pictures that mix two frames
    repeated: int
    lost: int
    mixed: int
    speed: float  # speed of the copy, 1 as the original
    # by how much later a frame comes in the copy than in the original, where it is as fast
    shift_s: float | None

    @property
    def rate_is(self) -> str:
        """'kept', 'halved', 'doubled', 'changed' or 'variable'."""
        if self.film.rate is None:
            return "variable"
        ratio = self.film.rate / (self.original.rate or self.original.mean_rate)
        names = {Fraction(1): "kept", Fraction(1, 2): "halved", Fraction(2): "doubled"}
        return names.get(ratio, "changed")

    @property
    def verdict(self) -> str:
        """One line."""
        before, after = (
            format_decimal(film.rate or film.mean_rate) for film in (self.original, self.film)
        )
        rates = after if before == after else f"{before} to {after}"
        counts = (
            f"{counted(self.repeated, 'picture')} repeated, {counted(self.lost, 'frame')} lost, "
            f"{self.mixed or 'none'} mixed"
        )
        if not (self.repeated or self.lost or self.mixed):
            counts = "none repeated, lost or mixed"
        where = (
            f"at {100 * self.speed:.1f} % of the speed"
            if self.shift_s is None
            else "in step"
            if abs(self.shift_s) < 0.5 / self.film.mean_rate
            else f"{abs(self.shift_s):.3f} s {'later' if self.shift_s > 0 else 'earlier'}"
        )
        of = f"{self.judged} of {len(self.film.times)} pictures judged"
        if self.film.in_bars:
            of += ", without the black bars"
        return f"{self.film.name}: rate {self.rate_is} ({rates}); {counts}; {where}; {of}"

    @property
    def usually(self) -> str:
        """What such a change of the rate usually means; '' where nothing is known."""
        if self.rate_is == "halved" and self.original.mean_rate > 30 and self.film.height < 720:
            return (
                "some platforms keep rates above 30 only at 720p and above (help pages and open "
                "code, read November 2026): publish it larger"
            )
        if self.rate_is == "variable":
            return "players hold pictures of a variable rate unevenly: ask for a constant one"
        return ""


def compare_copy(path: Path, original: Film, progress: Progress) -> Against:
    """Say what became of an original in a copy, which may have black bars around it.

    Raises `InputError`: it cannot be read or compared.
    """
    film = load(path, progress)
    try:
        return against(film, original)
    except InputError:
        part = _lit_part(path)
        if part is None:
            raise
        return against(replace(load(path, progress, part), in_bars=True), original)


def _lit_part(path: Path) -> Crop | None:
    """Part of the pictures that is not black all the time; None where that is all, or nothing."""
    most: UInt8Array | None = None
    for _, luma in islice(read_luma(path), BARS_SEEN):
        most = luma if most is None else np.maximum(most, luma)
    if most is None:
        return None
    lit = most > LIT
    rows, columns = (np.flatnonzero(lit.mean(axis=axis) > LIT_SHARE).tolist() for axis in (1, 0))
    if not rows or not columns or (len(rows), len(columns)) == most.shape:
        return None
    left, top = columns[0], rows[0]
    return Crop(left, top, columns[-1] + 1 - left, rows[-1] + 1 - top)


def load(path: Path, progress: Progress, part: Crop | None = None) -> Film:
    """Read a file's pictures, or a part of them, small; at most 18,000 of them.

    Raises `InputError`: it cannot be read, or has a single picture.
    """
    info = probe(path)
    if info.mean_rate is None:
        raise InputError(f"{path} has a single picture: nothing can be compared")
    times, pictures = [], []
    for done, (time_s, luma) in enumerate(
        islice(read_luma(path, size=SIZE, crop=part), MOST), start=1
    ):
        times.append(float(time_s))
        pictures.append(luma)
        progress(min(done, info.pictures), info.pictures)
    return Film(
        str(path), np.array(pictures), np.array(times), info.rate, info.mean_rate, info.height
    )


def against(film: Film, original: Film) -> Against:
    """Say what became of an original in a copy.

    Raises `InputError`: it is no copy of it, or next to nothing moves, so that nothing can be
    known.
    """
    places, mixed = _places(film, original)
    sure = ~np.isnan(places)
    if sure.sum() < max(4, FEWEST * len(places)):
        raise InputError(
            f"{film.name} cannot be compared with {original.name}: its pictures are not found "
            "there, or look too much like those beside them; a copy must show the whole picture, "
            "at any size and rate, black bars around it or not: of one that is cropped, give an "
            f"original cropped alike, or read it by itself: evenhold read {film.name}"
        )
    repeated = lost = 0
    for before, after in pairwise(np.flatnonzero(sure)):
        if after != before + 1:
            continue
        step = np.floor(places[after]) - np.ceil(places[before])
        repeated += bool(places[after] == places[before]) and not mixed[after]
        lost += max(0, int(step) - 1)
    shown_s = np.interp(places[sure], np.arange(len(original.times)), original.times)
    half = len(shown_s) // 2  # pictures apart: the median of so long steps bears stills
    lasted_s = film.times[sure][half:] - film.times[sure][: len(shown_s) - half]
    slope = np.median((shown_s[half:] - shown_s[: len(shown_s) - half]) / lasted_s)
    same = abs(slope - 1) < 2e-3
    shift_s = float(np.median(film.times[sure] - shown_s)) if same else None
    return Against(
        film, original, int(sure.sum()), repeated, lost, int(mixed[sure].sum()),
        1.0 if same else float(slope), shift_s,
    )  # fmt: skip


def against_json(found: Against) -> dict[str, Any]:
    """Object of the schema 'evenhold/against 1'."""
    return {
        "schema": SCHEMA,
        "file": found.film.name,
        "original": found.original.name,
        "verdict": found.verdict,
        "usually": found.usually or None,
        "rate_is": found.rate_is,
        "rate_exact": None if found.film.rate is None else str(found.film.rate),
        "pictures": len(found.film.times),
        "judged": found.judged,
        "repeated": found.repeated,
        "lost": found.lost,
        "mixed": found.mixed,
        "bars_left_out": found.film.in_bars,
        "speed": round(found.speed, 4),
        "shift_s": None if found.shift_s is None else round(found.shift_s, 4),
    }


def _flat(pictures: UInt8Array) -> Float32Array:
    """Pictures as rows without their mean."""
    rows = pictures.reshape(len(pictures), -1).astype(np.float32)
    return np.asarray(rows - rows.mean(axis=1, keepdims=True), np.float32)


def _places(film: Film, original: Film) -> tuple[FloatArray, BoolArray]:
    """Frame of the original that each picture shows, NaN where that is not sure; and mixtures.

    A mixture lies between two frames, at half.
    """
    places = np.full(len(film.times), np.nan)
    mixed = np.zeros(len(film.times), np.bool_)
    per_s = float(original.mean_rate)
    last: tuple[float, float] | None = None  # place and time of the latest sure picture
    for n, picture in enumerate(film.pictures):
        if last is None:
            if n % REACH:
                continue
            begin = _beginning(picture, original)
            if begin is None:
                continue
            last = float(begin), film.times[n]
        expected = last[0] + (film.times[n] - last[1]) * per_s
        found = _fit(picture, original.pictures, round(expected))
        if found is None:
            continue
        place, share = found
        mixed[n] = MIXED < share < 1 - MIXED
        places[n] = place + 0.5 if mixed[n] else place + round(share)
        last = place + share, film.times[n]
    return places, mixed


def _beginning(picture: UInt8Array, original: Film) -> int | None:
    """Frame near the original's beginning that a picture is most like."""
    count = int(BEGIN_S * original.mean_rate)
    rows, own = _flat(original.pictures[:count]), _flat(picture[None])[0]
    norms = np.sqrt((rows**2).sum(axis=1) * (own @ own)) + 1e-6
    likeness = rows @ own / norms
    best = int(likeness.argmax())
    return best if likeness[best] > ALIKE else None


def _fit(picture: UInt8Array, frames: UInt8Array, expected: int) -> tuple[int, float] | None:
    """Earlier one of the two frames that explain a picture, and the later one's share."""
    low = max(0, min(expected - REACH, len(frames) - 2))
    rows, own = _flat(frames[low : max(low + 2, expected + REACH + 1)]), _flat(picture[None])[0]
    squares = (rows**2).sum(axis=1, dtype=np.float64)
    first, second = squares[:-1], squares[1:]
    across = (rows[:-1] * rows[1:]).sum(axis=1, dtype=np.float64)
    with_own = (rows @ own).astype(np.float64)
    apart = first * second - across**2
    with np.errstate(all="ignore"):
        a = (with_own[:-1] * second - with_own[1:] * across) / apart
        b = (with_own[1:] * first - with_own[:-1] * across) / apart
        left = float(own @ own) - a * with_own[:-1] - b * with_own[1:]
        share = b / (a + b)
    # both weights positive, but for noise, or it lies outside of the two
    left = np.where((share > -MIXED) & (share < 1 + MIXED), left, np.inf)
    best = int(np.nanargmin(np.where(np.isnan(left), np.inf, left)))
    if not np.isfinite(left[best]) or left[best] > (1 - ALIKE**2) * float(own @ own):
        return None
    noise = np.sqrt(max(left[best], 1e-9) / own.size)
    steps = np.sqrt(np.maximum(first + second - 2 * across, 1e-12))
    near = steps[max(0, best - 1) : best + 2]  # to the frames on both sides too
    if (noise / near).max() > SURE:
        return None
    later = float(np.clip(share[best], 0.0, 1.0))
    one = min(float(own @ own - with_own[i] ** 2 / squares[i]) for i in (best, best + 1))
    if MIXED < later < 1 - MIXED and left[best] > CLEARLY * one:
        return None
    return low + best, later
