"""Lowest level of each codec that a picture size and a rate need.

A phone decides by the level in the file whether it tries to play it, so the level is computed here
from the standards' tables instead of being left to the encoder: ITU-T H.264, Annex A, Table A-1 and
clauses A.3.1 to A.3.4; ITU-T H.265, Annex A, Tables A.8 and A.9 (both second-hand: from public
transcriptions, and from FFmpeg 5.1.9, `h264_levels.c` and `h265_profile_level.c`); VP9 levels as
its authors' library libvpx 1.12.0 carries them (`vp9_encoder.c`); AV1 bitstream specification,
Annex A.3, as libaom 3.6.0 carries it (`encoder/level.c`). Tests compare every row.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import isqrt
from pathlib import Path

from patterns.errors import EncoderError, RequestError
from patterns.timing.rates import format_decimal


@dataclass(frozen=True)
class Level:
    """What one level allows; bits follow from a constant quality, and are known once coded."""

    number: str  # as it is written, '4.1'
    max_size: int  # largest picture, in units: macroblocks of 16x16 (H.264) or luma samples
    max_throughput: int  # most units a second
    max_width: int  # longest sides, in luma samples
    max_height: int
    max_rate_hz: int  # most pictures a second, whatever their size
    most_bits_s: int = 0  # of a stream; 0: not looked at
    buffer_bits: int = 0  # of what a decoder keeps ahead

    @property
    def ten_times(self) -> int:
        """Level as an integer, 41 for 4.1."""
        major, _, minor = self.number.partition(".")
        return int(major) * 10 + int(minor or 0)


def _h264(number: str, size: int, throughput: int, most: int, buffer: int) -> Level:
    # A.3.1: each side in macroblocks <= sqrt(8 MaxFS); A.3.4: 172 pictures/s, 300 from level 6
    side, rate_hz = isqrt(8 * size) * 16, 300 if number >= "6" else 172
    # Table A-2: of High profile 1250 bits to each unit of the table
    return Level(number, size, throughput, side, side, rate_hz, 1250 * most, 1250 * buffer)


def _h265(number: str, size: int, throughput: int) -> Level:
    side = isqrt(8 * size)
    return Level(number, size, throughput, side, side, 300)


# MaxFS, MaxMBPS, MaxBR, MaxCPB. Like the others it begins at level 3, which every device that
# plays video at all can play: a lower one would only starve small pictures of bits.
H264_LEVELS = (
    _h264("3", 1_620, 40_500, 10_000, 10_000),
    _h264("3.1", 3_600, 108_000, 14_000, 14_000),
    _h264("3.2", 5_120, 216_000, 20_000, 20_000),
    _h264("4", 8_192, 245_760, 20_000, 25_000),
    _h264("4.1", 8_192, 245_760, 50_000, 62_500),
    _h264("4.2", 8_704, 522_240, 50_000, 62_500),
    _h264("5", 22_080, 589_824, 135_000, 135_000),
    _h264("5.1", 36_864, 983_040, 240_000, 240_000),
    _h264("5.2", 36_864, 2_073_600, 240_000, 240_000),
    _h264("6", 139_264, 4_177_920, 240_000, 240_000),
    _h264("6.1", 139_264, 8_355_840, 480_000, 480_000),
    _h264("6.2", 139_264, 16_711_680, 800_000, 800_000),
)

# MaxLumaPs, MaxLumaSr
H265_LEVELS = (
    _h265("3", 552_960, 16_588_800),
    _h265("3.1", 983_040, 33_177_600),
    _h265("4", 2_228_224, 66_846_720),
    _h265("4.1", 2_228_224, 133_693_440),
    _h265("5", 8_912_896, 267_386_880),
    _h265("5.1", 8_912_896, 534_773_760),
    _h265("5.2", 8_912_896, 1_069_547_520),
    _h265("6", 35_651_584, 1_069_547_520),
    _h265("6.1", 35_651_584, 2_139_095_040),
    _h265("6.2", 35_651_584, 4_278_190_080),
)

# luma picture size, luma sample rate, picture breadth; nothing limits the picture rate
VP9_LEVELS = (
    Level("3", 552_960, 20_736_000, 2_048, 2_048, 1000),
    Level("3.1", 983_040, 36_864_000, 2_752, 2_752, 1000),
    Level("4", 2_228_224, 83_558_400, 4_160, 4_160, 1000),
    Level("4.1", 2_228_224, 160_432_128, 4_160, 4_160, 1000),
    Level("5", 8_912_896, 311_951_360, 8_384, 8_384, 1000),
    Level("5.1", 8_912_896, 588_251_136, 8_384, 8_384, 1000),
    Level("5.2", 8_912_896, 1_176_502_272, 8_384, 8_384, 1000),
    Level("6", 35_651_584, 1_176_502_272, 16_832, 16_832, 1000),
    Level("6.1", 35_651_584, 2_353_004_544, 16_832, 16_832, 1000),
    Level("6.2", 35_651_584, 4_706_009_088, 16_832, 16_832, 1000),
)

# MaxPicSize, MaxDisplayRate, MaxHSize, MaxVSize, MaxHeaderRate; 5.3 and 6.3 differ from 5.2
# and 6.2 only for frames that are decoded and not shown
AV1_LEVELS = (
    Level("3.0", 665_856, 19_975_680, 4_352, 2_448, 150),
    Level("3.1", 1_065_024, 31_950_720, 5_504, 3_096, 150),
    Level("4.0", 2_359_296, 70_778_880, 6_144, 3_456, 300),
    Level("4.1", 2_359_296, 141_557_760, 6_144, 3_456, 300),
    Level("5.0", 8_912_896, 267_386_880, 8_192, 4_352, 300),
    Level("5.1", 8_912_896, 534_773_760, 8_192, 4_352, 300),
    Level("5.2", 8_912_896, 1_069_547_520, 8_192, 4_352, 300),
    Level("6.0", 35_651_584, 1_069_547_520, 16_384, 8_704, 300),
    Level("6.1", 35_651_584, 2_139_095_040, 16_384, 8_704, 300),
    Level("6.2", 35_651_584, 4_278_190_080, 16_384, 8_704, 300),
)


def lowest_level(
    levels: tuple[Level, ...], width: int, height: int, rate: Fraction, *, block: int = 1
) -> Level:
    """First of `levels` that holds the size and the rate.

    A rate above the picture-rate ceiling of every level (300 a second in H.264 and H.265) is judged
    as if it stood at that ceiling: the file keeps the other limits, and decoders need not play it.

    `levels`: in rising order; `block`: side of the unit that they count: 16 for H.264's
    macroblocks, else 1. `width`, `height`: in luma samples.
    Raises `RequestError`: no level holds them.
    """
    units = -(-width // block) * -(-height // block)
    ceiling_hz = Fraction(levels[-1].max_rate_hz)
    for level in levels:
        if (
            units <= level.max_size
            and width <= level.max_width
            and height <= level.max_height
            and units * rate <= level.max_throughput
            and min(rate, ceiling_hz) <= level.max_rate_hz
        ):
            return level
    raise RequestError(_what_would_fit(levels, width, height, rate, units))


def level_of_bits(
    levels: Sequence[Level], least: Level, sizes: Sequence[int], rate: Fraction
) -> Level:
    """First of `levels` from `least` on that carries a stream, played once or in a loop.

    A decoder is fed at a level's bits a second at most, and keeps its buffer full (H.264, Annex C):
    what pictures, of `sizes` bytes, take beyond that must never add up to more than the buffer.
    Returns the last of `levels` where none carries it.
    """
    fit = (level for level in levels[levels.index(least) :] if _carries(level, sizes, rate))
    return next(fit, levels[-1])


def _carries(level: Level, sizes: Sequence[int], rate: Fraction) -> bool:
    fed = level.most_bits_s / rate  # bits from picture to picture
    # A second at least: of a few pictures, the keyframe with which they begin would be the mean.
    if 8 * sum(sizes) > max(fed * len(sizes), Fraction(level.most_bits_s)):
        return False
    owed = Fraction(0)
    for size in sizes:
        owed = max(owed - fed, Fraction(0)) + 8 * size
        if owed > level.buffer_bits:
            return False
    return True


def state_h264_level(path: Path, level: Level) -> None:
    """Write another level into an MP4 of H.264 whose index is in front.

    It is byte 3 of the decoder's configuration, and of the sequence parameters in it, that begin
    after byte 8 (ISO/IEC 14496-15, AVCDecoderConfigurationRecord; ITU-T H.264, 7.3.2.1.1).
    """
    with path.open("r+b") as file:
        head = file.read(1 << 16)
        record = head.find(b"avcC") + 4
        places = record + 3, record + 8 + 3
        if record < 4 or head[record + 8] & 31 != 7 or len({head[at] for at in places}) != 1:
            raise EncoderError("the encoder states no level where it belongs; nothing was kept")
        for at in places:
            file.seek(at)
            file.write(bytes([level.ten_times]))


def _what_would_fit(
    levels: tuple[Level, ...], width: int, height: int, rate: Fraction, units: int
) -> str:
    top = levels[-1]
    size, wanted = f"{width}x{height}", format_decimal(rate)
    fastest = Fraction(top.max_throughput, units)
    if units > top.max_size or width > top.max_width or height > top.max_height:
        return (
            f"{size} is larger than the codec's highest level ({top.number}) allows: "
            f"take a smaller size, or codec prores"
        )
    return (
        f"{size} at {wanted} frames/s is beyond the codec's highest level ({top.number}): at this "
        f"size at most {format_decimal(fastest, 2)} frames/s; take a lower rate or a smaller size"
    )
