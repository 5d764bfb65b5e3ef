"""Decoded pictures with their exact times, one after the other, in bounded memory.

No picture is repeated, dropped or moved on the way: the decoder passes every one
through as the file has it, and its time comes from the same run.
"""

from __future__ import annotations

import os
import queue
import re
import threading
from collections.abc import Generator, Sequence
from contextlib import closing
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np

from patterns.errors import InputError
from patterns.picture.arrays import UInt8Array
from patterns.video.description import Description
from patterns.video.probe import SILENT, unreadable
from patterns.video.process import FfmpegProcess, File, input_arguments

_TICK = re.compile(r"showinfo\S* @ \S+\] config in time_base: (\d+)/(\d+)")
_SHOWN = re.compile(r"showinfo\S* @ \S+\] n: *\d+ pts: *(-?\d+|NOPTS)")
WAIT_S = 30.0  # for a message that was written before what has been received
MAX_PIXELS = 1 << 27  # a larger picture is refused before memory is taken for it
Matrix = Literal["bt709", "bt601", "bt2020"]


@dataclass(frozen=True)
class Crop:
    """Part of the picture, in pixels from its upper left corner, upright."""

    left: int
    top: int
    width: int
    height: int


def read_luma(
    path: File,
    *,
    size: tuple[int, int] | None = None,
    crop: Crop | None = None,
    told: Description | None = None,
) -> Generator[tuple[Fraction, UInt8Array]]:
    """Luma of each picture, upright, with the time at which it is due.

    `path`: any file that the bundled decoder opens.
    `size`: width and height to scale to (after the crop); None leaves them.
    `crop`: part that is wanted, inside of the pictures.
    `told`: takes what the decoder says of the file: its damage, once all pictures are read.

    Yields seconds on the file's own clock, exact, and uint8 (height, width), narrow range (16 is
    black, 235 white) whatever the range in the file. Each array is a new one. A file that is cut
    off yields what can be decoded.
    Raises `InputError`: it is missing, empty, damaged, or holds no video, or its clock goes back.
    """
    # 8-bit planes pass as they are, others are converted once
    chain = ["scale=out_range=tv", "format=yuv420p|yuv422p|yuv444p|yuv440p", "extractplanes=y"]
    if crop is not None:  # at odd places too, where subsampled colour goes wrong, but luma does not
        place = f"{crop.width}:{crop.height}:{crop.left}:{crop.top}"
        chain.insert(0, f"crop={place}:exact=1")
    if size is not None:
        chain.append(f"scale={size[0]}:{size[1]}:flags=area+accurate_rnd")
    with closing(_pictures(path, chain, 1, told)) as pictures:
        for time_s, data, (width, height) in pictures:
            yield time_s, data.reshape(height, width)


def read_ycbcr(
    path: File, size: tuple[int, int], matrix: Matrix
) -> Generator[tuple[Fraction, UInt8Array]]:
    """Pictures averaged down to `size` (width, height), else as `read_luma`.

    Yields Y', Cb, Cr, uint8 (3, height, width), BT.709 in narrow range whatever the file has;
    `matrix` is that of the file, where it does not hold R'G'B'.
    """
    scale = f"scale={size[0]}:{size[1]}:flags=area+accurate_rnd:out_range=tv"
    colour = f"in_color_matrix={matrix}:out_color_matrix=bt709"
    chain = (f"{scale}:{colour}", "format=yuv444p")
    with closing(_pictures(path, chain, 3)) as pictures:
        for time_s, data, (width, height) in pictures:
            yield time_s, data.reshape(3, height, width)


def _arguments(path: File, chain: Sequence[str]) -> tuple[str, ...]:
    return (
        *("-loglevel", "info", "-copyts", "-max_pixels", str(MAX_PIXELS)),
        *input_arguments(path),
        *("-map", "0:V:0"),
        # showinfo first: it tells the time of each picture that the decoder made
        *("-vf", ",".join(("showinfo=checksum=0", *chain)), "-fps_mode", "passthrough"),
        *("-enc_time_base", "demux", "-c:v", "rawvideo", "-f", "rawvideo", "pipe:1"),
    )


class _Times:
    """Exact times out of the decoder's messages, in the order of its pictures."""

    def __init__(self, told: Description | None) -> None:
        self.told = told or Description()
        self._tick_s = Fraction(1)
        self._times: queue.SimpleQueue[Fraction | None] = queue.SimpleQueue()
        self._output_told = threading.Event()

    def take(self, line: str) -> None:
        """Read one line; called by the thread that drains the messages."""
        if shown := _SHOWN.search(line):
            tick = shown[1]
            self.told.pictures += 1
            self._times.put(None if tick == "NOPTS" else int(tick) * self._tick_s)
        elif tick_text := _TICK.search(line):
            self._tick_s = Fraction(int(tick_text[1]), int(tick_text[2]))
        else:
            self.told.take(line)
            if self.told.output is not None:
                self._output_told.set()

    def output_size(self) -> tuple[int, int]:
        """Size of the pictures that come; told before the first of them."""
        self._output_told.wait(WAIT_S)
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


def _pictures(
    path: File, chain: Sequence[str], channels: int, told: Description | None = None
) -> Generator[tuple[Fraction, UInt8Array, tuple[int, int]], None, None]:
    times = _Times(told)
    process = FfmpegProcess(_arguments(path, chain), on_line=times.take)
    try:
        first = np.empty(1, np.uint8)
        if not process.fill(first.data):
            process.wait()
            raise unreadable(path, process.all_words or SILENT)
        width, height = times.output_size()
        time_s = times.next()
        frame_bytes = channels * width * height
        frame = np.empty(frame_bytes, np.uint8)
        frame[0] = first[0]
        got = 1 + process.fill(frame[1:].data)
        while got == frame_bytes:
            yield time_s, frame, (width, height)
            frame = np.empty(frame_bytes, np.uint8)
            got = process.fill(frame.data)
            if got == frame_bytes:
                earlier_s, time_s = time_s, times.next()
                if time_s < earlier_s:
                    raise InputError(
                        f"{os.fspath(path)} has a picture due before the one ahead of it: it "
                        "was joined from parts, or is damaged; give each part, or a fresh copy"
                    )
    finally:
        process.stop()
