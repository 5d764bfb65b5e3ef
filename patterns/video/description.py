"""Understands what ffmpeg says about a file: size, codec, colour tags, rotation."""

from __future__ import annotations

import re
import threading
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

_STREAM = re.compile(r"^\s*Stream #(\d+):(\d+)\S*: Video: (.*)$")
_SIZE = re.compile(r"^(\d+)x(\d+)\b")
_ROTATION = re.compile(r"[Dd]isplay ?[Mm]atrix: rotation of (-?[\d.]+|nan) degrees")
_ENDLESS = re.compile(r"^Input #0, (?:mpegts|mpeg|ogg|ivf|dv),")  # need not say where they end
_MAPPED = re.compile(r"^\s*Stream #0:(\d+) -> #0:0 ")
_FIELDS = re.compile(r"\b(progressive|(?:top|bottom) (?:coded )?first)\b")
_COMMA = re.compile(r",\s*(?![^(\[]*[)\]])")  # not inside of brackets
_CORRUPT = re.compile(r"corrupt decoded frame")
_CUT_OFF = re.compile(r"ended prematurely|partial file|missing picture in access unit")
# what phones and cameras call the rate at which slow motion was taken
_CAPTURE = re.compile(
    r"^\s*[\w.]*\bcapture[._ ]?(?:fps|frame[._ ]?rate|rate)\s*:\s*(\d+(?:\.\d+)?)\b", re.IGNORECASE
)
AT_THE_END = 40  # pictures by which a message may come before the picture that it is about
MAX_STREAMS = 64  # a hostile file can have thousands; the first pictures are all we want


@dataclass(frozen=True)
class StreamText:
    """What one line of ffmpeg says about a video stream; '' where it does not know."""

    codec: str  # in ffmpeg's words, as the next two: 'h264', 'High', 'yuv420p'
    profile: str
    pixel_format: str
    width: int  # as stored
    height: int
    matrix: str  # 'bt709' and so on
    primaries: str
    transfer: str
    colour_range: str  # 'tv' (narrow) or 'pc' (full)
    fields: str  # 'progressive', 'top first' or 'bottom first'

    @classmethod
    def parse(cls, text: str) -> StreamText | None:
        """From what follows 'Video: '; None if it names no size."""
        parts = _COMMA.split(text)
        size = next((m for part in parts if (m := _SIZE.match(part))), None)
        if size is None:
            return None
        pixel = parts[1] if len(parts) > 1 else ""
        names, colour_range = _colours(pixel)
        fields = _FIELDS.search(pixel)
        coded = parts[0].split()[0], _profile(parts[0]), pixel.split("(")[0].strip()
        lines = fields[1] if fields else ""
        return cls(*coded, int(size[1]), int(size[2]), *names, colour_range, lines)


class Damage(NamedTuple):
    """What a decoder found wrong: `inside` the file, or only that it is `cut_off` at its end.

    Of some kinds of file it cannot be known whether they are cut off: `end_unknown`.
    """

    inside: bool = False
    cut_off: bool = False
    end_unknown: bool = False

    def __bool__(self) -> bool:
        return self.inside or self.cut_off


WHOLE = Damage()


class Description:
    """Collects ffmpeg's lines about the file that it reads and the picture that it makes."""

    def __init__(self) -> None:
        self.streams: dict[int, StreamText] = {}
        self.rotations: dict[int, float] = {}
        self.chosen: int | None = None
        self.output: StreamText | None = None
        self.known = threading.Event()  # set once `output` is told, the last before any picture
        # pictures a second at which the maker's tag says the file was taken; None without one
        self.capture_hz: Fraction | None = None
        self.pictures = 0  # decoded so far
        self._first_corrupt: int | None = None
        self._cut_off = self._endless = False
        self._in_output = False
        self._latest = -1

    def damage(self, expected: int) -> Damage:
        """What is wrong with a file that should hold so many pictures, once all are decoded."""
        cut_off = self._cut_off or self.pictures < expected
        if self._first_corrupt is None:
            return Damage(cut_off=cut_off, end_unknown=self._endless)
        at_end = self._first_corrupt + AT_THE_END >= self.pictures
        return Damage(not at_end, cut_off or at_end)

    def take(self, line: str) -> None:
        """Read one line."""
        if line.startswith("Output #0"):
            self._in_output = True
        elif _ENDLESS.match(line):
            self._endless = True
        elif (mapped := _MAPPED.match(line)) and self.chosen is None:
            self.chosen = int(mapped[1])
        elif found := _STREAM.match(line):
            self._take_stream(int(found[2]), found[3])
        elif (turned := _ROTATION.search(line)) and not self._in_output:
            self.rotations.setdefault(self._latest, float(turned[1]))
        elif (told := _CAPTURE.match(line)) and not self._in_output:
            self.capture_hz = self.capture_hz or Fraction(told[1])
        elif _CORRUPT.search(line):
            if self._first_corrupt is None:
                self._first_corrupt = self.pictures
        elif _CUT_OFF.search(line):
            self._cut_off = True

    def _take_stream(self, index: int, text: str) -> None:
        stream = StreamText.parse(text)
        if self._in_output:
            self.output = self.output or stream
            if self.output is not None:
                self.known.set()
        elif stream is not None and len(self.streams) < MAX_STREAMS:
            self.streams[index] = stream
            self._latest = index

    @property
    def stream(self) -> StreamText | None:
        """The stream that is read, once that is known."""
        if self.chosen is None:
            return None
        return self.streams.get(self.chosen)

    @property
    def rotation_deg(self) -> int:
        """Quarter turns, clockwise, that the file asks a player to make: 0, 90, 180, 270."""
        turn = self.rotations.get(self.chosen if self.chosen is not None else -1, 0.0)
        if turn != turn:  # noqa: PLR0124 - a broken matrix is 'nan'
            return 0
        return round(-turn / 90) * 90 % 360

    @property
    def upright_size(self) -> tuple[int, int]:
        """Width and height as shown."""
        stream = self.stream
        assert stream is not None
        if self.rotation_deg in (90, 270):
            return stream.height, stream.width
        return stream.width, stream.height


def _colours(pixel: str) -> tuple[tuple[str, str, str], str]:
    """Matrix, primaries, transfer and range from 'yuv420p(tv, bt709, progressive)'."""
    inside = pixel.partition("(")[2].rstrip(")")
    names, colour_range = ("", "", ""), ""
    for word in (part.strip() for part in inside.split(",")):
        if word in ("tv", "pc"):
            colour_range = word
        elif word.count("/") == 2:
            first, second, third = (w.replace("unknown", "") for w in word.split("/"))
            names = (first, second, third)
        elif re.fullmatch(r"(bt|smpte|gbr|ycgco|fcc|ictcp|film|iec)\S*", word):
            names = (word, word, word)
    return names, colour_range


def _profile(codec: str) -> str:
    """'High' from 'h264 (High) (avc1 / 0x31637661)'."""
    for inside in re.findall(r"\(([^)]*)\)", codec):
        if "/" not in inside and not inside.startswith(("lib", "native")):
            return str(inside)
    return ""
