"""A file read back: a photo, or a video whose pictures are read one by one and then judged.

What a video is, is found out on the first of its pictures.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Generator, Iterable, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from patterns.errors import InputError, RequestError
from patterns.picture.arrays import UInt8Array
from patterns.reading.file_kind import KEPT, FileKind, KindFinder
from patterns.reading.reading import Kind, Reading
from patterns.reading.sightings import Sightings, Watched
from patterns.strip.camera import CameraReader
from patterns.strip.placement import Placement
from patterns.strip.read import NO_STRIP, StripReading, Unread, read_at, read_strip
from patterns.timing.cadence import Display
from patterns.video.description import Damage, Description
from patterns.video.probe import VideoInfo, ends_early, probe, unreadable
from patterns.video.reader import Crop, read_luma

if TYPE_CHECKING:  # each kind's own reader is loaded once a file is found to be of it
    from patterns.footage.measure import Measurer
    from patterns.side_by_side import Progress

PHOTOS = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")  # how a JPEG and a PNG begin
Timed = tuple[Fraction, UInt8Array]  # a picture's time, and its luma


class Pictures:
    """The luma of a video's pictures, whole or a part of each, as often as it is wanted."""

    def __init__(self, path: Path, count: int, progress: Progress | None) -> None:
        self._path, self.count, self._progress = path, count, progress
        self.told = Description()  # what the decoder says of the file

    def read(self, first: int = 0, crop: Crop | None = None) -> Generator[Timed]:
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

    info: VideoInfo
    kind: FileKind
    log: Sightings | None = None
    times: list[Fraction] = field(default_factory=list)

    @cached_property
    def measurer(self) -> Measurer:
        """What measures footage."""
        from patterns.footage.measure import Measurer

        return Measurer(self.info)

    def measure(self, _: Fraction, luma: UInt8Array) -> None:
        """Measure a picture of footage."""
        self.measurer.take(luma)


Reader = Callable[[Fraction, UInt8Array], None]  # takes pictures in their order


class _ClipReader:
    """Reads strips that lie straight, first where one is seen `near`."""

    def __init__(self, log: Sightings, near: Placement | None, *, on_its_side: bool) -> None:
        self.log, self._on_its_side = log, on_its_side
        self._near = None if on_its_side else near
        self._shape = (0, 0)

    def __call__(self, time_s: Fraction, luma: UInt8Array) -> None:
        upright = np.ascontiguousarray(luma.T) if self._on_its_side else luma
        found = read_strip(upright, near=self._near)
        if isinstance(found, StripReading):
            self._near = found.placement
        self._shape = (luma.shape[0], luma.shape[1])
        self.log.take(time_s, found)

    def band(self) -> tuple[Crop, Placement] | None:
        """Part of pictures with the strip, and where it lies there, if it was read upright."""
        if self._near is None or self._on_its_side:
            return None
        left, top, right, bottom = self._near.bounds(self._shape)
        return Crop(left, top, right - left, bottom - top), self._near.within(left, top)


def read_video(pictures: Pictures, info: VideoInfo, asked: Kind | None) -> VideoRead:
    """Find out what it is on the first pictures, then read it as that."""
    read = VideoRead(info, FileKind("footage"))
    with closing(pictures.read()) as whole:
        reader = read.measure if asked == "footage" else _found_out(whole, read, asked)
        band = reader.band() if isinstance(reader, _ClipReader) else None
        if reader is not None and band is None:
            _read_on(whole, reader, read)
    if isinstance(reader, _ClipReader) and band is not None:
        _read_clip(pictures, reader, read, *band)
    return read


def _found_out(pictures: Iterable[Timed], read: VideoRead, asked: Kind | None) -> Reader | None:
    """Reader of what the pictures are of, once that is known; None if they end before.

    The first few pictures are kept until then. From then on, and as long as no strip is seen,
    pictures are measured as footage.
    """
    finder, kept = KindFinder(), deque[Timed](maxlen=KEPT)
    for place, (time_s, luma) in enumerate(pictures):
        read.times.append(time_s)
        kept.append((time_s, luma))
        found = finder.look(place, luma)
        if found is not None:
            return _strip_reader(read, found.unless(asked), kept, finder.near)
        if place >= KEPT - 1 and asked is None:
            for earlier in kept if place == KEPT - 1 else [(time_s, luma)]:
                read.measure(*earlier)
    kind = finder.kind().unless(asked)
    if kind.kind != "footage":
        _strip_reader(read, kind, kept, finder.near)
    elif len(read.times) < KEPT:
        for earlier in kept:
            read.measure(*earlier)
    return None


def _read_on(pictures: Iterable[Timed], reader: Reader, read: VideoRead) -> None:
    for time_s, luma in pictures:
        read.times.append(time_s)
        reader(time_s, luma)


def _read_clip(
    pictures: Pictures, reader: _ClipReader, read: VideoRead, crop: Crop, at: Placement
) -> None:
    """Read on in the strip's band alone, whole pictures once the strip is not read there.

    The rest of the pictures then need not leave the decoder, which takes as long as decoding.
    """
    # a damaged file's pictures may change their size, so that there is no such part
    with suppress(InputError), closing(pictures.read(len(read.times), crop)) as parts:
        for time_s, luma in parts:
            found = read_at(luma, at)
            if isinstance(found, Unread):
                break
            reader.log.take(time_s, found)
            read.times.append(time_s)
    if len(read.times) < pictures.count:
        with closing(pictures.read(len(read.times))) as whole:
            _read_on(whole, reader, read)


def _strip_reader(
    read: VideoRead, kind: FileKind, kept: Sequence[Timed], near: Placement | None
) -> Reader:
    """Reader of the kind that was found, with what was kept; what came before showed no strip."""
    read.kind, read.log = kind, Sightings()
    log, camera = read.log, CameraReader()

    def filmed(time_s: Fraction, luma: UInt8Array) -> None:
        log.take(time_s, camera.read(luma))

    clip = kind.kind == "clip"
    reader = _ClipReader(log, near, on_its_side=kind.on_its_side) if clip else filmed
    for time_s in read.times[: len(read.times) - len(kept)]:
        log.take(time_s, Unread(NO_STRIP))
    for time_s, luma in kept:
        reader(time_s, luma)
    return reader


@dataclass(frozen=True)
class Given:
    """What the user says of a file; None for what is to be found out."""

    kind: Kind | None = None  # what it is
    capture_hz: Fraction | None = None  # pictures a second at which a recording was really taken
    display: Display | None = None  # the display that was filmed
    exposure_s: Fraction | None = None  # exposure of a photo, seconds


def read_file(path: Path, given: Given, progress: Progress | None = None) -> Reading:
    """Read a video or photo; `progress` is called with the pictures done and their number.

    Raises `InputError`: it cannot be read; `RequestError`: it is said to be what it cannot be.
    """
    if _begin(path).startswith(PHOTOS):
        # here, because videos need not wait for what reads photos
        from patterns.reading.photo import judged_photo, open_photo

        photo = open_photo(path)
        if photo is not None:
            if given.kind not in (None, "photo"):
                raise RequestError(f"{path} is a still picture, not a {given.kind}: leave --as out")
            return judged_photo(photo, path.name, given.exposure_s, given.display)
    if given.kind == "photo":
        raise InputError(f"{path} is no photo that can be read: give a JPEG or PNG")
    info = probe(path)
    asked = given.kind or ("recording" if given.capture_hz or given.display else None)
    pictures = Pictures(path, info.pictures, progress)
    read = read_video(pictures, info, asked)
    if not read.times:
        raise InputError(f"{path} holds no picture that can be decoded: try a fresh copy")
    damage = pictures.told.damage(info.pictures)
    damage = replace(damage, cut_off=damage.cut_off or ends_early(path))
    return _judged(path, given, read, damage)


def _begin(path: Path) -> bytes:
    """First bytes of a file."""
    if not os.path.isfile(path) or path.stat().st_size == 0:  # noqa: PTH113 - raises nothing
        raise unreadable(path, "")
    try:
        with path.open("rb") as file:
            return file.read(16)
    except OSError as error:
        raise unreadable(path, "") from error


def _judged(path: Path, given: Given, read: VideoRead, damage: Damage) -> Reading:
    if read.log is None:
        return _judged_footage(path, given, read, damage)
    kind, watched = read.kind, read.log.watched()
    if kind.kind == "clip":
        from patterns.reading.clip_file import judge_clip

        reading = judge_clip(
            watched,
            file=path.name,
            file_rate=read.info.rate,
            mean_rate=read.info.mean_rate,
            damage=damage,
            warnings=("The picture lies on its side, turned by a quarter.",) * kind.on_its_side,
        )
    elif damage.inside and given.kind is None:
        # what is smeared over the strip's edges moves them as a camera would
        raise InputError(
            f"{path} is damaged, and whether it is a clip or a recording of a screen cannot be "
            "known: try a fresh copy, or give --as clip or --as recording"
        )
    else:
        reading = _judged_recording(path, given, read, watched, damage)
    found = {"kind_sure": kind.sure, "kind_from": kind.why}
    return replace(reading, details={**reading.details, **found})


def _judged_footage(path: Path, given: Given, read: VideoRead, damage: Damage) -> Reading:
    from patterns.reading.footage import judge_footage

    if damage.inside:
        raise InputError(
            f"{path} is damaged and shows no strip that can be read: its decoder repeats older "
            "pictures, so that nothing can be known; try a fresh copy"
        )
    facts, said = read.measurer.facts(read.times), _damage_warnings(damage)
    return judge_footage(facts, file=path.name, filmed_possible=given.kind is None, warnings=said)


def _judged_recording(
    path: Path, given: Given, read: VideoRead, watched: Watched, damage: Damage
) -> Reading:
    from patterns.reading.recording import judge_recording
    from patterns.reading.true_times import true_time

    info = read.info
    true = true_time(watched, info.average_rate, given.capture_hz, info.capture_hz)
    reading = judge_recording(
        watched.scaled(true.scale),
        file=path.name,
        display=given.display,
        warnings=(*_damage_warnings(damage), *true.warnings),
    )
    return replace(reading, verdict=read.kind.said(reading.verdict, read=reading.read > 0))


def _damage_warnings(damage: Damage) -> tuple[str, ...]:
    if not damage:
        return ()
    what = "damaged" if damage.inside else "cut off, and only what came before is judged"
    return (f"The file is {what}: try a fresh copy.",)
