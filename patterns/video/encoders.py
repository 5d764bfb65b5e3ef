"""The encoders: which of them this machine has, and how each is set.

Settings were chosen by measurement, see FILES.md. Each function gives an encoder's arguments
from the level and the distance of keyframes in frames.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache

from patterns.errors import EncoderError
from patterns.video.levels import Level
from patterns.video.process import FfmpegProcess, ffmpeg_path

# From level and keyframe distance to an encoder's arguments.
Settings = Callable[[Level | None, int], tuple[str, ...]]

THREADS = "16"  # fixed: the bytes that an encoder makes may depend on it
# Each of x264's threads holds a frame with all that belongs to it: 177 MB for 4 at 1080p, 253 for
# 8. Four are fed by one process that draws, however many cores there are; `medium`, which takes
# seven times as long, is not, and has 8. Slices of one frame nearly double the bars' bytes.
X264_THREADS, X264_MEDIUM_THREADS = "4", "8"
CLOSED = "open-gop=0:scenecut=0:sync-lookahead=0"
_VIDEO_ENCODER = re.compile(r"^ V\S{5} (\S+)")


def available_encoders() -> frozenset[str]:
    """Names of the video encoders that can be used here, such as 'libx264'.

    Raises `EncoderError`: the program is missing, cannot be started or does not answer.
    """
    return encoders_of(ffmpeg_path())


@cache
def encoders_of(program: str) -> frozenset[str]:
    """As `available_encoders`, of the ffmpeg at `program`; asked once (it takes 0.03 s)."""
    asked = FfmpegProcess(["-encoders"])
    try:
        matches = [_VIDEO_ENCODER.match(line) for line in asked.lines()]
        code = asked.wait()
    finally:
        asked.stop()
    found = frozenset(match[1] for match in matches if match)
    if code or not found:
        raise EncoderError(
            f"the encoder failed (exit code {code}): "
            f"{asked.words or f'{program} lists no video encoders'}"
        )
    return found


# Quality is a quantiser that stays the same whatever moves and at whatever rate: with their
# usual settings the x26x encoders spend less on fast pictures and at high rates (qcomp, tree
# rate control), by up to 7 dB from 25 to 120 frames/s, just where this clip is looked at.
# Psychovisual options change what is drawn for looks, and are off.
STEADY = "mbtree=0:aq-mode=0:psy=0"


def _x264(
    level: Level | None,
    keyframe: int,
    quality: tuple[str, ...],
    more: str,
    threads: str = X264_THREADS,
) -> tuple[str, ...]:
    assert level is not None
    return (
        *quality,
        *("-level", level.number, "-bf", "0", "-g", str(keyframe), "-threads", threads),
        *("-x264-params", f"{more}:{CLOSED}"),
    )


def h264(level: Level | None, keyframe: int) -> tuple[str, ...]:
    """x264 in the least time in which pictures stay clean."""
    # A given quantiser, instead of one that is reckoned from each frame, and no weighted
    # prediction: no second, smaller look at every frame. Filtering of blocks' edges changes
    # nothing at this quantiser, and codes of variable length are written in less time.
    quality = ("-preset", "superfast", "-profile:v", "high", "-qp", "15")
    more = f"{STEADY}:weightp=0:rc-lookahead=0:no-deblock=1:cabac=0"
    return _x264(level, keyframe, quality, more)


def h264_small(level: Level | None, keyframe: int) -> tuple[str, ...]:
    """x264 at the same quality in more time and fewer bytes."""
    quality = ("-preset", "medium", "-profile:v", "high", "-crf", "15")
    more = f"qcomp=1:{STEADY}:rc-lookahead=8"
    return _x264(level, keyframe, quality, more, X264_MEDIUM_THREADS)


def hevc(level: Level | None, keyframe: int, preset: str = "ultrafast") -> tuple[str, ...]:
    """x265 at a quality that stays the same."""
    assert level is not None
    keyframe = max(2, keyframe)  # nothing but keyframes would be another profile
    return (
        *("-preset", preset, "-crf", "15", "-profile:v", "main"),
        # hvc1 instead of hev1: Apple's players open nothing else
        *("-tag:v", "hvc1", "-g", str(keyframe), "-x265-params"),
        f"qcomp=1:cutree=0:aq-mode=0:psy-rd=0:psy-rdoq=0:scenecut=0:bframes=0:open-gop=0:"
        f"keyint={keyframe}:min-keyint={keyframe}:level-idc={level.number}:high-tier=0:"
        f"rc-lookahead=8:pools={THREADS}:frame-threads=1:lookahead-slices=1:log-level=error",
    )


def hevc_small(level: Level | None, keyframe: int) -> tuple[str, ...]:
    """The same in more time and fewer bytes."""
    return hevc(level, keyframe, "veryfast")


def vp9(level: Level | None, keyframe: int) -> tuple[str, ...]:
    """Libvpx for VP9, each frame shown as it is coded."""
    # no lag and no alternative reference: hidden frames would reorder
    assert level is not None
    return (
        *("-deadline", "realtime", "-cpu-used", "8"),
        *("-crf", "7", "-b:v", "0", "-lag-in-frames", "0", "-auto-alt-ref", "0"),
        *("-g", str(keyframe), "-row-mt", "1", "-tile-columns", "2", "-threads", THREADS),
    )


def av1_svt(level: Level | None, keyframe: int) -> tuple[str, ...]:
    """SVT-AV1, each frame shown as it is coded."""
    # low-delay structure and no temporal filter: each frame is shown as it is coded
    assert level is not None
    return (
        *("-preset", "9", "-crf", "13", "-g", str(keyframe)),
        *("-svtav1-params", "pred-struct=1:enable-tf=0:scd=0:aq-mode=0:lp=4"),
    )


def av1_aom(level: Level | None, keyframe: int) -> tuple[str, ...]:
    """Libaom for AV1, each frame shown as it is coded."""
    # no lag: hidden frames would reorder
    assert level is not None
    return (
        *("-usage", "realtime", "-cpu-used", "8", "-crf", "8", "-b:v", "0", "-g", str(keyframe)),
        *("-lag-in-frames", "0", "-aq-mode", "0", "-row-mt", "1", "-tiles", "2x1"),
        *("-threads", "4", "-aom-params", "deltaq-mode=0"),
    )


def prores(level: Level | None, keyframe: int) -> tuple[str, ...]:  # noqa: ARG001 - all intra
    """ProRes 422 HQ."""
    return (*("-profile:v", "hq", "-vendor", "apl0", "-threads", THREADS), *("-q:v", "6"))


def lossless(level: Level | None, keyframe: int) -> tuple[str, ...]:
    """x264 bit for bit."""
    return _x264(level, keyframe, ("-preset", "ultrafast", "-qp", "0"), "weightp=0")
