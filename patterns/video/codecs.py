"""The codecs on offer: container, encoder settings, limits and what each file promises.

All of them promise the same: every frame at exactly n / rate from 0 on, no reordering, a keyframe
at least every second, BT.709 narrow-range tags in the stream and in the container, the same bytes
for the same frames. Only ISO base media (MP4) and QuickTime files keep timestamps in units of our
choice; Matroska and WebM round to 1 ms, so VP9 and AV1 go into MP4 as well.

Settings were chosen by measurement; see FILES.md. Thread counts are fixed, because the bytes that
an encoder makes depend on them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from patterns.errors import EncoderError, RequestError
from patterns.timing.rates import format_rate
from patterns.video import levels
from patterns.video.levels import Level
from patterns.video.process import FfmpegProcess, ffmpeg_path

# What ffmpeg's rate parser keeps exactly; above it a rate would silently become another.
MAX_RATE_TERM = 1_001_000
MIN_TICKS = 10_000  # a second in fewer ticks upsets some players
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


@dataclass(frozen=True)
class Codec:
    """One way to store a clip."""

    name: str  # as the user types it
    title: str  # for people: what it is and what it is good for
    # Encoders that keep the promises, the preferred one first, each with its arguments, in which
    # {level} and {keyframe}, the distance of keyframes in frames, are filled in. Which of them
    # there are differs with the machine.
    ways: tuple[tuple[str, str], ...]
    suffix: str = ".mp4"  # of the file, with its dot
    muxer: str = "mp4"  # format name for the encoder, 'mp4' or 'mov'
    pixel_format: str = "yuv420p"  # what is stored; frames come in as 8-bit 4:2:0
    levels: tuple[Level, ...] = ()  # lowest first; none where the codec has none
    block: int = 1  # side of the unit that the table counts
    max_rate_hz: int | None = None  # highest rate that the encoder itself takes, or None
    exact: bool = False  # whether decoded frames equal those written, bit for bit
    small: tuple[tuple[str, str], ...] = ()  # as `ways`: smaller files, in more time
    least_keyframe: int = 1  # frames from keyframe to keyframe, at any rate

    def level(self, width: int, height: int, rate: Fraction) -> Level | None:
        """Lowest level that holds size and rate, None where the codec has no levels.

        Raises `RequestError`: no level does.
        """
        if self.max_rate_hz is not None and rate > self.max_rate_hz:
            raise RequestError(
                f"codec {self.name} takes at most {self.max_rate_hz} frames/s: lower the rate, or "
                f"take codec h264 or vp9"
            )
        if not self.levels:
            return None
        return levels.lowest_level(self.levels, width, height, rate, block=self.block)

    def arguments(
        self, width: int, height: int, rate: Fraction, small: bool = False
    ) -> tuple[str, ...]:
        """Arguments for the encoder, from the filter that tags the colours to the muxer.

        `width`, `height`, `rate`: of the clip, in pixels and frames a second.
        `small`: whether to take more time for fewer bytes.
        Raises `RequestError`: size and rate are beyond the codec's levels, the rate has too long
        terms, there is no way to smaller files, or no encoder for it here.
        Raises `EncoderError`: ffmpeg is missing or does not say which encoders it has.
        """
        ticks = str(ticks_per_second(rate))
        encoder, settings = self._way(small=small)
        level, keyframe = self.level(width, height, rate), max(self.least_keyframe, int(rate))
        return (
            *("-vf", _filters(self.pixel_format), "-c:v", encoder),
            *settings.format(level=level and level.number, keyframe=keyframe).split(),
            *("-pix_fmt", self.pixel_format),
            # no dates, no version strings: the same input gives the same bytes
            *("-fflags", "+bitexact", "-flags:v", "+bitexact", "-map_metadata", "-1"),
            *("-video_track_timescale", ticks, "-movie_timescale", ticks),
            *("-movflags", "+faststart", "-f", self.muxer),
        )

    def _way(self, *, small: bool) -> tuple[str, str]:
        available = available_encoders()
        if small and not self.small:
            able = ", ".join(codec.name for codec in CODECS.values() if codec.small)
            raise RequestError(f"codec {self.name} has no smaller files: --small is for {able}")
        for encoder, settings in self.small if small else self.ways:
            if encoder in available:
                return encoder, settings
        here = [c.name for c in CODECS.values() if any(e in available for e, _ in c.ways)]
        what = f"but {', '.join(here)}" if here else "nor any other: reinstall imageio-ffmpeg"
        raise RequestError(f"codec {self.name} cannot be made here, {what}")

    def caution(self, rate: Fraction) -> str | None:
        """Warning that is due at this rate, or None."""
        if self.levels and rate > self.levels[-1].max_rate_hz:
            return (
                f"no level of {self.name} promises more than {self.levels[-1].max_rate_hz} "
                f"frames/s: players may refuse this file"
            )
        return None


def ticks_per_second(rate: Fraction) -> int:
    """Time scale in which every n / rate is a whole number: 24000 for 24 and for 23.976.

    Raises `RequestError`: numerator or denominator is above 1,001,000.
    """
    if max(rate.numerator, rate.denominator) > MAX_RATE_TERM:
        raise RequestError(
            f"rate {format_rate(rate)} has terms above {MAX_RATE_TERM} and cannot be stored "
            f"exactly: give a simpler fraction, such as 24000/1001"
        )
    ticks = rate.numerator
    while ticks < MIN_TICKS:
        ticks *= 10
    return ticks


def _filters(pixel_format: str) -> str:
    # Output options for primaries and transfer are ignored by some encoder versions; tags set
    # on the frames are not. Frames are tagged first, so that a conversion keeps the matrix.
    tags = "setparams=range=tv:color_primaries=bt709:color_trc=bt709:colorspace=bt709"
    if pixel_format == "yuv420p":
        return tags
    return f"{tags},scale=flags=bicubic+accurate_rnd+full_chroma_int,format={pixel_format},{tags}"


THREADS = 16  # fixed: the bytes that an encoder makes may depend on it
# Each of x264's threads holds a frame with all that belongs to it: 177 MB for 4 at 1080p, 253 for
# 8. Four are fed by one process that draws, however many cores there are; `medium`, which takes
# seven times as long, is not, and has 8. Slices of one frame nearly double the bars' bytes.
X264_THREADS, X264_MEDIUM_THREADS = 4, 8
# Quality is a quantiser that stays the same whatever moves and at whatever rate: with their
# usual settings the x26x encoders spend less on fast pictures and at high rates (qcomp, tree
# rate control), by up to 7 dB from 25 to 120 frames/s, just where this clip is looked at.
# Psychovisual options change what is drawn for looks, and are off.
STEADY = "mbtree=0:aq-mode=0:psy=0"


def _x264(quality: str, more: str, threads: int = X264_THREADS) -> str:
    return (
        f"{quality} -level {{level}} -bf 0 -g {{keyframe}} -threads {threads} "
        f"-x264-params {more}:open-gop=0:scenecut=0:sync-lookahead=0"
    )


def _x265(preset: str) -> str:
    # One quantiser for all frames, as coarse as keeps 46 dB with what sample adaptive offsets give
    # back; finer ones run into the bits a second of the level that the file states.
    return (
        f"-preset {preset} -crf 17 -profile:v main "
        # hvc1 instead of hev1: Apple's players open nothing else
        "-tag:v hvc1 -g {keyframe} -x265-params qcomp=1:ipratio=1:cutree=0:aq-mode=0:sao=1:"
        "psy-rd=0:psy-rdoq=0:scenecut=0:bframes=0:open-gop=0:const-vbv=1:"
        "keyint={keyframe}:min-keyint={keyframe}:level-idc={level}:high-tier=0:"
        f"rc-lookahead=8:pools={THREADS}:frame-threads=1:lookahead-slices=1:log-level=error"
    )


# In the least time in which pictures stay clean: a given quantiser, keyframes' too, instead of one
# that is reckoned from each frame, and no weighted prediction: no second, smaller look at every
# frame. Below 16 a bit weighs half as much with x264, and less is copied from the frame before.
# Filtering of blocks' edges, which begins at 16, would take 1 dB and more time.
GIVEN = f"{STEADY}:ipratio=1:weightp=0:rc-lookahead=0:no-deblock=1"
# Codes of variable length are written in less time.
H264 = _x264("-preset superfast -profile:v high -qp 16", f"{GIVEN}:cabac=0")
# Above 46 dB as well, in more time and fewer bytes.
H264_SMALL = _x264("-preset medium -profile:v high -qp 17", GIVEN, X264_MEDIUM_THREADS)
# No lag and no alternative reference: hidden frames would reorder.
VP9 = (
    "-deadline realtime -cpu-used 8 -crf 7 -b:v 0 -lag-in-frames 0 -auto-alt-ref 0 "
    f"-g {{keyframe}} -row-mt 1 -tile-columns 2 -threads {THREADS}"
)
# Low-delay structure and no temporal filter: each frame is shown as it is coded. All frames, in two
# layers, have the quantiser that is given: left to itself the encoder makes every other one coarse.
AV1_SVT = (
    "-preset 9 -crf 8 -g {keyframe} -svtav1-params "
    "pred-struct=1:enable-tf=0:scd=0:aq-mode=0:lp=4:hierarchical-levels=2:"
    "use-fixed-qindex-offsets=1:key-frame-qindex-offset=0:qindex-offsets=[0,0,0,0,0,0]"
)
# No lag: hidden frames would reorder.
AV1_AOM = (
    "-usage realtime -cpu-used 8 -crf 8 -b:v 0 -g {keyframe} -lag-in-frames 0 -aq-mode 0 "
    "-row-mt 1 -tiles 2x1 -threads 4 -aom-params deltaq-mode=0"
)

CODECS: Mapping[str, Codec] = {
    codec.name: codec
    for codec in (
        Codec(
            name="h264",
            title="H.264 High, plays nearly everywhere",
            ways=(("libx264", H264),),
            small=(("libx264", H264_SMALL),),
            levels=levels.H264_LEVELS,
            block=16,
        ),
        Codec(
            name="hevc",
            title="H.265 Main, for phones and televisions at high rates",
            ways=(("libx265", _x265("ultrafast")),),
            small=(("libx265", _x265("veryfast")),),
            levels=levels.H265_LEVELS,
            least_keyframe=2,  # nothing but keyframes would be another profile
        ),
        Codec(
            name="vp9",
            title="VP9 profile 0, for browsers",
            ways=(("libvpx-vp9", VP9),),
            levels=levels.VP9_LEVELS,
        ),
        Codec(
            name="av1",
            title="AV1 Main, for recent browsers and phones",
            ways=(("libsvtav1", AV1_SVT), ("libaom-av1", AV1_AOM)),
            levels=levels.AV1_LEVELS,
            max_rate_hz=240,
        ),
        Codec(
            name="prores",
            title="ProRes 422 HQ, for editing",
            suffix=".mov",
            muxer="mov",
            pixel_format="yuv422p10le",
            ways=(("prores_ks", f"-profile:v hq -vendor apl0 -threads {THREADS} -q:v 6"),),
        ),
        Codec(
            name="lossless",
            title="H.264 lossless, bit for bit what was drawn; not for phones",
            ways=(("libx264", _x264("-preset ultrafast -qp 0", "weightp=0")),),
            levels=levels.H264_LEVELS,
            block=16,
            exact=True,
        ),
    )
}


def codec_named(name: str) -> Codec:
    """Entry of `CODECS`. Raises `RequestError`: there is none of that name."""
    if name not in CODECS:
        raise RequestError(f"codec {name!r} is unknown: allowed are {', '.join(CODECS)}")
    return CODECS[name]
