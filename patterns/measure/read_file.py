"""A file read back: finds out what it is, reads its pictures one by one, and judges them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from patterns.errors import InputError, RequestError
from patterns.measure.clip_file import judge_clip
from patterns.measure.footage import judge_footage
from patterns.measure.given_file import Photo, open_photo, video_kind
from patterns.measure.photo import judge_photo, unread_photo
from patterns.measure.picture_change import PictureChange, working_size
from patterns.measure.reading import Kind, Reading
from patterns.measure.recording import judge_recording
from patterns.measure.sightings import Sightings, Watched
from patterns.rendering.planes import UInt8Array
from patterns.strip.camera import CameraReader
from patterns.strip.photo import Unread, read_photo
from patterns.strip.read import StripReading, read_strip
from patterns.timing.cadence import Display
from patterns.video.probe import VideoInfo, probe
from patterns.video.reader import read_luma

__all__ = ["Given", "read_file"]

Progress = Callable[[int, int], None]
SAME_RATE = 0.02  # a capture rate this near the file's own adds nothing to its timestamps


@dataclass(frozen=True)
class Given:
    """What the user says of a file; None for what is to be found out.

    Attributes
    ----------
    kind
        What it is.
    capture_hz
        Pictures a second at which a recording was really taken.
    display
        The display that was filmed.
    exposure_s
        Exposure of a photo, seconds.
    """

    kind: Kind | None = None
    capture_hz: Fraction | None = None
    display: Display | None = None
    exposure_s: Fraction | None = None


def read_file(path: Path, given: Given, progress: Progress | None = None) -> Reading:
    """Read a file.

    Parameters
    ----------
    path
        Video or photo.
    given
        What is known of it.
    progress
        Called with the pictures done and their number.

    Raises
    ------
    InputError
        The file cannot be read.
    RequestError
        It is said to be what it cannot be.
    """
    photo = open_photo(path)
    if photo is not None:
        if given.kind not in (None, "photo"):
            raise RequestError(f"{path} is a still picture, not a {given.kind}: leave --as out")
        return _read_photo(path, photo, given)
    if given.kind == "photo":
        raise InputError(f"{path} is no photo that can be read: give a JPEG or PNG")
    info = probe(path)
    told = given.capture_hz or given.display
    kind = given.kind or ("recording" if told else video_kind(path, info))
    if kind == "footage":
        return _read_footage(path, info, progress)
    if kind == "clip":
        return _read_clip(path, info, progress)
    return _read_recording(path, info, given, progress)


def _read_photo(path: Path, photo: Photo, given: Given) -> Reading:
    found = read_photo(photo.picture)
    if isinstance(found, Unread):
        return unread_photo(path.name, found)
    exposure_s = given.exposure_s or photo.exposure_s
    return judge_photo(found, file=path.name, exposure_s=exposure_s, display=given.display)


@contextmanager
def _pictures(
    path: Path, progress: Progress | None, count: int, size: tuple[int, int] | None = None
) -> Iterator[Iterator[tuple[Fraction, UInt8Array]]]:
    """Pictures of a video; the decoder ends with the block, however it is left."""
    decoded = read_luma(path, size=size)

    def shown() -> Iterator[tuple[Fraction, UInt8Array]]:
        for done, timed in enumerate(decoded, start=1):
            yield timed
            if progress is not None:
                progress(min(done, count), count)

    try:
        yield shown()
    finally:
        decoded.close()  # type: ignore[attr-defined]


def _cut_off(pictures: int, info: VideoInfo) -> tuple[str, ...]:
    if pictures >= info.pictures:
        return ()
    return (
        f"Only {pictures} of {info.pictures} pictures could be decoded: the file is damaged or "
        "cut off, and only what came before is judged.",
    )


def _read_clip(path: Path, info: VideoInfo, progress: Progress | None) -> Reading:
    log, near = Sightings(), None
    with _pictures(path, progress, info.pictures) as pictures:
        for time_s, luma in pictures:
            found = read_strip(luma, near=near)
            if isinstance(found, StripReading):
                near = found.placement
            log.take(time_s, found)
    return judge_clip(
        log.watched(),
        file=path.name,
        file_rate=info.rate,
        mean_rate=info.mean_rate,
        cut_off=log.pictures < info.pictures,
        warnings=_cut_off(log.pictures, info),
    )


def _read_recording(
    path: Path, info: VideoInfo, given: Given, progress: Progress | None
) -> Reading:
    scale = _time_scale(info, given.capture_hz)
    log, camera = Sightings(), CameraReader()
    with _pictures(path, progress, info.pictures) as pictures:
        for time_s, luma in pictures:
            log.take(time_s * scale, camera.read(luma))
    watched = log.watched()
    return judge_recording(
        watched,
        file=path.name,
        display=given.display,
        warnings=(*_cut_off(log.pictures, info), *_slow_motion(watched, given)),
    )


def _time_scale(info: VideoInfo, capture_hz: Fraction | None) -> Fraction:
    """True seconds in a second of the file."""
    mean = info.rate or info.mean_rate
    if capture_hz is None or mean is None or abs(capture_hz / mean - 1) <= SAME_RATE:
        return Fraction(1)
    return mean / capture_hz


def _slow_motion(watched: Watched, given: Given) -> tuple[str, ...]:
    """Say that a file seems to hold slow motion that nobody told of."""
    if given.capture_hz is not None or watched.identity is None or len(watched.runs) < 8:
        return ()
    first, last = watched.runs[0], watched.runs[-1]
    passed_s = float(last.first_s - first.first_s)
    if passed_s <= 0 or last.number <= first.number:
        return ()
    slower = float(watched.identity.rate) / ((last.number - first.number) / passed_s)
    if slower < 1.8:
        return ()
    likely = round(slower / watched.interval_s / 120) * 120 if watched.interval_s else 0
    hint = f"--capture-rate {likely}" if likely else "--capture-rate"
    return (
        f"The clip runs {slower:.1f} times too slowly: the file seems to store slow motion. Give "
        f"{hint} to have true times.",
    )


def _read_footage(path: Path, info: VideoInfo, progress: Progress | None) -> Reading:
    found, times = PictureChange(), []
    size = working_size(info.width, info.height)
    with _pictures(path, progress, info.pictures, size) as pictures:
        for time_s, luma in pictures:
            found.take(luma)
            times.append(time_s)
    if not times:
        raise InputError(f"{path} holds no picture that can be decoded: try a fresh copy")
    return judge_footage(
        found.changes,
        times,
        file=path.name,
        file_rate=info.rate,
        mean_rate=info.mean_rate,
        warnings=_cut_off(len(times), info),
    )
