"""What the bundled ffmpeg does for a conform: sound at another speed, pictures without repeats.

Everything goes into a hidden file beside the result, from which the tracks are taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from patterns.errors import EncoderError
from patterns.footage.conversion import Conversion
from patterns.side_by_side import Progress
from patterns.video.codecs import CODECS
from patterns.video.probe import VideoInfo
from patterns.video.process import FfmpegProcess, file_argument, input_arguments

SOUND_HZ = 48_000  # AES5: the sampling rate of sound that goes with pictures
SLOWEST = Fraction(1, 2)  # of one filter that keeps the pitch; two make a quarter
_BITEXACT = ("-fflags", "+bitexact", "-flags:v", "+bitexact", "-flags:a", "+bitexact")


@dataclass(frozen=True)
class Sound:
    """What becomes of the sound."""

    pitch_kept: bool  # whether it keeps its pitch, or rises and falls with the speed
    as_samples: bool  # whether it is stored as plain samples (PCM, 24 bits) instead of AAC


def pack_again(source: Path, out: Path, muxer: str, progress: Progress) -> None:
    """Put the pictures of another container into MP4 or QuickTime, as they are coded.

    Of each sound the first second goes along, to hold its place: the whole is made later.
    """
    sound = ("-map", "0:a?", "-c:a", "aac", "-af", "atrim=end=1")
    arguments = ("-map", "0:V:0", "-c:v", "copy", *sound, "-f", muxer)
    _run((*input_arguments(source), *arguments), out, Fraction(0), progress)


def retime_sound(
    source: Path,
    out: Path,
    sound: Sound,
    speed: Fraction,
    start_s: Fraction,
    length_s: Fraction,
    progress: Progress,
) -> None:
    """Write all sound of a file, so much faster, from `start_s` of the file on.

    It is as long as the pictures are: silence fills what lacks.
    """
    start = f"{float(start_s):.9f}"
    filters = (
        # the file's own clock; gaps become silence, so that later sound stays in its place
        f"atrim=start={start},asetpts=PTS-{start}/TB,aresample={SOUND_HZ}:async=1:first_pts=0",
        *_faster(sound, speed),
        f"asetpts=N/SR/TB,apad,atrim=end={float(length_s):.9f}",
    )
    codec = ("pcm_s24le",) if sound.as_samples else ("aac", "-b:a", "256k")
    _run(
        (
            *("-copyts", *input_arguments(source), "-map", "0:a", "-af", ",".join(filters)),
            *("-c:a", *codec, *_BITEXACT, "-f", "mov" if sound.as_samples else "mp4"),
        ),
        out,
        length_s,
        progress,
    )


def _faster(sound: Sound, speed: Fraction) -> list[str]:
    if not sound.pitch_kept:
        return [f"asetrate={round(SOUND_HZ * speed)},aresample={SOUND_HZ}"]
    filters = []
    while speed < SLOWEST:
        filters.append(f"atempo={float(SLOWEST)}")
        speed /= SLOWEST
    return [*filters, f"atempo={float(speed):.12f}"]


def picture_codec(info: VideoInfo) -> str:
    """Codec for pictures that must be coded anew: 10 bits and finer colour need the larger one."""
    return "h264" if info.pixel_format in ("yuv420p", "yuvj420p") else "prores"


def take_repeats_out(
    source: Path, out: Path, info: VideoInfo, rhythm: Conversion, progress: Progress
) -> None:
    """Code the pictures that are no repeats anew, at their own rate, with their colours' tags."""
    codec = CODECS[picture_codec(info)]
    stored = (
        (info.height, info.width) if info.rotation_deg in (90, 270) else (info.width, info.height)
    )
    rate = rhythm.footage or rhythm.timeline
    settings = codec.arguments(*stored, rate)[2:]  # with filters of our own
    tags = {
        "range": info.colour_range,
        "color_primaries": info.primaries,
        "color_trc": info.transfer,
        "colorspace": info.matrix,
    }
    tagged = ":".join(f"{name}={value}" for name, value in tags.items() if value)
    filters = (
        f"select='{rhythm.keeps}',setpts=N/({rate}*TB),format={codec.pixel_format}"
        f"{f',setparams={tagged}' if tagged else ''}"
    )
    _run(
        (
            # as it is stored: the turn that the file asks for stays in its index
            *("-noautorotate", *input_arguments(source), "-map", "0:V:0", "-vf", filters),
            *("-fps_mode", "passthrough", *settings),
        ),
        out,
        info.duration_s,
        progress,
    )


def _run(arguments: tuple[str, ...], out: Path, length_s: Fraction, progress: Progress) -> None:
    """Run it to its end, and say how far it is, in milliseconds of the result."""
    process = FfmpegProcess(
        ("-loglevel", "error", "-y", "-progress", "pipe:1", *arguments, file_argument(out))
    )
    whole = max(1, int(1000 * length_s))
    try:
        for line in process.lines():
            name, _, value = line.partition("=")
            if name == "out_time_us" and value.isdigit():
                progress(min(int(value) // 1000, whole), whole)
        if process.wait():
            raise EncoderError(f"the encoder failed: {process.words or 'no reason given'}")
    finally:
        process.stop()
