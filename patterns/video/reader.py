"""Decoded pictures with their exact times, one after the other, in bounded memory.

No picture is repeated, dropped or moved on the way: the decoder passes every one
through as the file has it, and its time comes from the same run. The decoder is at work while
numpy, and what else makes something of its pictures, is loaded.
"""

from __future__ import annotations

import os
import queue
import re
from collections.abc import Generator, Sequence
from contextlib import closing
from fractions import Fraction
from typing import TYPE_CHECKING, Literal, NamedTuple

from patterns.errors import InputError
from patterns.video.description import Description
from patterns.video.probe import SILENT, unreadable
from patterns.video.process import FfmpegProcess, File, input_arguments

if TYPE_CHECKING:
    from patterns.picture.arrays import UInt8Array

_TICK = re.compile(r"showinfo\S* @ \S+\] config in time_base: (\d+)/(\d+)")
_SHOWN = re.compile(r"showinfo\S* @ \S+\] n: *\d+ pts: *(-?\d+|NOPTS)")
WAIT_S = 30.0  # for a message that was written before what has been received
MAX_PIXELS = 1 << 27  # a larger picture is refused before memory is taken for it
# Of a decoder. Each waits for the picture before its own now and then, and we take some of their
# time: on two cores 8 read a clip in 3 to 5 % less time than 4 do, and 16 in 2 % more. What they
# make of damage is another thing each time; one alone always makes the same.
THREADS = 8
AHEAD = 64  # small pictures, or parts, that are decoded before they are wanted
FEW_AHEAD = 8  # whole ones
Matrix = Literal["bt709", "bt601", "bt2020"]


class Crop(NamedTuple):
    """Part of the picture, in pixels from its upper left corner, upright."""

    left: int
    top: int
    width: int
    height: int

    @property
    def chain(self) -> str:
        """The decoder's words for it."""
        return f"crop={self.width}:{self.height}:{self.left}:{self.top}"


class Bottom:
    """The part at the bottom where strips lie, for who does not know yet how large pictures are.

    They take a ninth of the height at most; two rows more, as the size of copies is rounded.
    """

    chain = "crop=iw:floor(ih/9)+2:0:ih-oh"

    @staticmethod
    def of(width: int, height: int) -> Crop:
        """The same of pictures of this size."""
        rows = height // 9 + 2
        return Crop(0, height - rows, width, rows)


class Decoder:
    """A decoder at work on a file, from when this is made; `close` ends it.

    `chain`: filters that every picture passes; they leave `channels` planes of bytes.
    `threads`: how many it works with; see `THREADS`.
    `ahead`: how many pictures wait, until they are wanted, where it keeps them.
    """

    def __init__(
        self,
        path: File,
        chain: Sequence[str],
        channels: int,
        *,
        threads: int = THREADS,
        ahead: int = AHEAD,
        told: Description | None = None,
    ) -> None:
        self._path, self._channels, self._times = path, channels, _Times(told)
        words = _arguments(path, chain, threads, ahead)
        self._process = FfmpegProcess(words, on_line=self._times.take)

    def close(self) -> None:
        """End it; harmless if it has ended."""
        self._process.stop()

    def pictures(self) -> Generator[tuple[Fraction, UInt8Array]]:
        """Times and pictures, (height, width), or (channels, height, width) if they are several."""
        import numpy as np  # here, because it is loaded while the first pictures are decoded

        process, times = self._process, self._times
        with closing(self):
            first = np.empty(1, np.uint8)
            if not process.fill(first.data):
                process.wait()
                raise unreadable(self._path, process.all_words or SILENT)
            width, height = times.output_size()
            shape = (height, width) if self._channels == 1 else (self._channels, height, width)
            time_s = times.next()
            frame = np.empty(self._channels * width * height, np.uint8)
            frame[0] = first[0]
            got = 1 + process.fill(frame[1:].data)
            while got == frame.size:
                yield time_s, frame.reshape(shape)
                frame = np.empty(frame.size, np.uint8)
                got = process.fill(frame.data)
                if got == frame.size:
                    earlier_s, time_s = time_s, times.next()
                    self._check_order(earlier_s, time_s)

    def _check_order(self, earlier_s: Fraction, time_s: Fraction) -> None:
        if time_s < earlier_s:
            raise InputError(
                f"{os.fspath(self._path)} has a picture due before the one ahead of it: it "
                "was joined from parts, or is damaged; give each part, or a fresh copy"
            )


def luma_decoder(
    path: File,
    *,
    size: tuple[int, int] | None = None,
    crop: Crop | Bottom | None = None,
    threads: int = THREADS,
    told: Description | None = None,
) -> Decoder:
    """Start a decoder of the luma of each picture, upright.

    `path`: any file that the bundled decoder opens.
    `size`: width and height to scale to (after the crop); None leaves them.
    `crop`: part that is wanted, inside of the pictures.
    `threads`: as of `Decoder`.
    `told`: takes what the decoder says of the file: its damage, once all pictures are read.

    Its `pictures` are as `read_luma` says.
    """
    # 8-bit planes pass as they are, others are converted once
    chain = ["scale=out_range=tv", "format=yuv420p|yuv422p|yuv444p|yuv440p", "extractplanes=y"]
    if crop is not None:  # at odd places too, where subsampled colour goes wrong, but luma does not
        chain.insert(0, f"{crop.chain}:exact=1")
    if size is not None:
        chain.append(f"scale={size[0]}:{size[1]}:flags=area+accurate_rnd")
    ahead = AHEAD if crop or size else FEW_AHEAD
    return Decoder(path, chain, 1, threads=threads, ahead=ahead, told=told)


def read_luma(
    path: File, *, size: tuple[int, int] | None = None, crop: Crop | None = None
) -> Generator[tuple[Fraction, UInt8Array]]:
    """Luma of each picture with the time at which it is due; parameters as of `luma_decoder`.

    Yields seconds on the file's own clock, exact, and uint8 (height, width), narrow range (16 is
    black, 235 white) whatever the range in the file. Each array is a new one. A file that is cut
    off yields what can be decoded.
    Raises `InputError`: it is missing, empty, damaged, or holds no video, or its clock goes back.
    """
    yield from luma_decoder(path, size=size, crop=crop).pictures()


def ycbcr_decoder(
    path: File,
    size: tuple[int, int],
    matrix: Matrix,
    *,
    threads: int = THREADS,
    told: Description | None = None,
) -> Decoder:
    """Start a decoder of pictures averaged down to `size` (width, height), else as `read_luma`.

    It gives Y', Cb, Cr, uint8 (3, height, width), BT.709 in narrow range whatever the file has;
    `matrix` is that of the file, where it does not hold R'G'B'; others as of `luma_decoder`.
    """
    scale = f"scale={size[0]}:{size[1]}:flags=area+accurate_rnd:out_range=tv"
    colour = f"in_color_matrix={matrix}:out_color_matrix=bt709"
    return Decoder(path, (f"{scale}:{colour}", "format=yuv444p"), 3, threads=threads, told=told)


def _arguments(path: File, chain: Sequence[str], threads: int, ahead: int) -> tuple[str, ...]:
    return (
        *("-loglevel", "info", "-copyts", "-max_pixels", str(MAX_PIXELS)),
        *("-threads", str(threads), *input_arguments(path)),
        *("-map", "0:V:0"),
        # showinfo first: it tells the time of each picture that the decoder made
        *("-vf", ",".join(("showinfo=checksum=0", *chain)), "-fps_mode", "passthrough"),
        *("-enc_time_base", "demux", "-c:v", "rawvideo", "-thread_queue_size", str(ahead)),
        *("-f", "rawvideo", "pipe:1"),
    )


class _Times:
    """Exact times out of the decoder's messages, in the order of its pictures."""

    def __init__(self, told: Description | None) -> None:
        self.told = told or Description()
        self._tick_s = Fraction(1)
        self._times: queue.SimpleQueue[Fraction | None] = queue.SimpleQueue()

    def take(self, line: str) -> None:
        """Read one line; called by the thread that drains the messages."""
        if "[Parsed_showinfo" not in line:
            self.told.take(line)
        elif shown := _SHOWN.search(line):
            tick = shown[1]
            self.told.pictures += 1
            self._times.put(None if tick == "NOPTS" else int(tick) * self._tick_s)
        elif tick_text := _TICK.search(line):
            self._tick_s = Fraction(int(tick_text[1]), int(tick_text[2]))

    def output_size(self) -> tuple[int, int]:
        """Size of the pictures that come; told before the first of them."""
        self.told.known.wait(WAIT_S)
        made = self.told.output
        if made is None:
            raise InputError("the decoder does not say how large its pictures are")
        return made.width, made.height

    def next(self) -> Fraction:
        """Time of the next picture; it was told before the picture came."""
        try:
            time_s = self._times.get(timeout=WAIT_S)
        except queue.Empty:
            time_s = None
        if time_s is None:
            raise InputError("the file does not say when its pictures are due: it has no clock")
        return time_s
