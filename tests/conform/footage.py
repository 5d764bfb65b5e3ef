"""Footage as cameras and editors leave it, made by the bundled ffmpeg, and what PyAV sees in it."""

from __future__ import annotations

import hashlib
import subprocess
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np

from patterns.video.process import ffmpeg_path

PICTURES = "testsrc2=size=320x180:rate={rate}:duration={seconds}"
SOUND = "sine=frequency=440:sample_rate=44100:duration={seconds}"
CODECS: dict[str, tuple[str, ...]] = {
    # three pictures that refer to later ones, as cameras and platforms code
    "h264.mp4": ("libx264", "-preset", "veryfast", "-bf", "3", "-g", "24", "-c:a", "aac"),
    "hevc.mov": (
        *("libx265", "-preset", "ultrafast", "-tag:v", "hvc1", "-c:a", "aac"),
        *("-x265-params", "bframes=3:log-level=none"),
    ),
    "prores.mov": ("prores_ks", "-c:a", "pcm_s16le"),
    "av1.mp4": ("libsvtav1", "-preset", "10", "-svtav1-params", "lp=2", "-c:a", "aac"),
    "vp9.mp4": (
        *("libvpx-vp9", "-deadline", "realtime", "-cpu-used", "8", "-c:a", "aac"),
        *("-lag-in-frames", "10", "-auto-alt-ref", "1"),
    ),
}


def ffmpeg(*arguments: str | Path) -> None:
    command = [ffmpeg_path(), "-v", "error", "-y", *map(str, arguments)]
    subprocess.run(command, check=True, capture_output=True)


def shoot(
    path: Path, *more: str, codec: str = "h264.mp4", rate: str = "24", seconds: float = 2
) -> Path:
    """Write a test card with a tone."""
    ffmpeg(
        *("-f", "lavfi", "-i", PICTURES.format(rate=rate, seconds=seconds)),
        *("-f", "lavfi", "-i", SOUND.format(seconds=seconds)),
        *("-c:v", *CODECS[codec], *more),
        path,
    )
    return path


@dataclass
class Seen:
    """What PyAV sees of a file."""

    times: list[Fraction]
    hashes: list[str]
    packets: list[str]
    rate: Fraction
    seconds: float
    sound_s: float | None
    tags: dict[str, str]
    kinds: list[str]


def samples(frame: Any) -> bytes:
    """All planes of a decoded picture, without what pads their lines."""
    size = 2 if frame.format.components[0].bits > 8 else 1
    return b"".join(
        np.frombuffer(plane, np.uint8)
        .reshape(plane.height, plane.line_size)[:, : plane.width * size]
        .tobytes()
        for plane in frame.planes
    )


def see(path: Path) -> Seen:
    with av.open(str(path)) as container:
        video: Any = container.streams.video[0]
        packets = [
            hashlib.md5(bytes(packet)).hexdigest()
            for packet in container.demux(video)
            if packet.size
        ]
    with av.open(str(path)) as container:
        video = container.streams.video[0]
        frames = [
            (frame.pts * video.time_base, hashlib.md5(samples(frame)).hexdigest())
            for frame in container.decode(video)
        ]
        tick, length = video.time_base, video.duration
        seen = Seen(
            times=[time for time, _ in frames],
            hashes=[found for _, found in frames],
            packets=packets,
            rate=video.average_rate,
            seconds=float(length * tick),
            sound_s=None,
            tags={**container.metadata, **video.metadata},
            kinds=[stream.type for stream in container.streams],
        )
    seen.sound_s = heard_s(path)
    return seen


def heard_s(path: Path) -> float | None:
    """Length of what is decoded of the sound, seconds."""
    with av.open(str(path)) as container:
        if not container.streams.audio:
            return None
        frames: list[Any] = list(container.decode(container.streams.audio[0]))
        last = frames[-1]
        return float((last.pts - frames[0].pts) * last.time_base + last.samples / last.sample_rate)
