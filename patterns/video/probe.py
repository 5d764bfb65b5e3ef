"""What a video file is, without decoding: size, exact times of its pictures, rate, codec, tags."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate
from pathlib import Path
from typing import Any, NamedTuple

from patterns.errors import InputError
from patterns.video.description import Description, StreamText
from patterns.video.process import FfmpegProcess, File, input_arguments

LEAST_SIDE, LONGEST = 16, 32  # pixels; and a picture's long side over its short one
MOST_HZ = 2000  # pictures a second: beyond any recording of a screen, damage alone counts more
SILENT = "\0"  # in place of words, where a decoder that failed has said none
_OTHER_KIND = (
    "cannot be read as video: it is of another kind, such as a playlist; give what a camera, a "
    "phone or an editor made (MP4, QuickTime, Matroska, WebM, AVI, MPEG, MXF, GIF)"
)
_NUMBERED = re.compile(r"%\d*d")  # which the decoder takes for numbered pictures
_DISCARDED = re.compile(r", F=0x[0-9A-F]*[4-7C-F]\b")  # before or after an edit list's stretch
_NO_TIME = -(1 << 63)
_GIANT = re.compile(r"Picture size (\d+x\d+) (?:is invalid|exceeds)")
# The highest denominator of a rate that a coarse clock is taken to mean: x1000/1001.
MAX_DENOMINATOR = 1001
# A coarser clock moves pictures by what is seen: 1/100 s in animations holds 24 for 4, 4, 5 ticks.
COARSEST_S = Fraction(1, 500)


@dataclass(frozen=True)
class VideoInfo(StreamText):
    """Facts of a file: what ffmpeg says of its stream, and what its packets tell.

    Width and height are as shown: exchanged if the file asks for a quarter turn.
    """

    rotation_deg: int  # clockwise turn that the file asks for, 0, 90, 180 or 270
    rate: Fraction | None  # exact pictures a second if they are evenly timed, else None
    mean_rate: Fraction | None  # pictures a second on average; None if there is one picture only
    times: tuple[Fraction, ...]  # when each picture is due, decodable or not, seconds, rising
    tick_s: Fraction  # unit of the file's clock, seconds
    capture_hz: Fraction | None = None  # rate of slow motion when it was taken, by the maker's tag
    left_out: int = 0  # pictures in the file that its edit list does not show
    runs: tuple[int, ...] = ()  # of each picture, see `Packets`
    coded_bytes: int = 0  # of all pictures

    @property
    def pictures(self) -> int:
        """How many there are."""
        return len(self.times)

    @property
    def bits_per_pixel(self) -> float:
        """Of the coded pictures, on average."""
        return 8 * self.coded_bytes / (self.pictures * self.width * self.height)

    @property
    def average_rate(self) -> Fraction | None:
        """Pictures a second: exactly, or their mean where not even; None of a single picture."""
        return self.rate or self.mean_rate

    @property
    def duration_s(self) -> Fraction:
        """Length in seconds; 0 for a single picture."""
        if self.mean_rate is None:
            return Fraction(0)
        return self.times[-1] - self.times[0] + 1 / self.mean_rate


def probe(path: File) -> VideoInfo:
    """Facts of the first video stream; reads the whole file, decodes nothing.

    Raises `InputError`: the file is missing, empty, damaged, or holds no video, or none of a
    video's shape or speed.
    """
    return PacketScan(path).info()


def exact_rate(times: Sequence[Fraction], tick_s: Fraction) -> Fraction | None:
    """Rate at which `times` are steady, or None if they are not.

    A clock that cannot tell a rate exactly (1 ms in Matroska) rounds each time to a
    tick, of at most 2 ms. The rate is then one that every time agrees with to one tick: a usual one
    (whole, or x1000/1001) if there is such a one, else the simplest.

    `times`: rising, seconds.
    `tick_s`: unit of the clock that they were read from.
    """
    mean = _mean_rate(times)
    if mean is None:
        return None
    for rate in _candidates(mean):
        # slower than a picture in two seconds, a whole rate would be none
        if rate and all(abs(t - times[0] - n / rate) <= tick_s for n, t in enumerate(times)):
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


class Packets(NamedTuple):
    """What a file says of its pictures without decoding."""

    times: tuple[Fraction, ...]  # when each picture that is shown is due, seconds, rising
    tick_s: Fraction  # unit of the file's clock, seconds
    left_out: int  # pictures that its edit list does not show
    sizes: tuple[int, ...]  # bytes of each picture that is shown, as they are decoded
    # of each that is shown: how many pictures before it is the last one that was coded from
    # earlier ones alone; those between two such may be made from both
    runs: tuple[int, ...]


class PacketScan:
    """A run through the packets of a file's first video stream; `close` ends it.

    It is at work from when this is made. `path`: any file that the bundled decoder opens.
    """

    def __init__(self, path: File) -> None:
        self._path, self._told = path, Description()
        self._process = FfmpegProcess(
            (
                *("-loglevel", "info", "-copyts", *input_arguments(path)),
                # V: no cover pictures; -copyts: the file's own times, not shifted to start at 0
                *("-map", "0:V:0", "-c", "copy", "-f", "framecrc", "pipe:1"),
            ),
            on_line=self._told.take,
            on_end=self._told.known.set,
        )

    def close(self) -> None:
        """End it; harmless if it has ended."""
        self._process.stop()

    def described(self) -> Description:
        """What is told of the file before its packets; without a stream if it is not read."""
        self._process.await_told(self._told.known)
        return self._told

    def packets(self) -> Packets:
        """Wait for all of them.

        Raises `InputError`: the file cannot be read or holds no video.
        """
        process, ticks, sizes = self._process, list[int](), list[int]()
        tick_s, hidden = Fraction(1), 0
        with closing(self):
            for line in process.lines():
                if line.startswith("#tb 0:"):
                    tick_s = Fraction(line.split(":")[1].strip())
                elif not line.startswith("#"):
                    # stream, decoding time, presentation time, duration, size, checksum, flags
                    decoding, shown, _, size = map(int, line.split(",", 5)[1:5])
                    if _DISCARDED.search(line):
                        hidden += 1
                    else:
                        ticks.append(decoding if shown == _NO_TIME else shown)
                        sizes.append(size)
            code = process.wait()
        if code or not ticks:
            raise unreadable(self._path, process.all_words or SILENT)
        times = tuple(tick * tick_s for tick in sorted(ticks))
        return Packets(times, tick_s, hidden, tuple(sizes), _runs(ticks))

    def info(self) -> VideoInfo:
        """What `probe` returns."""
        path, told, packets = self._path, self._told, self.packets()
        stream = told.stream
        if stream is None:
            raise unreadable(path, "")
        width, height = told.upright_size
        short, long = sorted((width, height))
        if short < LEAST_SIDE or long > LONGEST * short:
            raise InputError(
                f"{os.fspath(path)} has pictures of {width}x{height}, no size of a video: it is "
                "damaged, or to be cropped or enlarged first"
            )
        mean_rate = _mean_rate(packets.times)
        if mean_rate is not None and mean_rate > MOST_HZ:
            raise InputError(
                f"{os.fspath(path)} has {float(mean_rate):.0f} pictures a second by its clock: "
                f"it is damaged, and at most {MOST_HZ} are read; try a fresh copy"
            )
        facts: dict[str, Any] = vars(stream) | {"width": width, "height": height}
        return VideoInfo(
            **facts,
            rotation_deg=told.rotation_deg,
            rate=exact_rate(packets.times, packets.tick_s),
            mean_rate=mean_rate,
            times=packets.times,
            tick_s=packets.tick_s,
            capture_hz=told.capture_hz,
            left_out=packets.left_out,
            runs=packets.runs,
            coded_bytes=sum(packets.sizes),
        )


def _runs(ticks: Sequence[int]) -> tuple[int, ...]:
    """`Packets.runs`, from times in the order of decoding."""
    alone = set(accumulate(ticks, max))  # later than all that were decoded before
    runs: list[int] = []
    for tick in sorted(ticks):
        runs.append(0 if tick in alone or not runs else runs[-1] + 1)
    return tuple(runs)


def ends_early(path: File) -> bool:
    """Whether a file surely lacks its end, of kinds that are decoded without a word about it.

    A GIF ends with a semicolon (GIF89a specification, section 27), a transport stream with a
    whole packet: of 188 bytes (ISO/IEC 13818-1), or of 192 after a clock's four.
    """
    with open(path, "rb") as file:  # noqa: PTH123 - as the decoder takes it
        begin = file.read(5)
        size = file.seek(0, os.SEEK_END)
        file.seek(max(size - 64, 0))
        end = file.read()
    if begin[:4] == b"GIF8":
        return not end.rstrip(b"\0\r\n").endswith(b";")
    packet = 188 if begin[:1] == b"G" else 192 if begin[4:] == b"G" else 0
    return packet > 0 and size % packet > 0


def first_bytes(path: Path) -> bytes:
    """The first 16 bytes of a file, which tell pictures from videos.

    Raises `InputError`: there is no file, it is empty, or it cannot be read.
    """
    if not os.path.isfile(path):  # noqa: PTH113 - raises nothing, whatever the name
        raise unreadable(path, "")
    try:
        with path.open("rb") as file:
            begin = file.read(16)
    except OSError as error:
        raise unreadable(path, "") from error
    if not begin:
        raise unreadable(path, "")
    return begin


def unreadable(path: File, words: str) -> InputError:
    """One line for a file that the decoder refuses, whatever the decoder said."""
    name = os.fspath(path)
    giant = _GIANT.search(words)
    closed = "not on whitelist" in words
    reasons = (
        (not os.path.lexists(name), "does not exist: check the name"),
        (os.path.isdir(name), "is a folder: give a video file"),  # noqa: PTH112
        (not os.path.exists(name), "is a link that leads nowhere: give the file"),  # noqa: PTH110
        (not os.access(name, os.R_OK), "may not be read: change its rights"),
        (not os.path.isfile(name), "is a pipe or a device: give a file"),  # noqa: PTH113
        (os.path.isfile(name) and not os.path.getsize(name), "is empty (0 bytes)"),  # noqa: PTH113, PTH202
        (closed and _NUMBERED.search(name), "has % and d in its name: rename it"),
        (closed, _OTHER_KIND),
        (words == SILENT, "was not read, and the decoder gives no reason: is it an ffmpeg?"),
        ("matches no streams" in words, "holds no video: give a file with pictures in it"),
        (giant, f"has pictures of {giant and giant[1]}: that is too large to be read"),
    )
    otherwise = (
        "cannot be read as video: it is damaged, cut off or of another kind; try a fresh copy"
    )
    return InputError(f"{name} {next((text for met, text in reasons if met), otherwise)}")
