"""One clip from description to file, with its record beside it: what is in it, how it is held."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, fields, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from patterns.clip import Clip, canonical, size_name
from patterns.errors import RequestError
from patterns.frame_source import FrameSource
from patterns.picture.planes import Planes
from patterns.safety.check import LoopGuard
from patterns.safety.report import SafetyReport
from patterns.scenes.motion import Loop, crossing_time_s, image_motion, loop
from patterns.side_by_side import Progress
from patterns.strip.draw import picture_rows
from patterns.timing.cadence import DEFAULT_DISPLAYS, Display, cadence
from patterns.timing.cadence_text import cadence_record
from patterns.timing.rates import format_decimal, format_rate
from patterns.timing.shutter import format_exposure
from patterns.version import VERSION
from patterns.video.codecs import codec_named
from patterns.video.writer import VideoSpec, VideoWriter
from patterns.whole_file import make_folder, write_whole

SCHEMA = "evenhold/clip 1"
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
    data = _record(job, safety, writer.level.number if writer.level else "")
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


def fingerprint(clip: Clip) -> str:
    """Text that changes with everything that decides a clip's bytes, the version included."""
    codec = codec_named(clip.codec)
    settings = codec.arguments(clip.width, clip.height, clip.rate, small=clip.small)
    digest = hashlib.sha256(" ".join(settings).encode()).hexdigest()[:8]
    return f"{VERSION} {digest} {canonical(clip)}"


def _plain(value: object) -> Any:
    if isinstance(value, Fraction):
        return value.numerator if value.denominator == 1 else float(value)
    return value


def _motion_json(clip: Clip) -> dict[str, Any]:
    top, bottom = picture_rows(clip)
    motion = image_motion(clip.motion, clip.width, bottom - top)
    rate = float(clip.rate)

    def place(px_s: float) -> dict[str, float | None]:
        crossing = crossing_time_s(px_s, clip.width)
        return {
            "px_per_s": round(px_s, 4),
            "px_per_frame": round(px_s / rate, 4),
            "percent_of_width_per_frame": round(100 * px_s / rate / clip.width, 4),
            "crossing_s": round(crossing, 4) if crossing < 1e9 else None,
        }

    return {
        "fastest": place(motion.fastest_px_s)
        | {"at_x": round(motion.fastest_xy[0], 3), "at_y": round(motion.fastest_xy[1], 3)},
        "typical": place(motion.typical_px_s),
    }


def _record(job: ClipJob, safety: SafetyReport, level: str) -> dict[str, Any]:
    """The record of a clip that is made, as the object that is written and printed by `--json`."""
    clip, fitted = job.clip, job.loop
    caution = codec_named(clip.codec).caution(clip.rate)
    return {
        "schema": SCHEMA,
        "file": job.path.name,
        "bytes": job.path.stat().st_size,
        "sha256": file_digest(job.path),
        "made_by": f"evenhold {VERSION}",
        "fingerprint": fingerprint(clip),
        "pattern": clip.pattern,
        "motion": {f.name: _plain(getattr(clip.motion, f.name)) for f in fields(clip.motion)},
        "rate": float(clip.rate),
        "rate_exact": str(clip.rate),
        "shutter_deg": float(clip.angle_deg),
        "exposure_s": float(clip.exposure_s),
        "exposure": format_exposure(clip.exposure_s),
        "width": clip.width,
        "height": clip.height,
        "frames": clip.frames,
        "duration_s": float(clip.duration_s),
        "strip": clip.strip,
        "identity": clip.identity,
        "codec": clip.codec,
        "codec_level": level,
        "small": clip.small,
        "seed": clip.seed,
        "loop": {
            "periods": fitted.periods if fitted else 0,
            "speed_change_percent": float(100 * fitted.speed_change) if fitted else 0.0,
        },
        "image_motion": _motion_json(clip),
        "cadence": [cadence_record(cadence(clip.rate, display)) for display in job.displays],
        "safety": safety.to_json(),
        "warnings": [caution] if caution else [],
    }


def _motion_line(name: str, place: dict[str, Any], where: str) -> str:
    crossing = (
        "stands still" if place["crossing_s"] is None else f"{place['crossing_s']:.2f} s to cross"
    )
    return (
        f"  {name:<9} {place['px_per_frame']:.2f} px a frame, "
        f"{place['percent_of_width_per_frame']:.2f} % of the width, {crossing}{where}"
    )


def record_text(data: dict[str, Any], path: Path) -> str:
    """The record of the clip at `path` for a person: the same facts as the JSON object `data`."""
    rate = format_rate(Fraction(data["rate_exact"]))
    fastest = data["image_motion"]["fastest"]
    moves_alike = fastest["px_per_s"] == data["image_motion"]["typical"]["px_per_s"]
    where = (
        ""
        if moves_alike
        else f" (at {100 * fastest['at_x']:.0f} % across, {100 * fastest['at_y']:.0f} % down)"
    )
    level = f", level {data['codec_level']}" if data["codec_level"] else ""
    coded = f"{data['codec']}{' (small)' if data['small'] else ''}{level}"
    lines = [
        str(path),
        f"  picture   {data['pattern']}, {data['width']}x{data['height']}, {coded}, "
        f"{data['bytes'] / 1e6:.1f} MB, clip id {data['identity']:04x}",
        f"  rate      {rate} fps, {data['frames']} frames, {data['duration_s']:.3f} s",
        f"  exposure  {data['exposure']}, shutter {data['shutter_deg']:.4g} degrees",
        _motion_line("fastest", fastest, where),
        _motion_line("typical", data["image_motion"]["typical"], ""),
    ]
    if data["loop"]["periods"]:
        change = data["loop"]["speed_change_percent"]
        nudge = f", speed changed by {change:+.3f} % to close exactly" if change else ""
        lines.append(f"  loop      {data['loop']['periods']} whole periods{nudge}")
    lines += [f"  on {entry['display']:>4} Hz {entry['verdict']}" for entry in data["cadence"]]
    lines.append(f"  safety    {data['safety']['summary']}")
    lines.append("            (flashes and stripes; an aid, not a certificate)")
    return "\n".join(lines)


def dump(data: dict[str, Any]) -> str:
    """JSON text with stable order, as it is printed and written to disk; pure ASCII."""
    return json.dumps(data, indent=2) + "\n"
