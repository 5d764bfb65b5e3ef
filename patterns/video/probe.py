"""What a video file is: size, exact times of its pictures, rate, codec, colour tags."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from patterns.video.description import Description
from patterns.video.packets import scan_packets, unreadable

__all__ = ["VideoInfo", "exact_rate", "probe"]

# The highest denominator of a rate that a coarse clock is taken to mean: x1000/1001.
MAX_DENOMINATOR = 1001
# A coarser clock moves pictures by what is seen: 1/100 s in animations holds 24 for 4, 4, 5 ticks.
COARSEST_S = Fraction(1, 500)


@dataclass(frozen=True)
class VideoInfo:
    """Facts of a file.

    Attributes
    ----------
    width, height
        As shown: exchanged if the file asks for a quarter turn.
    rotation_deg
        Clockwise turn that the file asks for, 0, 90, 180 or 270.
    rate
        Exact pictures a second: of all pictures if they are evenly timed, else None.
    mean_rate
        Pictures a second on average; None if there is one picture only.
    times
        When each picture is due, seconds, rising. Pictures that fail to decode are in it.
    tick_s
        Unit of the file's clock, seconds.
    duration_s
        From the first picture to the end of the last, which lasts as long as the mean.
    capture_hz
        Pictures a second at which the maker's tag says that it was taken, where it stores slow
        motion; None without such a tag.
    codec, profile, pixel_format, primaries, transfer, matrix, colour_range
        In ffmpeg's words; '' where the file does not say.
    """

    width: int
    height: int
    rotation_deg: int
    rate: Fraction | None
    mean_rate: Fraction | None
    times: tuple[Fraction, ...]
    tick_s: Fraction
    codec: str
    profile: str
    pixel_format: str
    primaries: str
    transfer: str
    matrix: str
    colour_range: str
    capture_hz: Fraction | None = None

    @property
    def pictures(self) -> int:
        """How many there are."""
        return len(self.times)

    @property
    def duration_s(self) -> Fraction:
        """Length in seconds; 0 for a single picture."""
        if self.mean_rate is None:
            return Fraction(0)
        return self.times[-1] - self.times[0] + 1 / self.mean_rate


def probe(path: str | os.PathLike[str]) -> VideoInfo:
    """Facts of the first video stream; reads the whole file, decodes nothing.

    Raises
    ------
    InputError
        The file is missing, empty, damaged, or holds no video.
    """
    told = Description()
    times, tick_s = scan_packets(path, told.take)
    stream = told.stream
    if stream is None:
        raise unreadable(path, "")
    width, height = told.upright_size
    return VideoInfo(
        width=width,
        height=height,
        rotation_deg=told.rotation_deg,
        rate=exact_rate(times, tick_s),
        mean_rate=_mean_rate(times),
        times=times,
        tick_s=tick_s,
        codec=stream.codec,
        profile=stream.profile,
        pixel_format=stream.pixel_format,
        primaries=stream.primaries,
        transfer=stream.transfer,
        matrix=stream.matrix,
        colour_range=stream.colour_range,
        capture_hz=told.capture_hz,
    )


def exact_rate(times: Sequence[Fraction], tick_s: Fraction) -> Fraction | None:
    """Rate at which `times` are steady, or None if they are not.

    A clock that cannot tell a rate exactly (1 ms in Matroska) rounds each time to a
    tick, of at most 2 ms. The rate is then one that every time agrees with to one tick: a usual one
    (whole, or x1000/1001) if there is such a one, else the simplest.

    Parameters
    ----------
    times
        Rising, seconds.
    tick_s
        Unit of the clock that they were read from.
    """
    mean = _mean_rate(times)
    if mean is None:
        return None
    for rate in _candidates(mean):
        if all(abs(t - times[0] - n / rate) <= tick_s for n, t in enumerate(times)):
            steady = all(t - times[0] == n / rate for n, t in enumerate(times))
            if steady or (
                tick_s <= COARSEST_S and (rate != mean or tick_s * rate < Fraction(1, 8))
            ):
                return rate
    return None


def _candidates(mean: Fraction) -> Iterator[Fraction]:
    yield Fraction(round(mean))
    yield Fraction(round(mean * 1001 / 1000) * 1000, 1001)
    yield mean.limit_denominator(MAX_DENOMINATOR)
    yield mean


def _mean_rate(times: Sequence[Fraction]) -> Fraction | None:
    if len(times) < 2 or times[-1] <= times[0]:
        return None
    return (len(times) - 1) / (times[-1] - times[0])
