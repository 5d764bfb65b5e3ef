"""The pictures of a video, read one by one: what it is, is found out on the first of them."""

from __future__ import annotations

from collections import deque
from collections.abc import Generator, Iterable, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Protocol

import numpy as np

from patterns.errors import InputError
from patterns.footage.measure import Measurer
from patterns.picture.arrays import UInt8Array
from patterns.reading.file_kind import KEPT, FileKind, KindFinder
from patterns.reading.reading import Kind
from patterns.reading.sightings import Sightings
from patterns.side_by_side import Progress
from patterns.strip.camera import CameraReader
from patterns.strip.placement import Placement
from patterns.strip.read import NO_STRIP, StripReading, Unread, read_at, read_strip
from patterns.video.description import Description
from patterns.video.probe import VideoInfo
from patterns.video.reader import Crop, read_luma


class Pictures:
    """The luma of a video's pictures, whole or a part of each, as often as it is wanted."""

    def __init__(self, path: Path, count: int, progress: Progress | None) -> None:
        self._path, self.count, self._progress = path, count, progress
        self.told = Description()  # what the decoder says of the file

    def read(
        self, first: int = 0, crop: Crop | None = None
    ) -> Generator[tuple[Fraction, UInt8Array]]:
        """Times and pictures from the `first` on."""
        self.told = Description()
        with closing(read_luma(self._path, crop=crop, told=self.told)) as timed:
            for place, picture in enumerate(timed):
                if place >= first:
                    yield picture
                    if self._progress is not None:
                        self._progress(min(place + 1, self.count), self.count)


@dataclass
class VideoRead:
    """What the pictures of a video said, read as what it is."""

    kind: FileKind
    footage: _FootageReader
    log: Sightings | None = None
    times: list[Fraction] = field(default_factory=list)
    shape: tuple[int, int] = (0, 0)

    def add(self, time_s: Fraction, luma: UInt8Array) -> None:
        """Take note that there is one more picture."""
        self.times.append(time_s)
        self.shape = (luma.shape[0], luma.shape[1])


@dataclass(frozen=True)
class _Band:
    """A part of pictures, and where the strip lies in it."""

    crop: Crop
    placement: Placement


class _PictureReader(Protocol):
    def take(self, time_s: Fraction, luma: UInt8Array) -> None: ...


class _ClipReader:
    """Reads strips that lie straight."""

    def __init__(self, log: Sightings, *, on_its_side: bool) -> None:
        self._log, self._on_its_side = log, on_its_side
        self._near: Placement | None = None

    def take(self, time_s: Fraction, luma: UInt8Array) -> None:
        upright = np.ascontiguousarray(luma.T) if self._on_its_side else luma
        found = read_strip(upright, near=self._near)
        if isinstance(found, StripReading):
            self._near = found.placement
        self._log.take(time_s, found)

    def band(self, shape: tuple[int, int]) -> _Band | None:
        """Part of pictures of a shape in which the strip lies, if it was read and stands."""
        if self._near is None or self._on_its_side:
            return None
        left, top, right, bottom = self._near.bounds(shape)
        return _Band(Crop(left, top, right - left, bottom - top), self._near.within(left, top))

    def take_band(self, time_s: Fraction, luma: UInt8Array, at: Placement) -> bool:
        """Read a strip in its band; returns whether that could be done."""
        found = read_at(luma, at)
        if isinstance(found, StripReading):
            self._log.take(time_s, found)
        return isinstance(found, StripReading)


class _RecordingReader:
    """Reads strips that a camera sees."""

    def __init__(self, log: Sightings) -> None:
        self._log, self._camera = log, CameraReader()

    def take(self, time_s: Fraction, luma: UInt8Array) -> None:
        self._log.take(time_s, self._camera.read(luma))


class _FootageReader:
    """Measures footage."""

    def __init__(self, info: VideoInfo) -> None:
        self.measurer = Measurer(info)

    def take(self, time_s: Fraction, luma: UInt8Array) -> None:
        del time_s
        self.measurer.take(luma)


def read_video(pictures: Pictures, info: VideoInfo, asked: Kind | None) -> VideoRead:
    """Find out what it is on the first pictures, then read it as that."""
    read = VideoRead(FileKind("footage"), _FootageReader(info))
    band: _Band | None = None
    with closing(pictures.read()) as whole:
        reader = read.footage if asked == "footage" else _found_out(whole, read, asked)
        if isinstance(reader, _ClipReader):
            band = reader.band(read.shape)
        if reader is not None and band is None:
            _read_on(whole, reader, read)
    if isinstance(reader, _ClipReader) and band is not None:
        _read_clip(pictures, reader, read, band)
    return read


def _found_out(
    pictures: Iterable[tuple[Fraction, UInt8Array]], read: VideoRead, asked: Kind | None
) -> _PictureReader | None:
    """Reader of what the pictures are of, once that is known; None if they end before.

    The first few pictures are kept until then. From then on, and as long as no strip is seen,
    pictures are measured as footage.
    """
    finder, kept = KindFinder(), deque[tuple[Fraction, UInt8Array]](maxlen=KEPT)
    for place, (time_s, luma) in enumerate(pictures):
        read.add(time_s, luma)
        kept.append((time_s, luma))
        found = finder.look(place, luma)
        if found is not None:
            return _strip_reader(read, _as_asked(found, asked), kept)
        if place >= KEPT - 1 and asked is None:
            for earlier in kept if place == KEPT - 1 else [(time_s, luma)]:
                read.footage.take(*earlier)
    kind = _as_asked(finder.kind(), asked)
    if kind.kind != "footage":
        _strip_reader(read, kind, kept)
    elif len(read.times) < KEPT:
        for earlier in kept:
            read.footage.take(*earlier)
    return None


def _read_on(
    pictures: Iterable[tuple[Fraction, UInt8Array]], reader: _PictureReader, read: VideoRead
) -> None:
    for time_s, luma in pictures:
        read.add(time_s, luma)
        reader.take(time_s, luma)


def _read_clip(pictures: Pictures, reader: _ClipReader, read: VideoRead, band: _Band) -> None:
    """Read on in the strip's band alone, whole pictures once the strip is not read there.

    The rest of the pictures then need not leave the decoder, which takes as long as decoding.
    """
    # a damaged file's pictures may change their size, so that there is no such part
    with suppress(InputError), closing(pictures.read(len(read.times), band.crop)) as parts:
        for time_s, luma in parts:
            if not reader.take_band(time_s, luma, band.placement):
                break
            read.times.append(time_s)
    if len(read.times) < pictures.count:
        with closing(pictures.read(len(read.times))) as whole:
            _read_on(whole, reader, read)


def _as_asked(found: FileKind, asked: Kind | None) -> FileKind:
    if asked is None:
        return found
    return replace(found, kind=asked, sure=True, why="", on_its_side=found.on_its_side)


def _strip_reader(
    read: VideoRead, kind: FileKind, kept: Sequence[tuple[Fraction, UInt8Array]]
) -> _PictureReader:
    """Reader of the kind that was found, with what was kept; what came before showed no strip."""
    read.kind, read.log = kind, Sightings()
    reader: _PictureReader
    if kind.kind == "clip":
        reader = _ClipReader(read.log, on_its_side=kind.on_its_side)
    else:
        reader = _RecordingReader(read.log)
    for time_s in read.times[: len(read.times) - len(kept)]:
        read.log.take(time_s, Unread(NO_STRIP))
    for time_s, luma in kept:
        reader.take(time_s, luma)
    return reader
