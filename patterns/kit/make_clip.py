"""One clip from description to file, with its record beside it, and its picture for pages."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from patterns.clip import Clip, size_name
from patterns.errors import RequestError
from patterns.frame_source import FrameSource
from patterns.kit.record import dump, record_json
from patterns.picture.planes import Planes, picture_bytes, planes_to_rgb
from patterns.safety.check import LoopGuard
from patterns.safety.report import SafetyReport
from patterns.scenes.motion import Loop, loop
from patterns.side_by_side import Progress
from patterns.timing.cadence import DEFAULT_DISPLAYS, Display
from patterns.timing.rates import format_decimal
from patterns.video.codecs import codec_named
from patterns.video.writer import VideoSpec, VideoWriter
from patterns.whole_file import make_folder, write_whole

OUTPUTS = Path("outputs")


@dataclass(frozen=True)
class ClipJob:
    """A clip to be made and where it goes."""

    clip: Clip  # what to draw; already closed if it is to loop
    path: Path  # final name of the video
    force: bool = False  # whether files that exist are replaced
    allow_flashing: bool = False  # whether what exceeds the limits for flashes or stripes is kept
    displays: tuple[Display, ...] = DEFAULT_DISPLAYS  # displays whose cadence the record reports
    loop: Loop | None = None  # how its motion was fitted to whole periods, where that was asked for

    @property
    def folder_text(self) -> str:
        """Folder as a prefix for a printed file name."""
        parent = str(self.path.parent)
        return "" if parent == "." else f"{parent}/"


def clip_name(clip: Clip) -> str:
    """Descriptive file name, 'bars-24fps-180deg-1080p.mp4'."""
    codec = codec_named(clip.codec)
    extra = "" if clip.codec == "h264" else f"-{clip.codec}"
    return (
        f"{clip.pattern}-{format_decimal(clip.rate)}fps-{format_decimal(clip.angle_deg, 1)}deg-"
        f"{size_name(clip.width, clip.height)}{extra}{codec.suffix}"
    )


def record_path(path: Path) -> Path:
    """Where the record of a clip lies: beside it, with the suffix .json."""
    return path.with_suffix(".json")


def clip_job(
    clip: Clip,
    out: str | Path | None = None,
    *,
    looped: bool = False,
    force: bool = False,
    allow_flashing: bool = False,
) -> ClipJob:
    """Check all that can be checked before a frame is drawn.

    `out`: file to write; None for a descriptive name in `OUTPUTS`, which is made if missing.
    `looped`: whether length and speed are fitted to whole periods.
    Raises `RequestError`: the clip, its codec, its name or its loop is not possible.
    Raises `OutputError`: the default folder cannot be made, or the file exists.
    """
    closed = loop(clip.motion, clip.rate, clip.frames) if looped else None
    if closed:
        clip = replace(clip, motion=closed.motion, frames=closed.frames)
    if out is None:
        make_folder(OUTPUTS)
    path = OUTPUTS / clip_name(clip) if out is None else Path(out)
    job = ClipJob(clip, path, force, allow_flashing, loop=closed)
    _spec(job).encoder_arguments()
    if not force:
        for taken in (path, record_path(path)):
            if taken.exists():
                raise RequestError(f"{taken} exists: give --force to replace it, or another name")
    return job


def make_clip(job: ClipJob, progress: Progress | None = None) -> dict[str, Any]:
    """Draw, check and write a clip and its record; returns the record's JSON object.

    `progress`: called with (frames done, frames in all).
    Raises `RequestError`: the clip exceeds a limit for flashes or stripes and that is not allowed.
    Raises `OutputError`, `EncoderError`: the disk or the encoder failed; nothing is left behind.
    """
    clip = job.clip
    guard = LoopGuard(clip.width, clip.height, clip.rate)
    with VideoWriter(_spec(job)) as writer:
        _write_frames(job, guard, writer, progress)
        safety = _judge(job, guard)  # inside the block, so that a file refused is not kept
    digest = file_digest(job.path)
    level = writer.level.number if writer.level else ""
    data = record_json(clip, job.path, digest, safety.to_json(), job.loop, job.displays, level)
    write_whole(record_path(job.path), dump(data), force=job.force)
    return data


def _write_frames(
    job: ClipJob, guard: LoopGuard, writer: VideoWriter, progress: Progress | None
) -> None:
    """Write all frames, or as many as show that the clip is refused."""
    clip = job.clip
    source = FrameSource(clip)
    frame = Planes.blank(clip.width, clip.height)
    for n in range(clip.frames):
        source.draw(n, frame)
        guard.see(n / clip.rate, frame)
        writer.write(frame)
        if progress is not None:
            progress(n + 1, clip.frames)
        if guard.flashes_exceed and not job.allow_flashing:
            return


def _judge(job: ClipJob, guard: LoopGuard) -> SafetyReport:
    once = guard.flashes_exceed
    report = guard.report()
    if not report.passes and not job.allow_flashing:
        change = "slow it down, use fewer bars or less contrast"
        if report.flashes_exceed and not once:
            change = (
                "it flashes where its end meets its start in a loop: make it --seamless or longer"
            )
        raise RequestError(
            f"{job.path.name} {report.summary}: {change}, or use --allow-flashing if nobody "
            f"unwarned will watch it"
        )
    return report


def _spec(job: ClipJob) -> VideoSpec:
    clip = job.clip
    return VideoSpec(
        job.path, clip.width, clip.height, clip.rate, clip.codec, clip.frames, job.force, clip.small
    )


def file_digest(path: Path) -> str:
    """SHA-256 of a file, as hexadecimal text."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()


def read_record(path: Path) -> dict[str, Any] | None:
    """The record beside the clip at `path`, or None where there is none that can be read."""
    try:
        data = json.loads(record_path(path).read_bytes())
    except (OSError, ValueError):
        return None
    return data if isinstance(data, dict) else None


POSTER_WIDTH = 960  # pixels


def poster_jpeg(clip: Clip, n: int, width: int) -> bytes:
    """Frame `n` of `clip` as a JPEG `width` pixels wide."""
    picture = Image.fromarray(planes_to_rgb(FrameSource(clip).draw(n)))
    picture.thumbnail((width, picture.height), Image.Resampling.LANCZOS)
    return picture_bytes(np.asarray(picture), ".jpg", quality=88, optimize=True)


def write_poster(clip: Clip, folder: Path, progress: Progress) -> str:  # noqa: ARG001 - a task
    """Write the middle frame of `clip` into `folder`; returns the file's name.

    Without the strip, whose figures are those of one rate: a pattern's clips share it.
    """
    name = f"evenhold-{clip.pattern}.jpg"
    plain = replace(clip, strip="none")
    if not clip.motion.in_pixels and clip.width > POSTER_WIDTH:
        # Drawn no larger than it is shown, where the scene stays the same.
        plain = replace(
            plain, width=POSTER_WIDTH, height=2 * round(clip.height * POSTER_WIDTH / clip.width / 2)
        )
    write_whole(folder / name, poster_jpeg(plain, clip.frames // 2, POSTER_WIDTH), force=True)
    return name
