"""A video read back: its pictures are read one by one and then judged.

What it is, is found out on the first of its pictures.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from patterns.errors import InputError
from patterns.picture.arrays import UInt8Array
from patterns.reading.clip_file import judge_clip
from patterns.reading.file_kind import KEPT, FileKind, KindFinder
from patterns.reading.opened import Given, OpenVideo
from patterns.reading.reading import Kind, Reading
from patterns.reading.sightings import Sightings, Watched
from patterns.strip.camera import CameraReader
from patterns.strip.placement import Placement
from patterns.strip.read import NO_STRIP, StraightReader, Unread
from patterns.video.description import Damage
from patterns.video.probe import VideoInfo, ends_early
from patterns.video.reader import Bottom, Crop

if TYPE_CHECKING:  # what is no clip has its reader loaded once that is known
    from patterns.footage.measure import Measurer
    from patterns.reading.opened import Timed

TOGETHER = 8  # parts of pictures that are read at once


@dataclass
class VideoRead:
    """What the pictures of a video said, read as what it is."""

    info: VideoInfo
    kind: FileKind
    times: list[Fraction] = field(default_factory=list)
    reader: StraightReader | CameraReader | None = None  # of its strip, where one was seen
    log: Sightings | None = None  # what that read

    @cached_property
    def measurer(self) -> Measurer:
        """What measures footage."""
        from patterns.footage.measure import Measurer

        return Measurer(self.info)

    def begin(self, kind: FileKind, kept: Sequence[Timed], near: Placement | None) -> None:
        """Read its strip from what was `kept` on; in what came before none was seen."""
        straight = kind.kind == "clip"
        self.kind, self.log = kind, Sightings()
        self.reader = (
            StraightReader(near, on_its_side=kind.on_its_side) if straight else CameraReader()
        )
        for time_s in self.times[: len(self.times) - len(kept)]:
            self.log.take(time_s, Unread(NO_STRIP))
        for time_s, luma in kept:
            self.take(time_s, luma)

    def take(self, time_s: Fraction, luma: UInt8Array) -> None:
        """Read a whole picture, or measure one of footage."""
        if self.reader is None or self.log is None:
            self.measurer.take(luma)
        else:
            self.log.take(time_s, self.reader.read(luma))


def read_video(video: OpenVideo) -> VideoRead:
    """Find out what it is on the first pictures, then read it as that."""
    asked = video.asked
    if video.bottom_first:
        read = _bottom_read(video)
        if read is not None:
            return read
    read = VideoRead(video.info, FileKind("footage"))
    with closing(video.read() if video.bottom_first else video.first()) as whole:
        known = asked == "footage" or _found_out(whole, read, asked)
        part = read.reader.part((video.info.height, video.info.width)) if read.reader else None
        if known and part is None:
            _read_on(whole, read)
    if known and part is not None:
        left, top, right, bottom = part
        crop = Crop(left, top, right - left, bottom - top)
        # a damaged file's pictures may change their size, so that there is no such part
        with suppress(InputError), closing(video.read(len(read.times), crop)) as parts:
            _read_parts(parts, left, top, read)
        _read_rest(video, left, top, read)
    return read


def _bottom_read(video: OpenVideo) -> VideoRead | None:
    """What the bottom of the pictures says; None if no sure clip is seen there at once."""
    read = VideoRead(video.info, FileKind("footage"))
    with suppress(InputError), closing(video.first()) as bottoms:
        _seen_at_once(bottoms, read, video.asked)
        _read_parts(bottoms, 0, 0, read)
    if read.reader is None:
        return None
    bottom = Bottom.of(read.info.width, read.info.height)
    _read_rest(video, bottom.left, bottom.top, read)
    return read


def _seen_at_once(pictures: Iterable[Timed], read: VideoRead, asked: Kind | None) -> None:
    """Begin to read a clip that is known from the first few pictures, upright and surely."""
    finder = KindFinder()
    kept: list[Timed] = []
    for place, (time_s, luma) in enumerate(pictures):
        read.times.append(time_s)
        kept.append((time_s, luma))
        found = finder.look(place, luma)
        if found is not None:
            kind = found.unless(asked)
            if kind.kind == "clip" and kind.sure and not kind.on_its_side:
                read.begin(kind, kept, finder.near)
            return
        if finder.near is None or place + 1 == KEPT:
            return


def _found_out(pictures: Iterable[Timed], read: VideoRead, asked: Kind | None) -> bool:
    """Whether it becomes known what the pictures are of, before they end; read as that then.

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
            read.begin(found.unless(asked), kept, finder.near)
            return True
        if place >= KEPT - 1 and asked is None:
            for earlier in kept if place == KEPT - 1 else [(time_s, luma)]:
                read.take(*earlier)
    kind = finder.kind().unless(asked)
    if kind.kind != "footage":
        read.begin(kind, kept, finder.near)
    elif len(read.times) < KEPT:
        for earlier in kept:
            read.take(*earlier)
    return False


def _read_on(pictures: Iterable[Timed], read: VideoRead) -> None:
    for time_s, luma in pictures:
        read.times.append(time_s)
        read.take(time_s, luma)


def _read_parts(parts: Iterable[Timed], left: int, top: int, read: VideoRead) -> None:
    """Read on in the part of pictures that holds the strip, until it is not read there.

    The rest of the pictures then need not leave the decoder, which takes as long as decoding.
    """
    reader, log = read.reader, read.log
    if reader is None or log is None:
        return
    reader.shift(left, top)
    following = iter(parts)
    while some := [*islice(following, TOGETHER)]:
        done = reader.read_parts([luma for _, luma in some])
        for (time_s, _), found in zip(some, done, strict=False):
            log.take(time_s, found)
            read.times.append(time_s)
        if len(done) < len(some):
            break


def _read_rest(video: OpenVideo, left: int, top: int, read: VideoRead) -> None:
    """Read whole pictures from the first on that was not read in a part."""
    if read.reader is not None and len(read.times) < read.info.pictures:
        read.reader.shift(-left, -top)
        with closing(video.read(len(read.times))) as whole:
            _read_on(whole, read)


def judged_video(video: OpenVideo, path: Path, given: Given) -> Reading:
    """Read a video; as `read_file`."""
    read = read_video(video)
    damage = video.told.damage(read.info.pictures)
    if damage.inside and video.threads > 1:
        with closing(OpenVideo(path, given, video.progress, threads=1)) as repeatable:
            return judged_video(repeatable, path, given)
    if not read.times:
        raise InputError(f"{path} holds no picture that can be decoded: try a fresh copy")
    damage = damage._replace(cut_off=damage.cut_off or ends_early(path))
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
    return reading._replace(details={**reading.details, **found})


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
    return reading._replace(verdict=read.kind.said(reading.verdict, read=reading.read > 0))


def _damage_warnings(damage: Damage) -> tuple[str, ...]:
    if not damage:
        return ()
    what = "damaged" if damage.inside else "cut off, and only what came before is judged"
    return (f"The file is {what}: try a fresh copy.",)
