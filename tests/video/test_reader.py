"""Files read back: exact times, no picture invented or lost, hostile files in one line."""

from __future__ import annotations

import random
import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from PIL import Image

from patterns.errors import InputError
from patterns.picture.planes import Planes
from patterns.video.probe import exact_rate, probe
from patterns.video.process import ffmpeg_path
from patterns.video.reader import Bottom, Crop, luma_decoder, read_luma, ycbcr_decoder
from patterns.video.writer import VideoSpec, VideoWriter
from tests.video.moving import moving_texture
from tests.video.test_failures import processes_that_name, zombies


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("clip") / "clip.mp4"
    with VideoWriter(VideoSpec(path, 160, 128, Fraction(30_000, 1001), "lossless")) as writer:
        for frame in moving_texture(30):
            writer.write(frame)
    return path


def jittered(path: Path, ticks: list[int]) -> None:
    """A recording with variable timestamps, in a clock of 1/90000 s, made by PyAV."""
    with av.open(str(path), "w") as container:
        stream: Any = container.add_stream("libx264", rate=60, options={"crf": "10"})
        stream.width, stream.height, stream.pix_fmt = 64, 64, "yuv420p"
        stream.codec_context.time_base = stream.time_base = Fraction(1, 90_000)
        for n, tick in enumerate(ticks):
            frame = av.VideoFrame.from_ndarray(np.full((96, 64), 16 + n % 200, np.uint8), "yuv420p")
            frame.pts, frame.time_base = tick, Fraction(1, 90_000)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())


def test_times_of_a_variable_recording_are_exact(tmp_path: Path) -> None:
    """60 pictures a second, each up to 8 ms early or late, and one gap; with B-frames."""
    rng = random.Random(5)
    ticks = sorted({1500 * n + rng.randint(-700, 700) for n in range(1, 241) if n != 77})
    path = tmp_path / "phone.mp4"
    jittered(path, ticks)
    with av.open(str(path)) as container:
        stream: Any = container.streams.video[0]
        expected = [f.pts * stream.time_base for f in container.decode(stream)]
    found = list(read_luma(path))
    assert [time_s for time_s, _ in found] == expected
    assert len(found) == len(ticks)
    assert [int(luma[9, 9]) for _, luma in found] == [16 + n % 200 for n in range(len(ticks))]
    info = probe(path)
    assert info.times == tuple(expected)
    assert info.rate is None
    assert info.mean_rate == (len(ticks) - 1) / (expected[-1] - expected[0])


def test_luma_is_the_file_s_own(clip: Path) -> None:
    pairs = list(read_luma(clip))
    assert [time_s for time_s, _ in pairs] == [n * Fraction(1001, 30_000) for n in range(30)]
    for (_, luma), frame in zip(pairs, moving_texture(30), strict=True):
        assert np.array_equal(luma, frame.y)


def test_crop_and_size(clip: Path) -> None:
    whole = moving_texture(30)[0].y
    _, part = next(read_luma(clip, crop=Crop(3, 5, 101, 90)))
    assert np.array_equal(part, whole[5:95, 3:104])
    _, small = next(ycbcr_decoder(clip, (80, 64), "bt709").pictures())
    means = whole.reshape(64, 2, 80, 2).mean((1, 3))
    assert np.abs(small[0] - means).max() <= 1


@pytest.mark.parametrize("size", [(128, 128), (322, 242), (640, 98), (98, 130), (180, 320)])
def test_the_bottom_is_known_without_the_size(tmp_path: Path, size: tuple[int, int]) -> None:
    path = tmp_path / "clip.mp4"
    frame = Planes.blank(*size)
    frame.y[:] = np.arange(16, 16 + size[1]).astype(np.uint8)[:, np.newaxis]
    with VideoWriter(VideoSpec(path, *size, Fraction(25), "lossless")) as writer:
        writer.write(frame)
    crop = Bottom.of(*size)
    assert (crop.left, crop.width, crop.top + crop.height) == (0, *size)
    _, part = next(luma_decoder(path, crop=Bottom()).pictures())
    assert np.array_equal(part, frame.y[crop.top :])


# Narrow-range Y', Cb, Cr of 100 % red, 8 bits, in BT.601 and BT.709 (computed from Kr and Kb;
# those of BT.709 as in a test chart's table).
RED_601, RED_709 = (81, 90, 240), (63, 102, 240)


def test_colours_of_other_matrices_come_out_as_bt709(tmp_path: Path) -> None:
    path = tmp_path / "red.mp4"
    with VideoWriter(VideoSpec(path, 128, 128, Fraction(25), "lossless")) as writer:
        frame = Planes.blank(128, 128)
        frame.y[:], frame.cb[:], frame.cr[:] = RED_601
        writer.write(frame)
    _, codes = next(ycbcr_decoder(path, (64, 32), "bt601").pictures())
    assert codes.shape == (3, 32, 64)
    assert np.abs(codes.astype(int) - np.reshape(RED_709, (3, 1, 1))).max() <= 1
    _, codes = next(ycbcr_decoder(path, (64, 32), "bt709").pictures())
    assert (codes == np.reshape(RED_601, (3, 1, 1))).all()


def test_colours_of_an_animation_come_out_as_bt709(tmp_path: Path) -> None:
    """R'G'B' has no matrix of its own, whatever is said of it."""
    path = tmp_path / "red.png"
    Image.new("RGB", (64, 64), (255, 0, 0)).save(path)
    _, codes = next(ycbcr_decoder(path, (64, 32), "bt601").pictures())
    assert np.abs(codes.astype(int) - np.reshape(RED_709, (3, 1, 1))).max() <= 1


def test_full_range_recordings_come_out_narrow(tmp_path: Path) -> None:
    """Phones write full range: 0 and 255 must become 16 and 235."""
    path = tmp_path / "full.mp4"
    with av.open(str(path), "w") as container:
        stream: Any = container.add_stream("libx264", rate=30, options={"crf": "1"})
        stream.width, stream.height, stream.pix_fmt = 64, 64, "yuvj420p"
        for value in (0, 255):
            planes = np.full((96, 64), 128, np.uint8)
            planes[:64] = value
            container.mux(stream.encode(av.VideoFrame.from_ndarray(planes, "yuvj420p")))
        container.mux(stream.encode())
    assert probe(path).colour_range == "pc"
    black, white = (luma for _, luma in read_luma(path))
    assert abs(int(black[9, 9]) - 16) <= 1
    assert abs(int(white[9, 9]) - 235) <= 1


def test_rotation_is_applied_and_told(clip: Path, tmp_path: Path) -> None:
    turned = tmp_path / "upright.mp4"
    command = [ffmpeg_path(), "-v", "error", "-display_rotation", "90", "-i", str(clip)]
    subprocess.run([*command, "-c", "copy", str(turned)], check=True)
    info = probe(turned)
    assert (info.width, info.height) == (128, 160)
    assert info.rotation_deg in (90, 270)
    _, luma = next(read_luma(turned))
    assert luma.shape == (160, 128)
    turns = 1 if info.rotation_deg == 270 else -1  # counter-clockwise, as numpy turns
    assert np.array_equal(luma, np.rot90(moving_texture(30)[0].y, turns))


def test_facts_of_a_clip(clip: Path) -> None:
    info = probe(clip)
    assert (info.width, info.height, info.pictures) == (160, 128, 30)
    assert (info.codec, info.profile) == ("h264", "High 4:4:4 Predictive")
    assert (info.primaries, info.transfer, info.matrix) == ("bt709", "bt709", "bt709")
    assert (info.pixel_format, info.colour_range) == ("yuv420p", "tv")
    assert info.duration_s == 30 * Fraction(1001, 30_000)
    assert info.rotation_deg == 0


@pytest.mark.parametrize(
    "rate", [Fraction(24_000, 1001), Fraction(24), Fraction(60_000, 1001), Fraction(25, 2)]
)
def test_rate_behind_a_clock_of_one_millisecond(rate: Fraction) -> None:
    """Matroska and WebM round every time to 1 ms; 400 pictures tell 24 from 23.976."""
    times = [Fraction(round(1000 * n / rate), 1000) for n in range(400)]
    assert exact_rate(times, Fraction(1, 1000)) == rate


def test_uneven_times_have_no_rate() -> None:
    times = [Fraction(n, 60) for n in range(60) if n != 30]
    assert exact_rate(times, Fraction(1, 90_000)) is None
    assert exact_rate([Fraction(0)], Fraction(1, 90_000)) is None


def test_pictures_that_stay_for_seconds_have_a_rate_too() -> None:
    """A slide show, or a broken animation that says so."""
    slides = [Fraction(3 * n) for n in range(4)]
    assert exact_rate(slides, Fraction(1, 1000)) == Fraction(1, 3)
    assert exact_rate([Fraction(0), Fraction(10**7)], Fraction(1, 1000)) == Fraction(1, 10**7)
    assert exact_rate([Fraction(0), Fraction(5), Fraction(60)], Fraction(1, 1000)) is None


def test_early_exit_leaves_no_process(clip: Path) -> None:
    pictures = read_luma(clip)
    next(pictures)
    pictures.close()
    for _ in ycbcr_decoder(clip, (80, 64), "bt709").pictures():
        break
    if sys.platform == "linux":
        assert not processes_that_name(str(clip))
        assert not zombies()


def test_a_file_that_is_cut_off_gives_what_it_has(tmp_path: Path) -> None:
    path = tmp_path / "whole.mp4"
    with VideoWriter(VideoSpec(path, 160, 128, Fraction(25))) as writer:
        for frame in moving_texture(30):
            writer.write(frame)
    cut = tmp_path / "cut.mp4"
    whole = path.read_bytes()
    cut.write_bytes(whole[: len(whole) // 2])
    found = [time_s for time_s, _ in read_luma(cut)]
    assert 3 < len(found) < 30
    assert found == [Fraction(n, 25) for n in range(len(found))]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b"Tarn Hollow, second survey flight\n" * 50, "cannot be read as video"),
        (b"\x00\x00\x00\x20ftypisom" + bytes(5000), "cannot be read as video"),
        (bytes(range(256)) * 40, "cannot be read as video"),
    ],
    ids=["empty", "text", "header only", "bytes"],
)
def test_hostile_files_get_one_line(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "odd.mp4"
    path.write_bytes(content)
    for ask in (probe, lambda p: next(read_luma(p))):
        with pytest.raises(InputError, match=words) as error:
            ask(path)
        assert "\n" not in str(error.value)


def test_files_that_are_none(tmp_path: Path) -> None:
    sound = tmp_path / "sound.wav"
    command = [ffmpeg_path(), "-v", "error", "-f", "lavfi", "-i", "sine=duration=0.2"]
    subprocess.run([*command, str(sound)], check=True)
    for path, words in (
        (tmp_path / "none.mp4", "does not exist"),
        (tmp_path, "is a folder"),
        (sound, "holds no video"),
    ):
        with pytest.raises(InputError, match=words):
            probe(path)
        with pytest.raises(InputError, match=words):
            next(read_luma(path))


@pytest.mark.parametrize("side", [11_600, 16_400])  # beyond our limit, and beyond the decoder's
def test_a_giant_picture_is_refused(tmp_path: Path, side: int) -> None:
    path = tmp_path / "giant.png"
    Image.new("1", (side, side)).save(path)  # one bit a pixel: soon written
    with pytest.raises(InputError, match=f"pictures of {side}x{side}: that is too large"):
        next(read_luma(path))


def test_a_picture_that_changes_its_size_midway_keeps_the_first(tmp_path: Path) -> None:
    """Two streams of different size in one file, as some phones and captures leave them."""
    parts = []
    for n, side in enumerate((64, 128)):
        parts.append(tmp_path / f"{n}.ts")
        source = f"testsrc2=size={side}x{side}:rate=25:duration=0.4"
        command = [ffmpeg_path(), "-v", "error", "-f", "lavfi", "-i", source, "-c:v", "libx264"]
        on_one_clock = ("-bf", "0", "-output_ts_offset", str(0.4 * n))
        subprocess.run([*command, *on_one_clock, str(parts[-1])], check=True)
    both = tmp_path / "both.ts"
    both.write_bytes(b"".join(part.read_bytes() for part in parts))
    shapes = [luma.shape for _, luma in read_luma(both)]
    assert set(shapes) == {(64, 64)}
    assert len(shapes) == 20


def test_memory_does_not_grow_with_length(tmp_path: Path) -> None:
    """Resident memory after 60 and after 600 pictures of 480x270, in a process of its own."""
    path = tmp_path / "long.mp4"
    grey = Planes.blank(480, 270)
    with VideoWriter(VideoSpec(path, 480, 270, Fraction(240))) as writer:
        for _ in range(600):
            writer.write(grey)
    code = (
        "import resource, sys\n"
        "from patterns.video.reader import read_luma\n"
        "for n, _ in enumerate(read_luma(sys.argv[1])):\n"
        "    if n in (60, 599): print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)\n"
    )
    if sys.platform != "linux":
        pytest.skip("ru_maxrss has other units elsewhere")
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
    )
    early, late = map(int, done.stdout.split())
    assert late - early < 8_000, "kilobytes; 540 pictures are 70,000"
