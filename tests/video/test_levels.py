"""Lowest levels against the standards' tables, and against an encoder that holds one too."""

from __future__ import annotations

from fractions import Fraction

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
    Level,
    level_of_bits,
    lowest_level,
)
from patterns.video.process import FfmpegProcess

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


# ITU-T H.264 Table A-1: level, MaxMBPS, MaxFS; as FFmpeg 5.1.9 carries it, libavcodec/h264_levels.c
H264_ROWS = """
3 40500 1620 / 3.1 108000 3600 / 3.2 216000 5120 / 4 245760 8192 / 4.1 245760 8192
4.2 522240 8704 / 5 589824 22080 / 5.1 983040 36864 / 5.2 2073600 36864
6 4177920 139264 / 6.1 8355840 139264 / 6.2 16711680 139264
"""
# ITU-T H.265 Tables A.8 and A.9: level, MaxLumaSr, MaxLumaPs; libavcodec/h265_profile_level.c
H265_ROWS = """
3 16588800 552960 / 3.1 33177600 983040 / 4 66846720 2228224 / 4.1 133693440 2228224
5 267386880 8912896 / 5.1 534773760 8912896 / 5.2 1069547520 8912896
6 1069547520 35651584 / 6.1 2139095040 35651584 / 6.2 4278190080 35651584
"""
# libvpx 1.12.0, by the authors of VP9, vp9/encoder/vp9_encoder.c, vp9_level_defs: level, luma
# sample rate, picture size, breadth
VP9_ROWS = """
3 20736000 552960 2048 / 3.1 36864000 983040 2752 / 4 83558400 2228224 4160
4.1 160432128 2228224 4160 / 5 311951360 8912896 8384 / 5.1 588251136 8912896 8384
5.2 1176502272 8912896 8384 / 6 1176502272 35651584 16832
6.1 2353004544 35651584 16832 / 6.2 4706009088 35651584 16832
"""
# libaom 3.6.0, by the authors of AV1, av1/encoder/level.c, av1_level_defs (Annex A.3): level,
# MaxDisplayRate, MaxPicSize, MaxHSize, MaxVSize, MaxHeaderRate
AV1_ROWS = """
3.0 19975680 665856 4352 2448 150 / 3.1 31950720 1065024 5504 3096 150
4.0 70778880 2359296 6144 3456 300 / 4.1 141557760 2359296 6144 3456 300
5.0 267386880 8912896 8192 4352 300 / 5.1 534773760 8912896 8192 4352 300
5.2 1069547520 8912896 8192 4352 300 / 6.0 1069547520 35651584 16384 8704 300
6.1 2139095040 35651584 16384 8704 300 / 6.2 4278190080 35651584 16384 8704 300
"""


@pytest.mark.parametrize(
    ("levels", "rows"),
    [
        (H264_LEVELS, H264_ROWS),
        (H265_LEVELS, H265_ROWS),
        (VP9_LEVELS, VP9_ROWS),
        (AV1_LEVELS, AV1_ROWS),
    ],
    ids=["h264", "h265", "vp9", "av1"],
)
def test_every_row_is_that_of_the_published_table(levels: tuple[Level, ...], rows: str) -> None:
    published = [row.split() for row in rows.strip().replace("\n", " / ").split(" / ")]
    kept = [
        (x.number, x.max_throughput, x.max_size, x.max_width, x.max_height, x.max_rate_hz)
        for x in levels
    ]
    columns = len(published[0])
    assert [row[:columns] for row in kept] == [(row[0], *map(int, row[1:])) for row in published]


@pytest.mark.parametrize("level", H264_LEVELS, ids=lambda level: level.number)
def test_bits_of_a_level_are_what_x264_holds_for_allowed(level: Level) -> None:
    """x264 warns where its own copy of ITU-T H.264 Tables A-1 and A-2 is exceeded."""

    def warnings(bits_s: int, buffer: int) -> list[str]:
        run = FfmpegProcess(
            [
                *("-loglevel", "warning", "-f", "lavfi", "-i", "color=s=64x64:r=24:d=0.1"),
                *("-c:v", "libx264", "-profile:v", "high", "-level", level.number),
                *("-maxrate", str(bits_s), "-bufsize", str(buffer), "-f", "null", "-"),
            ]
        )
        assert run.wait() == 0
        said = run.all_words
        run.stop()
        return [what for what in ("VBV bitrate", "VBV buffer") if f"{what} (" in said]

    bits_s, buffer = level.most_bits_s, level.buffer_bits
    assert not warnings(bits_s, buffer)
    assert warnings(bits_s + 1000, buffer + 1000) == ["VBV bitrate", "VBV buffer"]


def test_the_level_of_a_stream_is_the_first_that_is_fed_fast_enough() -> None:
    """Level 4 of High profile: 25 Mbit/s on the whole, 31.25 Mbit ahead (Table A-1, x 1250)."""
    level4 = lowest_level(H264_LEVELS, 1920, 1080, F(24), block=16)
    number = {n: level.number for n, level in enumerate(H264_LEVELS)}

    def found(sizes: list[int], rate: int = 25) -> str:
        return number[H264_LEVELS.index(level_of_bits(H264_LEVELS, level4, sizes, F(rate)))]

    assert found([125_000] * 50) == "4"  # a million bits 25 times a second
    assert found([125_000] * 49 + [125_001]) == "4.1"
    # ten pictures that come too fast for the buffer, and ten that its feed makes up for
    assert found([0] * 90 + [510_000] * 10) == "4.1"
    assert found([0] * 90 + [500_000] * 10) == "4"
    assert found([312_501] * 50) == "5"
    assert found([10**8] * 5) == "6.2"
    assert found([1_000_000, 300_000]) == "4"  # a keyframe and another picture, no second


def test_av1_allows_less_height_than_width() -> None:
    """AV1 Annex A.3: level 3.0 ends at 4352 x 2448, whichever way a picture stands."""
    assert lowest_level(AV1_LEVELS, 2600, 240, Fraction(24)).number == "3.0"
    assert lowest_level(AV1_LEVELS, 240, 2600, Fraction(24)).number == "3.1"


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
    caution = CODECS["h264"].caution(Fraction(480))
    assert caution is not None
    assert "300" in caution
    assert CODECS["h264"].caution(Fraction(240)) is None


def test_encoder_limit_of_av1() -> None:
    with pytest.raises(RequestError, match="av1 takes at most 240"):
        CODECS["av1"].level(640, 360, Fraction(241))


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
