"""Lowest level of each codec that a picture size and a rate need.

A phone decides by the level in the file whether it tries to play it, so the level
is computed here from the standards' tables instead of being left to the encoder.
Size and rate decide; bits a second do not (see `Level.max_kbit`).

References
----------
ITU-T H.264, Annex A, Table A-1 and clauses A.3.1 to A.3.4; ITU-T H.265, Annex A,
Tables A.8 and A.9 (both quoted second-hand: from public transcriptions). VP9 levels
as published by its authors, from memory; the sizes agree with the table of the bundled
MP4 muxer. AV1 bitstream specification, Annex A.3, from memory; up to 4.1 sizes and rates
agree with what the encoder SVT-AV1 writes. Tests make both comparisons.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import isqrt

from patterns.errors import RequestError
from patterns.timing.rates import format_decimal


@dataclass(frozen=True)
class Level:
    """What one level allows.

    Attributes
    ----------
    number
        As it is written, '4.1'.
    max_size
        Largest picture, in units: macroblocks of 16x16 (H.264) or luma samples.
    max_throughput
        Most units a second.
    max_side
        Longest side in luma samples.
    max_rate_hz
        Most pictures a second, whatever their size.
    max_kbit
        Bit rate in kilobit a second for the profile that is used here (H.264 High, H.265
        Main tier); 0 where none is known. Quality is constant here and the rate follows, so
        that this is what to compare with, not what is enforced.
    """

    number: str
    max_size: int
    max_throughput: int
    max_side: int
    max_rate_hz: int
    max_kbit: int = 0

    @property
    def ten_times(self) -> int:
        """Level as an integer, 41 for 4.1."""
        major, _, minor = self.number.partition(".")
        return int(major) * 10 + int(minor or 0)


def _h264(number: str, throughput: int, size: int, kbit: int) -> Level:
    # A.3.1: each side in macroblocks <= sqrt(8 MaxFS); A.3.4: 172 pictures/s, 300 from level 6.
    # High profile has 1.25 times the bit rate of Table A-1.
    side = isqrt(8 * size) * 16
    return Level(number, size, throughput, side, 300 if number >= "6" else 172, kbit * 5 // 4)


# Table A-1: MaxMBPS, MaxFS, MaxBR. Like the others it begins at level 3, which every device
# that plays video at all can play: a lower one would only starve small pictures of bits.
H264_LEVELS = tuple(
    _h264(*row)
    for row in (
        ("3", 40_500, 1_620, 10_000),
        ("3.1", 108_000, 3_600, 14_000),
        ("3.2", 216_000, 5_120, 20_000),
        ("4", 245_760, 8_192, 20_000),
        ("4.1", 245_760, 8_192, 50_000),
        ("4.2", 522_240, 8_704, 50_000),
        ("5", 589_824, 22_080, 135_000),
        ("5.1", 983_040, 36_864, 240_000),
        ("5.2", 2_073_600, 36_864, 240_000),
        ("6", 4_177_920, 139_264, 240_000),
        ("6.1", 8_355_840, 139_264, 480_000),
        ("6.2", 16_711_680, 139_264, 800_000),
    )
)


def _by_samples(number: str, size: int, throughput: int, rate_hz: int, kbit: int) -> Level:
    return Level(number, size, throughput, isqrt(8 * size), rate_hz, kbit)


# Tables A.8 and A.9, Main tier: MaxLumaPs, MaxLumaSr, MaxBR (the bit rates from
# memory).
H265_LEVELS = tuple(
    _by_samples(number, size, throughput, 300, kbit)
    for number, size, throughput, kbit in (
        ("3", 552_960, 16_588_800, 6_000),
        ("3.1", 983_040, 33_177_600, 10_000),
        ("4", 2_228_224, 66_846_720, 12_000),
        ("4.1", 2_228_224, 133_693_440, 20_000),
        ("5", 8_912_896, 267_386_880, 25_000),
        ("5.1", 8_912_896, 534_773_760, 40_000),
        ("5.2", 8_912_896, 1_069_547_520, 60_000),
        ("6", 35_651_584, 1_069_547_520, 60_000),
        ("6.1", 35_651_584, 2_139_095_040, 120_000),
        ("6.2", 35_651_584, 4_278_190_080, 240_000),
    )
)

# MaxLumaPs, MaxLumaSr and longest side, from memory; nothing limits the picture rate.
VP9_LEVELS = tuple(
    Level(number, size, throughput, side, 1000)
    for number, size, throughput, side in (
        ("3", 552_960, 20_736_000, 2_048),
        ("3.1", 983_040, 36_864_000, 2_752),
        ("4", 2_228_224, 83_558_400, 4_160),
        ("4.1", 2_228_224, 160_432_128, 4_160),
        ("5", 8_912_896, 311_951_360, 8_384),
        ("5.1", 8_912_896, 588_251_136, 8_384),
        ("5.2", 8_912_896, 1_176_502_272, 8_384),
        ("6", 35_651_584, 1_176_502_272, 16_832),
        ("6.1", 35_651_584, 2_353_004_544, 16_832),
        ("6.2", 35_651_584, 4_706_009_088, 16_832),
    )
)

# MaxPicSize, MaxDisplayRate, MaxHSize, from memory; MaxHeaderRate 300 from level 4 on.
AV1_LEVELS = tuple(
    Level(number, size, throughput, side, rate_hz)
    for number, size, throughput, side, rate_hz in (
        ("3.0", 665_856, 19_975_680, 4_352, 150),
        ("3.1", 1_065_024, 31_950_720, 5_504, 150),
        ("4.0", 2_359_296, 70_778_880, 6_144, 300),
        ("4.1", 2_359_296, 141_557_760, 6_144, 300),
        ("5.0", 8_912_896, 267_386_880, 8_192, 300),
        ("5.1", 8_912_896, 534_773_760, 8_192, 300),
        ("5.2", 8_912_896, 1_069_547_520, 8_192, 300),
        ("6.0", 35_651_584, 1_069_547_520, 16_384, 300),
        ("6.1", 35_651_584, 2_139_095_040, 16_384, 300),
        ("6.2", 35_651_584, 4_278_190_080, 16_384, 300),
    )
)


def lowest_level(
    levels: tuple[Level, ...], width: int, height: int, rate: Fraction, *, block: int = 1
) -> Level:
    """First of `levels` that holds the size and the rate.

    A rate above the picture-rate ceiling of every level (300 a second in H.264 and
    H.265) is judged as if it stood at that ceiling: such a file keeps the limits on size
    and throughput, and `above_ceiling` tells that decoders need not play it.

    Parameters
    ----------
    levels
        In rising order.
    width, height
        Of the picture, in luma samples.
    rate
        Pictures a second.
    block
        Side of the unit that the table counts: 16 for H.264's macroblocks, else 1.

    Raises
    ------
    RequestError
        No level holds them.
    """
    units = -(-width // block) * -(-height // block)
    longest = max(-(-width // block), -(-height // block)) * block
    ceiling_hz = Fraction(levels[-1].max_rate_hz)
    for level in levels:
        if (
            units <= level.max_size
            and longest <= level.max_side
            and units * rate <= level.max_throughput
            and min(rate, ceiling_hz) <= level.max_rate_hz
        ):
            return level
    raise RequestError(_what_would_fit(levels, width, height, rate, units))


def above_ceiling(levels: tuple[Level, ...], rate: Fraction) -> bool:
    """Whether `rate` is more pictures a second than any of `levels` promises to play."""
    return rate > levels[-1].max_rate_hz


def _what_would_fit(
    levels: tuple[Level, ...], width: int, height: int, rate: Fraction, units: int
) -> str:
    top = levels[-1]
    size, wanted = f"{width}x{height}", format_decimal(rate)
    fastest = Fraction(top.max_throughput, units)
    if units > top.max_size or max(width, height) > top.max_side:
        return (
            f"{size} is larger than the codec's highest level ({top.number}) allows: "
            f"take a smaller size, or codec prores"
        )
    return (
        f"{size} at {wanted} frames/s is beyond the codec's highest level ({top.number}): at this "
        f"size at most {format_decimal(fastest, 2)} frames/s; take a lower rate or a smaller size"
    )
