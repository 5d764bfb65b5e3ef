"""One clip from description to file, with its record beside it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from patterns.clip import Clip
from patterns.errors import RequestError
from patterns.frame_source import FrameSource
from patterns.kit.record import ClipRecord, dump, record_json
from patterns.picture.planes import Planes
from patterns.safety.guard import LoopGuard
from patterns.safety.report import SafetyReport
from patterns.scenes.motion import loop
from patterns.side_by_side import Progress
from patterns.sizes import size_name
from patterns.timing.cadence import DEFAULT_DISPLAYS, Display
from patterns.timing.rates import format_decimal
from patterns.video.codecs import codec_named
from patterns.video.writer import VideoSpec, VideoWriter
from patterns.whole_file import make_folder, write_whole

__all__ = ["OUTPUTS", "ClipJob", "clip_job", "clip_name", "make_clip", "record_path"]

OUTPUTS = Path("outputs")


@dataclass(frozen=True)
class ClipJob:
    """A clip to be made and where it goes.

    Attributes
    ----------
    clip
        What to draw; already closed if it is to loop.
    path
        Final name of the video.
    force
        Whether files that exist are replaced.
    allow_flashing
        Whether a clip that exceeds the limits for flashes and stripes is kept.
    loop_periods, speed_change
        As in `ClipRecord`.
    displays
        Displays whose cadence the record reports.
    small
        Whether to take more time for fewer bytes.
    """

    clip: Clip
    path: Path
    force: bool = False
    allow_flashing: bool = False
    loop_periods: int = 0
    speed_change: Fraction = Fraction(0)
    displays: tuple[Display, ...] = DEFAULT_DISPLAYS
    small: bool = False

    @property
    def folder_text(self) -> str:
        """Folder as a prefix for a printed file name."""
        parent = str(self.path.parent)
        return "" if parent == "." else f"{parent}/"


def clip_name(clip: Clip) -> str:
    """Speaking file name, 'bars-24fps-180deg-1080p.mp4'."""
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
    small: bool = False,
) -> ClipJob:
    """Check all that can be checked before a frame is drawn.

    Parameters
    ----------
    clip
        What to draw.
    out
        File to write; None for a descriptive name in `OUTPUTS`, which is made if missing.
    looped
        Whether length and speed are fitted to whole periods.
    small
        Whether to take more time for fewer bytes; codecs h264 and hevc only.

    Raises
    ------
    RequestError
        The clip, its codec, its name or its loop is not possible.
    OutputError
        The default folder cannot be made, or the file exists.
    """
    job = ClipJob(clip, Path(), force, allow_flashing, small=small)
    if looped:
        closed = loop(clip.motion, clip.rate, clip.frames)
        clip = replace(clip, motion=closed.motion, frames=closed.frames)
        job = replace(job, clip=clip, loop_periods=closed.periods, speed_change=closed.speed_change)
    if out is None:
        make_folder(OUTPUTS)
    path = OUTPUTS / clip_name(clip) if out is None else Path(out)
    job = replace(job, path=path)
    _spec(job).encoder_arguments()
    if not force:
        for taken in (path, record_path(path)):
            if taken.exists():
                raise RequestError(f"{taken} exists: give --force to replace it, or another name")
    return job


def make_clip(job: ClipJob, progress: Progress | None = None) -> dict[str, Any]:
    """Draw, check and write a clip and its record; returns the record's JSON object.

    Parameters
    ----------
    job
        From `clip_job`.
    progress
        Called with (frames done, frames in all).

    Raises
    ------
    RequestError
        The clip exceeds a limit for flashes or stripes and that is not allowed.
    OutputError, EncoderError
        The disk or the encoder failed; nothing is left behind.
    """
    clip = job.clip
    guard = LoopGuard(clip.width, clip.height, clip.rate)
    with VideoWriter(_spec(job)) as writer:
        _write_frames(job, guard, writer, progress)
        safety = _judge(job, guard)  # inside the block, so that a file refused is not kept
    data = record_json(
        ClipRecord(
            clip=clip,
            file=job.path.name,
            bytes=job.path.stat().st_size,
            sha256=file_digest(job.path),
            codec_level=_level(clip),
            loop_periods=job.loop_periods,
            speed_change=job.speed_change,
            safety=safety.to_json(),
            displays=job.displays,
            small=job.small,
        )
    )
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
        job.path, clip.width, clip.height, clip.rate, clip.codec, clip.frames, job.force, job.small
    )


def _level(clip: Clip) -> str:
    level = codec_named(clip.codec).level(clip.width, clip.height, clip.rate)
    return level.number if level else ""


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
