"""A video read back: its pictures are read one by one and then judged.

What it is, is found out on the first of its pictures.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from patterns.errors import InputError
from patterns.picture.arrays import UInt8Array
from patterns.reading.clip_file import judge_clip
from patterns.reading.file_kind import KEPT, FileKind, KindFinder
from patterns.reading.opened import Given, OpenVideo
from patterns.reading.reading import Kind, Reading
from patterns.reading.sightings import Sightings, Watched
from patterns.strip.camera import CameraReader
from patterns.strip.placement import Placement
from patterns.strip.read import NO_STRIP, StripReading, Unread, read_at, read_strip
from patterns.video.description import Damage
from patterns.video.probe import VideoInfo, ends_early
from patterns.video.reader import Bottom, Crop

if TYPE_CHECKING:  # what is no clip has its reader loaded once that is known
    from patterns.footage.measure import Measurer
    from patterns.reading.opened import Timed


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
        self.near = None if on_its_side else near
        self._shape = (0, 0)

    def __call__(self, time_s: Fraction, luma: UInt8Array) -> None:
        upright = np.ascontiguousarray(luma.T) if self._on_its_side else luma
        found = read_strip(upright, near=self.near)
        if isinstance(found, StripReading):
            self.near = found.placement
        self._shape = (luma.shape[0], luma.shape[1])
        self.log.take(time_s, found)

    def band(self) -> tuple[Crop, Placement] | None:
        """Part of pictures with the strip, and where it lies there, if it was read upright."""
        if self.near is None or self._on_its_side:
            return None
        left, top, right, bottom = self.near.bounds(self._shape)
        return Crop(left, top, right - left, bottom - top), self.near.within(left, top)


def read_video(video: OpenVideo) -> VideoRead:
    """Find out what it is on the first pictures, then read it as that."""
    asked = video.asked
    if video.bottom_first:
        read = _bottom_read(video)
        if read is not None:
            return read
    read = VideoRead(video.info, FileKind("footage"))
    with closing(video.read() if video.bottom_first else video.first()) as whole:
        reader = read.measure if asked == "footage" else _found_out(whole, read, asked)
        band = reader.band() if isinstance(reader, _ClipReader) else None
        if reader is not None and band is None:
            _read_on(whole, reader, read)
    if isinstance(reader, _ClipReader) and band is not None:
        part, at = band
        # a damaged file's pictures may change their size, so that there is no such part
        with suppress(InputError), closing(video.read(len(read.times), part)) as parts:
            _read_band(parts, at, reader, read)
        _read_rest(video, reader, read)
    return read


def _bottom_read(video: OpenVideo) -> VideoRead | None:
    """What the bottom of the pictures says; None if no sure clip is seen there at once."""
    read, reader = VideoRead(video.info, FileKind("footage")), None
    with suppress(InputError), closing(video.first()) as bottoms:
        reader = _seen_at_once(bottoms, read, video.asked)
        if reader is not None and reader.near is not None:
            _read_band(bottoms, reader.near, reader, read)
    if reader is None or reader.near is None:
        return None
    bottom = Bottom.of(read.info.width, read.info.height)
    reader.near = reader.near.within(-bottom.left, -bottom.top)
    _read_rest(video, reader, read)
    return read


def _seen_at_once(
    pictures: Iterable[Timed], read: VideoRead, asked: Kind | None
) -> _ClipReader | None:
    """Reader of a clip that is known from the first few pictures, upright and surely; else None."""
    finder = KindFinder()
    kept: list[Timed] = []
    for place, (time_s, luma) in enumerate(pictures):
        read.times.append(time_s)
        kept.append((time_s, luma))
        found = finder.look(place, luma)
        if found is not None:
            kind = found.unless(asked)
            sure = kind.kind == "clip" and kind.sure and not kind.on_its_side
            reader = _strip_reader(read, kind, kept, finder.near) if sure else None
            return reader if isinstance(reader, _ClipReader) else None
        if finder.near is None or place + 1 == KEPT:
            return None
    return None


def _found_out(pictures: Iterable[Timed], read: VideoRead, asked: Kind | None) -> Reader | None:
    """Reader of what the pictures are of, once that is known; None if they end before.

    The first few pictures are kept until then. From then on, and as long as no strip is seen,
    pictures are measured as footage.
    """
    finder = KindFinder()
    kept: deque[Timed] = deque(maxlen=KEPT)
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


def _read_band(parts: Iterable[Timed], at: Placement, reader: _ClipReader, read: VideoRead) -> None:
    """Read on in the strip's band, until it is not read there.

    The rest of the pictures then need not leave the decoder, which takes as long as decoding.
    """
    for time_s, luma in parts:
        found = read_at(luma, at)
        if isinstance(found, Unread):
            break
        reader.log.take(time_s, found)
        read.times.append(time_s)


def _read_rest(video: OpenVideo, reader: _ClipReader, read: VideoRead) -> None:
    """Read whole pictures from the first on that was not read in a band."""
    if len(read.times) < read.info.pictures:
        with closing(video.read(len(read.times))) as whole:
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


def judged_video(video: OpenVideo, path: Path, given: Given) -> Reading:
    """Read a video; as `read_file`."""
    read = read_video(video)
    if not read.times:
        raise InputError(f"{path} holds no picture that can be decoded: try a fresh copy")
    damage = video.told.damage(read.info.pictures)
    damage = replace(damage, cut_off=damage.cut_off or ends_early(path))
    return _judged(path, given, read, damage)


def _judged(path: Path, given: Given, read: VideoRead, damage: Damage) -> Reading:
    if read.log is None:
        return _judged_footage(path, given, read, damage)
    kind, watched = read.kind, read.log.watched()
    if kind.kind == "clip":
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
