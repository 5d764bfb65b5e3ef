"""Exact times of the pictures in a file, read without decoding any."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from fractions import Fraction

from patterns.errors import InputError
from patterns.video.process import FfmpegProcess, input_arguments

__all__ = ["packet_times", "scan_packets"]

SILENT = "\0"  # in place of words, where a decoder that failed has said none
_OTHER_KIND = (
    "cannot be read as video: it is of another kind, such as a playlist; give what a camera, a "
    "phone or an editor made (MP4, QuickTime, Matroska, WebM, AVI, MPEG, MXF, GIF)"
)
_NUMBERED = re.compile(r"%\d*d")  # which the decoder takes for numbered pictures
_DISCARDED = re.compile(r", F=0x[0-9A-F]*[4-7C-F]\b")  # before or after an edit list's stretch
_NO_TIME = -(1 << 63)
_GIANT = re.compile(r"Picture size (\d+x\d+) is invalid")


def packet_times(path: str | os.PathLike[str]) -> tuple[Fraction, ...]:
    """Presentation time of each picture of the first video stream, seconds, rising.

    Raises
    ------
    InputError
        The file cannot be read or holds no video.
    """
    return scan_packets(path)[0]


def scan_packets(
    path: str | os.PathLike[str], on_line: Callable[[str], None] | None = None
) -> tuple[tuple[Fraction, ...], Fraction]:
    """Give times as `packet_times`, and the tick in which the file counts, in seconds.

    Parameters
    ----------
    path
        Any file that the bundled decoder opens.
    on_line
        Called with each line that describes the file.
    """
    process = FfmpegProcess(
        (
            *("-loglevel", "info", "-copyts", *input_arguments(path)),
            # V: no cover pictures; -copyts: the file's own times, not shifted to start at 0
            *("-map", "0:V:0", "-c", "copy", "-f", "framecrc", "pipe:1"),
        ),
        on_line=on_line,
    )
    ticks: list[int] = []
    tick_s = Fraction(1)
    try:
        for line in process.lines():
            if line.startswith("#tb 0:"):
                tick_s = Fraction(line.split(":")[1].strip())
            elif not line.startswith("#"):
                # stream, decoding time, presentation time, duration, size, checksum, flags
                decoding, shown = map(int, line.split(",", 3)[1:3])
                if not _DISCARDED.search(line):
                    ticks.append(decoding if shown == _NO_TIME else shown)
        code = process.wait()
    finally:
        process.stop()
    if code or not ticks:
        raise unreadable(path, process.all_words or SILENT)
    return tuple(tick * tick_s for tick in sorted(ticks)), tick_s


def unreadable(path: str | os.PathLike[str], words: str) -> InputError:
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
        (_is_empty(name), "is empty (0 bytes)"),
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


def _is_empty(name: str) -> bool:
    try:
        return os.path.getsize(name) == 0  # noqa: PTH202
    except OSError:
        return False
