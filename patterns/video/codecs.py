"""The codecs on offer: container, encoder settings, limits and what each file promises.

All of them promise the same: every frame at exactly n / rate from 0 on, no reordering, a keyframe
at least every second, BT.709 narrow-range tags in the stream and in the container, the same bytes
for the same frames. Only ISO base media (MP4) and QuickTime files keep timestamps in units of our
choice; Matroska and WebM round to 1 ms, so VP9 and AV1 go into MP4 as well.

Settings were chosen by measurement; see `Codec.arguments` of each and FILES.md.
Thread counts are fixed, because the bytes that an encoder makes depend on them.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

from patterns.errors import RequestError
from patterns.timing.rates import format_rate
from patterns.video import encoders, levels
from patterns.video.encoders import Settings
from patterns.video.levels import Level

# What ffmpeg's rate parser keeps exactly; above it a rate would silently become another.
MAX_RATE_TERM = 1_001_000
MIN_TICKS = 10_000  # a second in fewer ticks upsets some players


@dataclass(frozen=True)
class Codec:
    """One way to store a clip."""

    name: str  # as the user types it
    title: str  # for people: what it is and what it is good for
    # Encoders that keep the promises, the preferred one first, each with its arguments from level
    # and keyframe distance in frames. Which of them there are differs with the machine.
    ways: tuple[tuple[str, Settings], ...]
    suffix: str = ".mp4"  # of the file, with its dot
    muxer: str = "mp4"  # format name for the encoder, 'mp4' or 'mov'
    pixel_format: str = "yuv420p"  # what is stored; frames come in as 8-bit 4:2:0
    levels: tuple[Level, ...] = ()  # lowest first; none where the codec has none
    block: int = 1  # side of the unit that the table counts
    max_rate_hz: int | None = None  # highest rate that the encoder itself takes, or None
    exact: bool = False  # whether decoded frames equal those written, bit for bit
    small: tuple[tuple[str, Settings], ...] = ()  # as `ways`: smaller files, in more time

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
        self, width: int, height: int, rate: Fraction, offered: Collection[str], small: bool = False
    ) -> tuple[str, ...]:
        """Arguments for the encoder, from the filter that tags the colours to the muxer.

        `width`, `height`, `rate`: of the clip, in pixels and frames a second.
        `offered`: names of the encoders of this machine.
        `small`: whether to take more time for fewer bytes.
        Raises `RequestError`: size and rate are beyond the codec's levels, the rate has too long
        terms, there is no way to smaller files, or no encoder for it here.
        """
        ticks = str(ticks_per_second(rate))
        encoder, settings = self._way(offered, small=small)
        return (
            *("-vf", _filters(self.pixel_format), "-c:v", encoder),
            *settings(self.level(width, height, rate), max(1, int(rate))),
            *("-pix_fmt", self.pixel_format),
            # no dates, no version strings: the same input gives the same bytes
            *("-fflags", "+bitexact", "-flags:v", "+bitexact", "-map_metadata", "-1"),
            *("-video_track_timescale", ticks, "-movie_timescale", ticks),
            *("-movflags", "+faststart", "-f", self.muxer),
        )

    def _way(self, available: Collection[str], *, small: bool) -> tuple[str, Settings]:
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


CODECS: Mapping[str, Codec] = MappingProxyType(
    {
        codec.name: codec
        for codec in (
            Codec(
                name="h264",
                title="H.264 High, plays nearly everywhere",
                ways=(("libx264", encoders.h264),),
                small=(("libx264", encoders.h264_small),),
                levels=levels.H264_LEVELS,
                block=16,
            ),
            Codec(
                name="hevc",
                title="H.265 Main, for phones and televisions at high rates",
                ways=(("libx265", encoders.hevc),),
                small=(("libx265", encoders.hevc_small),),
                levels=levels.H265_LEVELS,
            ),
            Codec(
                name="vp9",
                title="VP9 profile 0, for browsers",
                ways=(("libvpx-vp9", encoders.vp9),),
                levels=levels.VP9_LEVELS,
            ),
            Codec(
                name="av1",
                title="AV1 Main, for recent browsers and phones",
                ways=(("libsvtav1", encoders.av1_svt), ("libaom-av1", encoders.av1_aom)),
                levels=levels.AV1_LEVELS,
                max_rate_hz=240,
            ),
            Codec(
                name="prores",
                title="ProRes 422 HQ, for editing",
                suffix=".mov",
                muxer="mov",
                pixel_format="yuv422p10le",
                ways=(("prores_ks", encoders.prores),),
            ),
            Codec(
                name="lossless",
                title="H.264 lossless, bit for bit what was drawn; not for phones",
                ways=(("libx264", encoders.lossless),),
                levels=levels.H264_LEVELS,
                block=16,
                exact=True,
            ),
        )
    }
)


def codec_named(name: str) -> Codec:
    """Entry of `CODECS`. Raises `RequestError`: there is none of that name."""
    if name not in CODECS:
        raise RequestError(f"codec {name!r} is unknown: allowed are {', '.join(CODECS)}")
    return CODECS[name]
