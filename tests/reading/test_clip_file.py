"""Transcodes and rate conversions of a clip, made with the bundled encoder, read back."""

from __future__ import annotations

import json
import subprocess
from fractions import Fraction as F
from pathlib import Path

import imageio_ffmpeg
import pytest

from patterns.clip import Clip
from patterns.errors import InputError
from patterns.frame_source import frames
from patterns.reading.opened import Given
from patterns.reading.read_file import read_file
from patterns.reading.reading import Reading, to_json
from patterns.safety.files import check_file
from patterns.scenes.bars.motion import BarsMotion
from patterns.video.writer import VideoSpec, VideoWriter

FRAMES = 48
WIDTH, HEIGHT = 640, 360
MOTION = BarsMotion(F(150), F(160), F(80))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with a clip of 24 frames a second in it."""
    place = tmp_path_factory.mktemp("clips")
    clip = Clip(MOTION, F(24), F(1, 48), WIDTH, HEIGHT, FRAMES)
    with VideoWriter(VideoSpec(place / "clip.mp4", WIDTH, HEIGHT, F(24), frames=FRAMES)) as writer:
        for frame in frames(clip):
            writer.write(frame)
    return place


def transcoded(folder: Path, name: str, *words: str) -> Reading:
    target = folder / name
    fast = () if target.suffix == ".gif" else ("-preset", "veryfast")
    subprocess.run(
        [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-y", "-i", str(folder / "clip.mp4"),
         *fast, *words, str(target)],
        check=True,
    )  # fmt: skip
    return read_file(target, Given())


def damaged(path: Path, *, eighths: int = 4, step: int = 701) -> Path:
    """Copy with every `step`th byte changed, from the first eighth up to that many."""
    data = bytearray(path.read_bytes())
    for place in range(len(data) // 8, len(data) * eighths // 8, step):
        data[place] ^= 0x5A
    hurt = path.with_stem(f"hurt-{path.stem}")
    hurt.write_bytes(data)
    return hurt


def test_the_clip_itself_is_as_it_was_made(folder: Path) -> None:
    reading = read_file(folder / "clip.mp4", Given())
    assert reading.kind == "clip"
    assert reading.verdict == (
        "as it was made: every frame once and in order at 24 frames a second, 48 pictures in 2.0 s"
    )
    assert [frame.number for frame in reading.holds] == list(range(FRAMES))
    assert [frame.start_exact for frame in reading.holds] == [F(n, 24) for n in range(FRAMES)]
    assert not reading.warnings


@pytest.mark.parametrize(
    "words",
    [
        ("-vf", "scale=426:240", "-b:v", "300k"),
        ("-vf", "scale=480:270", "-crf", "36"),
        ("-vf", "pad=640:480:0:60", "-crf", "30"),
        ("-vf", "crop=640:300:0:60", "-crf", "30"),
    ],
    ids=["240p at 300 kb/s", "crf 36", "letterboxed", "cropped"],
)
def test_transcodes_are_read_whole(folder: Path, words: tuple[str, ...]) -> None:
    reading = transcoded(folder, "again.mp4", *words)
    assert reading.kind == "clip"
    assert reading.read == reading.pictures == FRAMES
    assert reading.verdict.startswith("as it was made")


def test_repeats_are_found(folder: Path) -> None:
    reading = transcoded(folder, "r.mp4", "-vf", "fps=30,scale=426:240", "-b:v", "300k")
    assert reading.read == reading.pictures
    assert reading.pattern == (2, 1, 1, 1)
    assert len(reading.repeated) == FRAMES / 4
    assert not reading.dropped
    assert not reading.blended
    assert "24 put on a 30 timeline at its own speed: one frame in 4" in reading.explanation[0]


def test_drops_are_found(folder: Path) -> None:
    reading = transcoded(folder, "d.mp4", "-vf", "fps=20", "-b:v", "800k")
    assert reading.pattern == (1, 1, 1, 1, 1, 0)
    assert len(reading.dropped) == FRAMES / 6
    assert {b - a for a, b in zip(reading.dropped, reading.dropped[1:], strict=False)} == {6}
    assert not reading.repeated


@pytest.mark.parametrize("filters", ["framerate=fps=30", "minterpolate=fps=30:mi_mode=blend"])
def test_blends_are_found(folder: Path, filters: str) -> None:
    reading = transcoded(folder, "b.mp4", "-vf", f"{filters}", "-b:v", "700k")
    assert reading.read == reading.pictures
    # four of five are mixtures: 30/24 is 5/4, and only every fifth picture falls on a frame
    assert reading.details["mixed_pictures"] / reading.pictures == pytest.approx(0.8, abs=0.02)
    assert not reading.dropped
    assert "by mixing" in reading.explanation[0]


def test_a_mixture_with_the_neighbour_in_each_picture_is_found(folder: Path) -> None:
    reading = transcoded(folder, "t.mp4", "-vf", "tblend=all_mode=average", "-b:v", "900k")
    assert reading.details["mixed_pictures"] >= 0.95 * reading.read


def test_a_conform_to_another_rate_is_told_from_a_conversion(folder: Path) -> None:
    reading = transcoded(folder, "c.mp4", "-vf", "setpts=N/25/TB", "-r", "25", "-crf", "25")
    assert reading.refresh_hz == 25
    assert not reading.repeated
    assert not reading.dropped
    assert "4.17 % too fast" in reading.explanation[0]


def test_uneven_timestamps_are_kept_and_told(folder: Path) -> None:
    reading = transcoded(
        folder, "v.mkv", "-vf", "select='not(eq(mod(n,7),3))'", "-fps_mode", "vfr", "-crf", "25"
    )
    assert reading.dropped == tuple(range(3, FRAMES, 7))
    assert any("timestamps are not even" in warning for warning in reading.warnings)
    # times in Matroska are whole milliseconds
    assert all(abs(f.start_s - f.number / 24) <= 0.001 for f in reading.holds if f.start_s)


def test_pictures_out_of_order_are_found(folder: Path) -> None:
    reading = transcoded(folder, "o.mp4", "-vf", "shuffleframes=0 2 1 3", "-crf", "25")
    assert len(reading.out_of_order) == FRAMES / 4
    assert not reading.dropped


def test_a_truncated_file_is_read_as_far_as_it_goes(folder: Path) -> None:
    whole = transcoded(folder, "w.mkv", "-crf", "25").pictures
    data = (folder / "w.mkv").read_bytes()
    (folder / "cut.mkv").write_bytes(data[: len(data) // 2])
    reading = read_file(folder / "cut.mkv", Given())
    assert 10 < reading.read < whole
    # only pictures that others depend on may be missing, just before the cut
    assert all(n > reading.holds[-1].number - 16 for n in reading.dropped)


def test_readings_do_not_depend_on_the_run(folder: Path) -> None:
    texts = {json.dumps(to_json(read_file(folder / "clip.mp4", Given()))) for _ in range(2)}
    assert len(texts) == 1


def test_a_trim_without_encoding_is_not_damaged(folder: Path) -> None:
    transcoded(folder, "s.mp4", "-c:v", "libx264", "-g", "24", "-bf", "0")
    target = folder / "trim.mp4"
    subprocess.run(
        [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-y", "-ss", "1.4", "-i",
         str(folder / "s.mp4"), "-c", "copy", str(target)],
        check=True,
    )  # fmt: skip
    reading = read_file(target, Given())
    assert reading.verdict.startswith("as it was made")
    assert reading.holds[0].number == 34  # 1.4 s x 24, rounded up
    assert not reading.warnings


def test_a_file_cut_off_is_not_as_it_was_made(folder: Path) -> None:
    transcoded(folder, "w.mkv", "-crf", "25")
    data = (folder / "w.mkv").read_bytes()
    (folder / "cut.mkv").write_bytes(data[: len(data) * 3 // 5])
    reading = read_file(folder / "cut.mkv", Given())
    assert reading.verdict.startswith("cut off")
    assert any("cut off" in warning for warning in reading.warnings)


def test_a_stream_says_no_more_than_it_can_know_of_its_end(folder: Path) -> None:
    """A part of whole packets of 188 bytes (ISO/IEC 13818-1) may be all that there was."""
    whole = transcoded(folder, "w.ts", "-c", "copy")
    assert whole.verdict.startswith("as far as the file goes, as it was made")
    data = (folder / "w.ts").read_bytes()
    (folder / "cut.ts").write_bytes(data[: len(data) // 2 // 188 * 188 + 100])
    cut = read_file(folder / "cut.ts", Given())
    assert cut.verdict.startswith("cut off")


@pytest.mark.parametrize("crop", ["440:360:0:0", "240:360:200:0", "640:342:0:0"])
def test_what_is_cropped_through_the_strip_invents_nothing(folder: Path, crop: str) -> None:
    """Cut off at either side or through the strip's height: read, or left open; no lost frame."""
    reading = transcoded(folder, "cropped.mp4", "-vf", f"crop={crop}", "-crf", "20")
    claimed = (reading.dropped, reading.repeated, reading.blended, reading.out_of_order)
    assert claimed == ((), (), (), ())
    assert reading.read == FRAMES or "no frame dropped" not in reading.verdict
    assert reading.rate == 24 or not reading.read


@pytest.mark.parametrize("beyond", [100, 0], ids=["within a packet", "between packets"])
def test_what_a_decoder_fills_in_before_a_cut_is_not_claimed(folder: Path, beyond: int) -> None:
    """The last pictures depend on some beyond the cut: an older one comes again in their place.

    A transport stream cut between its packets of 188 bytes looks like a whole one.
    """
    transcoded(folder, "deep.ts", "-bf", "3", "-crf", "20")
    data = (folder / "deep.ts").read_bytes()
    begins = ("cut off",) if beyond else ("cut off", "as far as the file goes")
    for part in range(60, 99, 3):
        end = len(data) * part // 100 // 188 * 188 + beyond
        (folder / "cut.ts").write_bytes(data[:end])
        reading = read_file(folder / "cut.ts", Given())
        assert (reading.dropped, reading.repeated) == ((), ())
        assert "every frame once" not in reading.verdict or not reading.unseen
        assert reading.verdict.startswith(begins)


def test_a_gif_without_its_trailer_is_cut_off(folder: Path) -> None:
    """Its decoder repeats the last whole picture without a word (trailer: GIF89a, section 27)."""
    transcoded(folder, "w.gif", "-vf", "format=gray", "-t", "2", "-r", "25")
    data = (folder / "w.gif").read_bytes()
    (folder / "cut.gif").write_bytes(data[: len(data) * 3 // 5])
    reading = read_file(folder / "cut.gif", Given())
    assert reading.verdict.startswith("cut off")
    assert reading.holds[-1].number not in reading.repeated


def test_parts_put_one_behind_the_other_have_two_clocks(folder: Path) -> None:
    """Nothing is reckoned from times that go back: seconds came out below zero."""
    transcoded(folder, "part.ts", "-c", "copy")
    data = (folder / "part.ts").read_bytes()
    (folder / "joined.ts").write_bytes(data + data)
    for judge in (lambda path: read_file(path, Given()), check_file):
        with pytest.raises(InputError, match="joined from parts, or is damaged"):
            judge(folder / "joined.ts")


def test_a_damaged_file_tells_nothing_of_drops(folder: Path) -> None:
    transcoded(folder, "whole.mp4", "-crf", "20", "-g", "96")
    whole = folder / "whole.mp4"
    hurt = damaged(whole, eighths=7, step=whole.stat().st_size // 32)
    reading = read_file(hurt, Given(kind="clip"))
    assert not reading.dropped
    assert not reading.repeated
    assert "damaged" in reading.verdict or not reading.read


def test_a_damaged_file_is_read_alike_each_time(folder: Path) -> None:
    clip = folder / "clip.mp4"
    hurt = damaged(clip, eighths=7, step=clip.stat().st_size // 14)
    assert len({json.dumps(to_json(read_file(hurt, Given(kind="clip")))) for _ in range(6)}) == 1


def test_an_animation_of_24_counts_in_hundredths(folder: Path) -> None:
    reading = transcoded(folder, "a.gif", "-vf", "format=gray")
    # GIF89a, section 23: delays are in 1/100 s, so that 24 frames a second last 4, 4, 5, ...
    assert {round(100 * hold.hold_s) for hold in reading.holds} == {4, 5}
    assert reading.error is not None
    assert 2 < reading.error.rms_ms < 5
    assert not reading.verdict.startswith("as it was made")


def test_the_makers_tag_gives_true_seconds(folder: Path) -> None:
    """Each frame in 10 pictures: 24 a second taken at 240, stored at 30."""
    target = folder / "slow.mp4"
    subprocess.run(
        [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-y", "-i", str(folder / "clip.mp4"),
         "-vf", "fps=240,setpts=N/30/TB", "-r", "30", "-frames:v", "240", "-preset", "veryfast",
         "-movflags", "use_metadata_tags", "-metadata", "com.android.capture.fps=240.000000",
         str(target)],
        check=True,
    )  # fmt: skip
    reading = read_file(target, Given(kind="recording"))
    assert reading.capture_hz == pytest.approx(240)
    assert reading.seconds == pytest.approx(239 / 240)


def test_damage_that_hides_the_strip_is_not_read_as_footage(folder: Path) -> None:
    transcoded(folder, "no-strip.mp4", "-vf", "crop=640:250:0:0", "-crf", "20", "-g", "96")
    hurt = damaged(folder / "no-strip.mp4")
    with pytest.raises(InputError, match="damaged"):
        read_file(hurt, Given())


def test_what_may_be_a_clip_or_a_recording_is_said_to_be_either(folder: Path) -> None:
    """A pixel off straight: a clip that an editor turned, or a screen filmed with great care."""
    reading = transcoded(folder, "turned.mp4", "-vf", "pad=760:480:60:60,rotate=0.0018")
    assert (reading.kind, reading.details["kind_sure"]) == ("recording", False)
    assert reading.verdict.startswith("not sure whether a clip or a recording of a screen")
    asked = read_file(folder / "turned.mp4", Given(kind="recording"))
    assert reading.verdict.endswith(asked.verdict)


def test_a_hand_that_drifts_loses_no_picture(folder: Path) -> None:
    """The strip is read in a part of the picture, and in the whole once it has moved too far."""
    canvas = "fps=120,scale=1280:720,pad=1280:1440:0:200,rotate=0.01"
    reading = transcoded(
        folder, "drifting.mp4", "-vf", f"{canvas},crop=1280:960:0:'clip(n-30,0,200)'"
    )
    assert reading.kind == "recording"
    assert (reading.read, reading.pictures) == (240, 240)
    assert not reading.dropped


def test_what_lies_askew_in_a_damaged_file_is_no_recording_for_sure(folder: Path) -> None:
    """Damage smears the strip's edges: off straight by that much, a clip looks filmed."""
    transcoded(
        folder, "askew.mp4", "-vf", "pad=760:480:60:60,rotate=0.01", "-crf", "20", "-g", "96"
    )
    hurt = damaged(folder / "askew.mp4")
    with pytest.raises(InputError, match="whether it is a clip or a recording"):
        read_file(hurt, Given())
    asked = read_file(hurt, Given(kind="recording"))
    assert asked.kind == "recording"
    assert any("damaged" in warning for warning in asked.warnings)


def test_a_strip_that_moves_is_followed(folder: Path) -> None:
    """From the band in which it lay to where it is afterwards, without losing a picture."""
    shifted = r"pad=640:400:0:20,crop=640:360:0:'if(lt(n,40),30,40)'"
    reading = transcoded(folder, "moved.mp4", "-vf", shifted, "-crf", "12")
    assert (reading.kind, reading.read, reading.unread) == ("clip", reading.pictures, ())
    assert not reading.dropped


@pytest.mark.skipif(not Path("/proc/self/io").exists(), reason="nowhere else is it counted")
def test_only_the_strip_leaves_the_decoder(folder: Path) -> None:
    """What this process takes in over a clip is a small part of its pictures' luma."""

    def taken() -> int:
        return int(Path("/proc/self/io").read_text().split()[1])

    before = taken()
    assert read_file(folder / "clip.mp4", Given()).read == FRAMES
    assert taken() - before < 0.5 * FRAMES * WIDTH * HEIGHT
