"""A file read back: a photo, or a video whose pictures are read and then judged by its kind."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from patterns.errors import InputError, RequestError
from patterns.reading.clip_file import judge_clip
from patterns.reading.footage import judge_footage
from patterns.reading.reading import Kind, Reading
from patterns.reading.recording import judge_recording
from patterns.reading.true_times import true_time
from patterns.reading.video_pictures import Pictures, VideoRead, read_video
from patterns.side_by_side import Progress
from patterns.timing.cadence import Display
from patterns.video.description import Damage
from patterns.video.probe import VideoInfo, ends_early, probe, unreadable

PHOTOS = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")  # how a JPEG and a PNG begin
SEEN_UNREAD = "a strip was seen but cannot be read"
EITHER = "not sure whether a clip or a recording of a screen: give --as to say; as a recording:"
INSTEAD = (
    "film it whole and without reflections, or give --as footage to judge by picture differences"
)


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
    return _judged(path, info, given, read, damage)


def _begin(path: Path) -> bytes:
    """First bytes of a file."""
    if not os.path.isfile(path) or path.stat().st_size == 0:  # noqa: PTH113 - raises nothing
        raise unreadable(path, "")
    try:
        with path.open("rb") as file:
            return file.read(16)
    except OSError as error:
        raise unreadable(path, "") from error


def _judged(path: Path, info: VideoInfo, given: Given, read: VideoRead, damage: Damage) -> Reading:
    kind = read.kind
    if read.log is None:
        if damage.inside:
            raise InputError(
                f"{path} is damaged and shows no strip that can be read: its decoder repeats older "
                "pictures, so that nothing can be known; try a fresh copy"
            )
        facts, said = read.measurer.facts(read.times), _damage_warnings(damage)
        return judge_footage(
            facts, file=path.name, filmed_possible=given.kind is None, warnings=said
        )
    watched = read.log.watched()
    if kind.kind == "clip":
        reading = judge_clip(
            watched,
            file=path.name,
            file_rate=info.rate,
            mean_rate=info.mean_rate,
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
        true = true_time(watched, info.average_rate, given.capture_hz, info.capture_hz)
        reading = judge_recording(
            watched.scaled(true.scale),
            file=path.name,
            display=given.display,
            warnings=(*_damage_warnings(damage), *true.warnings),
        )
        if kind.why and not kind.sure:
            verdict = f"{EITHER} {reading.verdict}"
            if not reading.read:
                verdict = f"{SEEN_UNREAD}: {kind.why}; {INSTEAD}"
            reading = replace(reading, verdict=verdict)
    found = {"kind_sure": kind.sure, "kind_from": kind.why}
    return replace(reading, details={**reading.details, **found})


def _damage_warnings(damage: Damage) -> tuple[str, ...]:
    if not damage:
        return ()
    what = "damaged" if damage.inside else "cut off, and only what came before is judged"
    return (f"The file is {what}: try a fresh copy.",)
