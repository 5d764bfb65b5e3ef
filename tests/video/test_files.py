"""Every codec at the usual rates, opened by PyAV: times, tags, levels, keyframes, quality."""

from __future__ import annotations

import os
import sys
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from patterns.errors import RequestError
from patterns.picture.planes import Planes
from patterns.video.codecs import (
    CODECS,
    available_encoders,
    codec_named,
    encoders_of,
    ticks_per_second,
)
from patterns.video.probe import probe
from patterns.video.process import ffmpeg_path
from patterns.video.writer import VideoSpec, VideoWriter
from tests.video.moving import decoded, moving_texture, worst_db

RATES = [
    Fraction(24_000, 1001),
    Fraction(24),
    Fraction(25),
    Fraction(30_000, 1001),
    Fraction(30),
    Fraction(25, 2),
    Fraction(50),
    Fraction(60_000, 1001),
    Fraction(60),
    Fraction(120),
]
ODD_RATES = [Fraction(480), Fraction(1000, 37), Fraction(1, 2), Fraction(2997, 125)]
BT709 = 1  # ITU-T H.273: primaries, transfer and matrix of BT.709 all have number 1
NARROW = 1  # AVCOL_RANGE_MPEG
FRAMES = 30


WAYS = [(codec.name, encoder) for codec in CODECS.values() for encoder, _ in codec.ways]


def only(monkeypatch: pytest.MonkeyPatch, *names: str) -> None:
    """Let the machine have no other encoders than these, which it must really have."""
    if lacking := sorted(set(names) - encoders_of(ffmpeg_path())):
        pytest.skip(f"this machine's ffmpeg has no {', '.join(lacking)}")
    monkeypatch.setattr("patterns.video.codecs.encoders_of", lambda _: frozenset(names))


# Times are the container's, the same for all codecs: one has every rate, the others the slowest,
# the fastest and one of those with a clock of 1001.
SOME_RATES = [Fraction(24_000, 1001), Fraction(25, 2), Fraction(120)]
SOME_ODD_RATES = [Fraction(480), Fraction(1, 2)]


def timed(all_rates: list[Fraction], some: list[Fraction]) -> pytest.MarkDecorator:
    """A test at all rates by the first encoder, at some by the others."""
    cases = [(way, rate) for way in WAYS for rate in (all_rates if way == WAYS[0] else some)]
    ids = ["-".join((*way, str(rate))) for way, rate in cases]
    return pytest.mark.parametrize(("codec", "rate"), cases, ids=ids, indirect=["codec"])


@pytest.fixture(params=WAYS, ids="-".join)
def codec(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Every codec, by every encoder that may have to make it."""
    name, encoder = request.param
    only(monkeypatch, encoder)
    return str(name)


def write(path: Path, codec: str, rate: Fraction, frames: int = FRAMES) -> Path:
    spec = VideoSpec(path.with_suffix(CODECS[codec].suffix), 160, 128, rate, codec, frames)
    with VideoWriter(spec) as writer:
        for frame in moving_texture(frames):
            writer.write(frame)
    return spec.path


def check_with_pyav(path: Path, codec: str, rate: Fraction) -> None:
    with av.open(str(path)) as container:
        stream: Any = container.streams.video[0]
        tick = stream.time_base
        packets = [p for p in container.demux(stream) if p.size]
        assert [p.pts * tick for p in packets] == [n / rate for n in range(FRAMES)]
        assert all(p.dts == p.pts for p in packets), "reordered"
        keys = [n for n, p in enumerate(packets) if p.is_keyframe]
        assert keys[0] == 0
        longest = max(1, int(rate)) if codec != "hevc" else max(2, int(rate))
        assert all(b - a <= longest for a, b in zip(keys, [*keys[1:], FRAMES], strict=True))
        assert stream.duration * tick == FRAMES / rate
        assert stream.average_rate == rate
        context = stream.codec_context
        tags = (context.color_primaries, context.color_trc, context.colorspace)
        assert tags == (BT709, BT709, BT709)
        assert context.color_range == NARROW
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        pictures = list(container.decode(stream))
        assert [p.pts * tick for p in pictures] == [n / rate for n in range(FRAMES)]
        assert (pictures[0].width, pictures[0].height) == (160, 128)
        # what the stream itself says, once decoded
        assert {int(p.colorspace) for p in pictures} == {BT709}
        assert {int(p.color_range) for p in pictures} == {NARROW}


@timed(RATES, SOME_RATES)
def test_every_frame_is_at_n_over_rate(tmp_path: Path, codec: str, rate: Fraction) -> None:
    path = write(tmp_path / "clip", codec, rate)
    check_with_pyav(path, codec, rate)
    info = probe(path)
    assert info.rate == info.mean_rate == rate
    assert info.times == tuple(n / rate for n in range(FRAMES))


@timed(ODD_RATES, SOME_ODD_RATES)
def test_rates_out_of_the_ordinary_are_exact_too(
    tmp_path: Path, codec: str, rate: Fraction
) -> None:
    limit = CODECS[codec].max_rate_hz
    if limit is not None and rate > limit:
        with pytest.raises(RequestError, match="at most"):
            write(tmp_path / "clip", codec, rate)
        return
    check_with_pyav(write(tmp_path / "clip", codec, rate), codec, rate)


def least_db(codec: str, *, small: bool = False) -> float:
    """What luma keeps of a texture rougher than any clip (FILES.md); chroma may lie 1 dB lower."""
    if small or codec in ("hevc", "av1"):
        return 43.5
    return 44.5 if codec == "h264" else 45


def test_decoded_codes_are_as_near_as_promised(tmp_path: Path, codec: str) -> None:
    """PSNR = 10 log10(255^2 / mean squared error), per ITU-T J.340; over all frames.

    At a high rate, where x264 spends the fewest bits on a frame.
    """
    path = write(tmp_path / "clip", codec, Fraction(120))
    written = moving_texture(FRAMES)
    read = decoded(path)
    assert len(read) == FRAMES
    if CODECS[codec].exact:
        for a, b in zip(written, read, strict=True):
            assert np.array_equal(a.y, b.y)
            assert np.array_equal(a.cb, b.cb)
            assert np.array_equal(a.cr, b.cr)
        return
    errors = [
        np.mean((a.y.astype(float) - b.y.astype(float)) ** 2)
        for a, b in zip(written, read, strict=True)
    ]
    assert 10 * np.log10(255**2 / np.mean(errors)) >= least_db(codec)
    chroma = [
        np.mean((a.cb.astype(float) - b.cb.astype(float)) ** 2)
        for a, b in zip(written, read, strict=True)
    ]
    assert 10 * np.log10(255**2 / np.mean(chroma)) >= least_db(codec) - 1


def test_the_same_frames_give_the_same_bytes(tmp_path: Path, codec: str) -> None:
    first = write(tmp_path / "one", codec, Fraction(25)).read_bytes()
    second = write(tmp_path / "two", codec, Fraction(25)).read_bytes()
    assert first == second


@pytest.mark.slow
def test_large_pictures_give_the_same_bytes_too(tmp_path: Path, codec: str) -> None:
    """Only large pictures are shared out to all threads, whose order must not show.

    Nor must the number of cores: the encoder may use those that this thread may. So rough pictures,
    hardly blurred, want more bits than H.265's level has, which x265 counts row by row.
    """
    files = [tmp_path / f"{n}{CODECS[codec].suffix}" for n in range(2)]
    rough = moving_texture(12, 1920, 1080, 0.4)
    cores: set[int] = set()
    if sys.platform == "linux":
        cores = os.sched_getaffinity(0)
    try:
        for path in files:
            with VideoWriter(VideoSpec(path, 1920, 1080, Fraction(24), codec)) as writer:
                for frame in rough:
                    writer.write(frame)
            if sys.platform == "linux":
                os.sched_setaffinity(0, {min(cores)})
    finally:
        if sys.platform == "linux":
            os.sched_setaffinity(0, cores)
    assert files[0].read_bytes() == files[1].read_bytes()


@pytest.mark.parametrize("name", [name for name, some in CODECS.items() if some.small])
def test_smaller_files_are_smaller_and_as_good(tmp_path: Path, name: str) -> None:
    frames, spec = moving_texture(8, 640, 360), VideoSpec(Path(), 640, 360, Fraction(24), name)
    written, sizes = list(frames), {}
    for small in (False, True):
        path = tmp_path / f"{small}.mp4"
        with VideoWriter(replace(spec, path=path, small=small)) as writer:
            for frame in written:
                writer.write(frame)
        worst = worst_db((a.y for a in written), (b.y for b in decoded(path)))
        assert worst >= least_db(name, small=small)
        sizes[small] = path.stat().st_size
    assert sizes[True] < 0.95 * sizes[False]
    with pytest.raises(RequestError, match="--small is for h264, hevc"):
        VideoWriter(replace(spec, path=tmp_path / "clip.mp4", codec="vp9", small=True))


def test_the_quantiser_is_given_and_no_frame_is_looked_at_twice(tmp_path: Path) -> None:
    """By x264's own account in the stream: one quantiser for whatever moves, no look ahead.

    To find the quantiser frame by frame takes a quarter of the encoder's time, FILES.md.
    """
    data = write(tmp_path / "clip", "h264", Fraction(25)).read_bytes()
    said = data[data.index(b"options: ") :].split(b"\0")[0].decode("ascii", "replace").split()
    asked = "rc=cqp qp=16 ip_ratio=1.00 bframes=0 weightp=0 cabac=0 8x8dct=1 subme=1"
    for option in asked.split():
        assert option in said, option


def test_index_is_at_the_front(tmp_path: Path, codec: str) -> None:
    """ISO/IEC 14496-12: 'moov' before 'mdat' lets a player start before it has all."""
    data = write(tmp_path / "clip", codec, Fraction(25)).read_bytes()
    assert 0 < data.index(b"moov") < data.index(b"mdat")


def grey(folder: Path, codec: str, size: tuple[int, int], rate: int) -> Path:
    """Two grey pictures: a level goes by their size and rate, not by what they show."""
    path = folder / "clip.mp4"
    with VideoWriter(VideoSpec(path, *size, Fraction(rate), codec)) as writer:
        for _ in range(2):
            writer.write(Planes.blank(*size))
    return path


@pytest.mark.parametrize("codec", ["h264", "hevc", "lossless"])
@pytest.mark.parametrize(
    ("size", "rate", "h264", "hevc"),
    [((640, 360), 24, 30, 90), ((1280, 720), 60, 32, 120), ((1920, 1080), 30, 40, 120)],
)
def test_level_and_profile_in_the_file(
    tmp_path: Path, codec: str, size: tuple[int, int], rate: int, h264: int, hevc: int
) -> None:
    """level_idc is 10 times the level in H.264 and 30 times in H.265 (their Annexes A).

    It is byte 3 of the AVC and byte 12 of the HEVC decoder configuration record (ISO/IEC
    14496-15, from memory; PyAV 17 tells no level).
    """
    path = grey(tmp_path, codec, size, rate)
    with av.open(str(path)) as container:
        stream: Any = container.streams.video[0]
        profile, tag = stream.profile, stream.codec_context.codec_tag
    data = path.read_bytes()
    level = data[data.index(b"hvcC") + 16] if codec == "hevc" else data[data.index(b"avcC") + 7]
    found = (profile, level, tag)
    expected = {
        "h264": ("High", h264, "avc1"),
        "hevc": ("Main", hevc, "hvc1"),
        "lossless": ("High 4:4:4 Predictive", h264, "avc1"),
    }
    assert found == expected[codec]


@pytest.mark.parametrize(("noise", "level"), [(3.0, 30), (10.0, 32)])
def test_a_file_states_a_level_that_its_bits_fit(tmp_path: Path, noise: float, level: int) -> None:
    """ITU-T H.264 Table A-1: of High profile 12.5, 17.5, 25 Mbit/s at level 3, 3.1, 3.2.

    The level is stated in the configuration and in the sequence parameters, and is the one that
    FFmpeg's own reading of the parameters finds.
    """
    path, rng = tmp_path / "clip.mp4", np.random.default_rng(4)
    with VideoWriter(VideoSpec(path, 640, 360, Fraction(24))) as writer:
        for _ in range(24):
            frame = Planes.blank(640, 360)
            frame.y[:] = np.clip(126 + noise * rng.standard_normal(frame.y.shape), 16, 235)
            writer.write(frame)
    bits_s = path.stat().st_size * 8
    assert (bits_s < 12.5e6) if level == 30 else (17.5e6 < bits_s < 25e6), bits_s
    data = path.read_bytes()
    record = data.index(b"avcC") + 4
    assert (data[record + 3], data[record + 11]) == (level, level)
    assert writer.level is not None
    assert writer.level.ten_times == level
    with av.open(str(path)) as container:
        assert sum(1 for _ in container.decode(video=0)) == 24


@pytest.mark.parametrize(
    ("size", "rate"), [((640, 360), 24), ((1280, 720), 120), ((1920, 1080), 24)]
)
@pytest.mark.parametrize("encoder", ["libsvtav1", "libaom-av1"])
def test_av1_level_is_what_the_encoder_finds(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    encoder: str,
    size: tuple[int, int],
    rate: int,
) -> None:
    """seq_level_idx_0, bits 0 to 4 of the second byte of av1C (AV1 in ISO media, 2.3)."""
    only(monkeypatch, encoder)
    data = grey(tmp_path, "av1", size, rate).read_bytes()
    index = data[data.index(b"av1C") + 5] & 31
    level = CODECS["av1"].level(*size, Fraction(rate))
    assert level is not None
    # the table here begins at level 3.0
    assert max((3, 0), (2 + index // 4, index % 4)) == divmod(level.ten_times, 10)


@pytest.mark.parametrize("size", [(1280, 720), (1920, 1080)])
def test_vp9_level_by_size_is_what_the_muxer_writes(tmp_path: Path, size: tuple[int, int]) -> None:
    """Second byte of vpcC after version and flags (VP9 in ISO media); it looks at size only."""
    data = grey(tmp_path, "vp9", size, 24).read_bytes()
    level = CODECS["vp9"].level(*size, Fraction(24))
    assert level is not None
    assert data[data.index(b"vpcC") + 9] == level.ten_times


def test_the_encoder_of_this_machine_is_asked_once(monkeypatch: pytest.MonkeyPatch) -> None:
    assert {"libx264", "prores_ks"} <= available_encoders()
    assert "aac" not in available_encoders()  # that one is for sound
    monkeypatch.setattr("patterns.video.codecs.FfmpegProcess", None)
    assert available_encoders()


def test_what_no_encoder_here_can_make_is_one_line_that_says_what_can_be_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    only(monkeypatch, "libx264", "libaom-av1")
    write(tmp_path / "clip", "av1", Fraction(24), 2)
    with pytest.raises(RequestError, match=r"codec vp9 .* here, but h264, av1, lossless$"):
        write(tmp_path / "clip", "vp9", Fraction(24), 2)
    only(monkeypatch, "mpeg4")
    with pytest.raises(RequestError, match=r"codec h264 .* reinstall imageio-ffmpeg"):
        write(tmp_path / "other", "h264", Fraction(24), 2)


def test_prores_and_unknown_codec(tmp_path: Path) -> None:
    path = write(tmp_path / "clip", "prores", Fraction(25))
    with av.open(str(path)) as container:
        context: Any = container.streams.video[0].codec_context
        assert (context.profile, context.codec_tag) == ("HQ", "apch")
        assert context.pix_fmt == "yuv422p10le"
    with pytest.raises(RequestError, match="allowed are h264, hevc, vp9, av1, prores, lossless"):
        codec_named("mpeg2")


@pytest.mark.parametrize(
    ("rate", "ticks"),
    [
        (Fraction(24), 24_000),
        (Fraction(24_000, 1001), 24_000),
        (Fraction(25, 2), 25_000),
        (Fraction(480), 48_000),
        (Fraction(1, 10), 10_000),
    ],
)
def test_time_scale_makes_frame_times_whole(rate: Fraction, ticks: int) -> None:
    assert ticks_per_second(rate) == ticks
    assert (ticks / rate).denominator == 1


def test_a_rate_that_the_container_cannot_hold_is_refused() -> None:
    with pytest.raises(RequestError, match="simpler fraction"):
        ticks_per_second(Fraction(999_999_999, 40_000_001))
