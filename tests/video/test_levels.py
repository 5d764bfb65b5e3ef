"""Lowest levels against the standards' tables, and against an encoder that holds one too."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import av
import pytest
from av.codec.context import Flags

from patterns.errors import RequestError
from patterns.video.codecs import CODECS
from patterns.video.levels import (
    AV1_LEVELS,
    H264_LEVELS,
    H265_LEVELS,
    VP9_LEVELS,
    above_ceiling,
    lowest_level,
)

F = Fraction

# Minimum levels that follow from size and rate by ITU-T H.264 Table A-1 (with A.3's ceiling of
# 172 pictures/s below level 6) and H.265 Tables A.8 and A.9; worked out by hand from public
# transcriptions of the tables. Columns: rate, H.264, H.265.
SIZES = {
    (1280, 720): (
        (24, "3.1", "3.1"),
        (25, "3.1", "3.1"),
        (30, "3.1", "3.1"),  # 108,000 macroblocks a second, exactly the limit
        (48, "3.2", "4"),
        (50, "3.2", "4"),
        (60, "3.2", "4"),  # 216,000, exactly the limit
        (100, "4.2", "4.1"),
        (120, "4.2", "4.1"),
        (240, "6", "5"),
    ),
    (1920, 1080): (
        (24, "4", "4"),
        (25, "4", "4"),
        (30, "4", "4"),
        (48, "4.2", "4.1"),
        (50, "4.2", "4.1"),
        (60, "4.2", "4.1"),
        (100, "5.1", "5"),
        (120, "5.1", "5"),
        (240, "6", "5.1"),
    ),
    (2560, 1440): (
        (24, "5", "5"),
        (30, "5", "5"),
        (50, "5.1", "5"),
        (60, "5.1", "5"),
        (100, "5.2", "5.1"),
        (120, "5.2", "5.1"),
        (240, "6", "5.2"),
    ),
    (3840, 2160): (
        (24, "5.1", "5"),
        (30, "5.1", "5"),
        (50, "5.2", "5.1"),
        (60, "5.2", "5.1"),
        (100, "6", "5.2"),
        (120, "6", "5.2"),
        (240, "6.1", "6.1"),
    ),
}
CASES = [(size, *row) for size, rows in SIZES.items() for row in rows]


@pytest.mark.parametrize(("size", "rate", "h264", "h265"), CASES)
def test_lowest_level_is_that_of_the_standards_tables(
    size: tuple[int, int], rate: int, h264: str, h265: str
) -> None:
    assert lowest_level(H264_LEVELS, *size, Fraction(rate), block=16).number == h264
    assert lowest_level(H265_LEVELS, *size, Fraction(rate)).number == h265
    # an upright picture needs the same
    assert lowest_level(H264_LEVELS, *size[::-1], Fraction(rate), block=16).number == h264
    assert lowest_level(H265_LEVELS, *size[::-1], Fraction(rate)).number == h265


def test_one_thousandth_above_the_limit_takes_the_next_level() -> None:
    """1280x720 is 3600 macroblocks: 30 a second is exactly level 3.1 (H.264 Table A-1)."""
    just_above = Fraction(30_001, 1000)
    assert lowest_level(H264_LEVELS, 1280, 720, just_above, block=16).number == "3.2"
    below = Fraction(30_000, 1001)
    assert lowest_level(H264_LEVELS, 1280, 720, below, block=16).number == "3.1"


def test_a_long_narrow_picture_is_limited_by_its_side() -> None:
    """H.264 A.3.1: a side is at most sqrt(8 MaxFS) macroblocks, 256 of them at level 4."""
    assert lowest_level(H264_LEVELS, 4096, 128, Fraction(24), block=16).number == "4"
    assert lowest_level(H264_LEVELS, 4112, 128, Fraction(24), block=16).number == "4.2"


def test_table_rows_are_those_of_the_standards() -> None:
    """H.264 Table A-1 MaxMBPS, MaxFS; H.265 A.8, A.9 MaxLumaPs, MaxLumaSr (transcriptions)."""
    h264 = {x.number: (x.max_throughput, x.max_size) for x in H264_LEVELS}
    assert h264["3"] == (40_500, 1_620)
    assert h264["4.1"] == (245_760, 8_192)
    assert h264["5.2"] == (2_073_600, 36_864)
    assert h264["6.2"] == (16_711_680, 139_264)
    h265 = {x.number: (x.max_size, x.max_throughput) for x in H265_LEVELS}
    assert h265["3"] == (552_960, 16_588_800)
    assert h265["4.1"] == (2_228_224, 133_693_440)
    assert h265["6.2"] == (35_651_584, 4_278_190_080)
    for table in (H264_LEVELS, H265_LEVELS, VP9_LEVELS, AV1_LEVELS):
        for lower, higher in pairwise(table):
            assert lower.max_size <= higher.max_size
            assert lower.max_throughput <= higher.max_throughput


@pytest.mark.parametrize("codec", ["h264", "hevc", "vp9"])
def test_more_than_any_level_is_refused_with_the_fastest_rate(codec: str) -> None:
    with pytest.raises(RequestError, match=r"7680x4320 at 480 frames/s .* at most \d+"):
        CODECS[codec].level(7680, 4320, Fraction(480))


def test_larger_than_any_level_is_refused() -> None:
    with pytest.raises(RequestError, match=r"8192x8192 is larger"):
        CODECS["h264"].level(8192, 8192, Fraction(24))
    assert CODECS["prores"].level(8192, 8192, Fraction(480)) is None


def test_rates_above_every_picture_rate_ceiling_are_allowed_with_a_caution() -> None:
    """H.264 A.3 and H.265 A.4 promise at most 300 pictures a second at any level."""
    assert lowest_level(H264_LEVELS, 1280, 720, Fraction(480), block=16).number == "6"
    assert above_ceiling(H264_LEVELS, Fraction(480))
    caution = CODECS["h264"].caution(Fraction(480))
    assert caution is not None
    assert "300" in caution
    assert CODECS["h264"].caution(Fraction(240)) is None


def test_encoder_limit_of_av1() -> None:
    with pytest.raises(RequestError, match="av1 takes at most 240"):
        CODECS["av1"].level(640, 360, Fraction(241))


def test_rows_of_vp9_and_av1() -> None:
    """From memory: the VP9 authors' level table, the AV1 specification's Annex A.3.

    The sizes of VP9 are also compared with an MP4 muxer's table, in `test_files`.
    """
    vp9 = {x.number: (x.max_throughput, x.max_size, x.max_side) for x in VP9_LEVELS}
    assert vp9["3.1"] == (36_864_000, 983_040, 2_752)
    assert vp9["4.1"] == (160_432_128, 2_228_224, 4_160)
    assert vp9["5"] == (311_951_360, 8_912_896, 8_384)
    assert vp9["6.2"] == (4_706_009_088, 35_651_584, 16_832)
    av1 = {x.number: (x.max_size, x.max_side, x.max_throughput, x.max_rate_hz) for x in AV1_LEVELS}
    assert av1["3.0"] == (665_856, 4_352, 19_975_680, 150)
    assert av1["4.1"] == (2_359_296, 6_144, 141_557_760, 300)
    assert av1["5.1"] == (8_912_896, 8_192, 534_773_760, 300)
    assert av1["6.2"] == (35_651_584, 16_384, 4_278_190_080, 300)


# Size and the fastest rate of a level, a rate just above it, and sizes just within and above.
AV1_EDGES = (
    *((1088, 612, F("30")), (1088, 612, F("30.3")), (1088, 614, F("24"))),
    *((1376, 774, F("30")), (1376, 774, F("30.3")), (1376, 776, F("24"))),
    *((2048, 1152, F("30")), (2048, 1152, F("30.3")), (2048, 1152, F("60"))),
    *((2048, 1152, F("60.6")), (2048, 1154, F("24")), (2048, 1154, F("113"))),
    *((2048, 1154, F("114")), (2048, 1154, F("226")), (2048, 1154, F("227"))),
)


@pytest.mark.skipif("libsvtav1" not in av.codecs_available, reason="PyAV without SVT-AV1")
@pytest.mark.parametrize(("width", "height", "rate"), AV1_EDGES)
def test_av1_levels_are_those_that_svt_av1_writes(
    width: int, height: int, rate: Fraction, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SVT_LOG", "1")
    encoder = av.CodecContext.create("libsvtav1", "w")
    assert isinstance(encoder, av.VideoCodecContext)
    encoder.width, encoder.height, encoder.pix_fmt = width, height, "yuv420p"
    encoder.framerate, encoder.time_base = rate, 1 / rate
    encoder.flags |= Flags.global_header
    encoder.options = {"preset": "12"}
    encoder.open()
    assert encoder.extradata is not None
    # AV1 specification 5.5.1: seq_level_idx is 24 bits into the sequence header, here after two
    # bytes of OBU header and size; A.3: level X.Y has the index 4 (X - 2) + Y.
    index = encoder.extradata[5] >> 3
    number = lowest_level(AV1_LEVELS, width, height, rate).number
    assert number == f"{2 + index // 4}.{index % 4}"
