"""What a file of footage is, as far as a conform asks, and why it may be refused."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Literal

from patterns.errors import RequestError
from patterns.footage.conversion import Conversion
from patterns.footage.measure import look_for_repeats
from patterns.side_by_side import Progress
from patterns.timing.rates import format_decimal, format_rate
from patterns.video.probe import VideoInfo, probe

SoundChoice = Literal["drop", "keep-pitch", "with-speed"]
# Says what is done meanwhile, and gives a function (done, total) to say how far it is.
Stage = Callable[[str], AbstractContextManager[Progress]]
STEADY_RATES = (
    *(Fraction(n) for n in (12, 15, 20, 24, 25, 30, 48, 50, 60, 90, 100, 120, 240)),
    *(Fraction(n * 1000, 1001) for n in (24, 30, 60, 120, 240)),
)


@dataclass(frozen=True)
class Request:
    """What is asked for."""

    rate: Fraction | None  # frames a second to play at; None: the rate at which it was shot
    sound: SoundChoice | None = None  # None: with its pitch kept, if there is any
    # undo_repeats, keep_repeats, even_out: what to do with repeats and with uneven times; without,
    # such a file is refused
    undo_repeats: bool = False
    keep_repeats: bool = False
    even_out: bool = False
    force: bool = False  # whether a file of the result's name is replaced


@dataclass(frozen=True)
class Footage:
    """What a file is."""

    info: VideoInfo  # facts of the file
    rate: Fraction  # frames a second at which it was shot: the file's, or the one that repeats hide
    rhythm: Conversion | None = None  # its repeats, if they are to be taken out
    # by how much evening out moves the picture that it moves most; None: its times are even
    moved_s: Fraction | None = None
    looked_at: int = 0  # pictures, from the first on, among which no repeats were found
    size: int = 0  # bytes of the file before it was looked at

    @property
    def frames(self) -> int:
        """Pictures without repeats."""
        return self.info.pictures - (self.rhythm.repeats if self.rhythm else 0)


def look_at(path: Path, request: Request, stage: Stage) -> Footage:
    """Find out what a file is.

    Raises `InputError`: it cannot be read.
    Raises `RequestError`: its times are uneven or it holds repeats, and the request does not say
    what to do.
    """
    size, info = bytes_of(path), probe(path)
    return replace(_looked_at(path, info, request, stage), size=size)


def bytes_of(path: Path) -> int:
    """Size of a file; 0 of one that cannot be read, which says so when it is."""
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _looked_at(path: Path, info: VideoInfo, request: Request, stage: Stage) -> Footage:
    if info.mean_rate is None:
        raise RequestError(f"{path} has a single picture: there is no rate to change")
    if info.rate is None:
        return _evened(path, info, info.mean_rate, request)
    if request.keep_repeats:
        return Footage(info, info.rate)
    with stage("looking for repeats") as show:
        rhythm, looked_at = look_for_repeats(path, info, show)
    if rhythm is None or rhythm.footage is None:
        return Footage(info, info.rate, looked_at=looked_at)
    if rhythm.phase is None:
        raise RequestError(
            f"{path} repeats pictures in a rhythm that starts anew on the way, as where shots "
            "were joined: give each shot as a file of its own, or --keep-repeats"
        )
    if not request.undo_repeats:
        raise RequestError(
            f"{path} holds {format_decimal(rhythm.footage)} fps in {format_decimal(info.rate)} by "
            f"repeating {rhythm.repeats} of {info.pictures} pictures, which would stay "
            "uneven at any rate: give --undo-repeats to take them out first (it codes the "
            "pictures anew), or --keep-repeats"
        )
    return Footage(info, rhythm.footage, rhythm)


def _evened(path: Path, info: VideoInfo, mean: Fraction, request: Request) -> Footage:
    rate = min(STEADY_RATES, key=lambda steady: max(steady / mean, mean / steady))
    begin = info.times[0]
    moved_s = max(abs(time_s - begin - n / rate) for n, time_s in enumerate(info.times))
    if not request.even_out:
        gaps_ms = [1000 * float(after - before) for before, after in pairwise(info.times)]
        raise RequestError(
            f"{path} has a variable frame rate: pictures last {min(gaps_ms):.1f} to "
            f"{max(gaps_ms):.1f} ms, {float(mean):.3f} a second on average; give --even-out to "
            f"time it evenly, as {format_rate(rate)} fps, which moves pictures by up to "
            f"{1000 * float(moved_s):.1f} ms"
        )
    return Footage(info, rate, None, moved_s)
