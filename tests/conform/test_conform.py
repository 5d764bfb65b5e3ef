"""Conformed files, opened by PyAV: the same pictures at exact times, and all that goes along."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from patterns.conform.conform import Conformed, conform_file, name_of_result
from patterns.conform.footage import Request, look_at
from patterns.conform.movie import Movie
from patterns.conform.track import Track
from patterns.errors import InputError, RequestError
from tests.conform.footage import CODECS, PICTURES, SOUND, ffmpeg, see, shoot

F = Fraction
BY_CODEC = [*CODECS]


@contextmanager
def unseen(_: str) -> Iterator[object]:
    yield lambda *_: None


def conform(source: Path, rate: str | None, **options: object) -> Conformed:
    request = Request(F(rate) if rate else None, **{"keep_repeats": True, **options})  # type: ignore[arg-type]
    footage = look_at(source, request, unseen)  # type: ignore[arg-type]
    target = source.with_name(name_of_result(source, footage, request.rate or footage.rate))
    return conform_file(source, target, footage, request, unseen)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def shot(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """H.264 at 24 with pictures that refer to later ones, sound and all sorts of tags."""
    return shoot(
        tmp_path_factory.mktemp("shot") / "tarn-orbit.mp4",
        *("-timecode", "01:00:00:10", "-metadata", "location=+54.3+001.9/"),
        *("-metadata", "creation_time=2026-05-01T10:00:00Z"),
        *("-vf", "setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv"),
    )


@pytest.mark.parametrize(  # the clock is made for the rate alone, whatever the codec
    ("codec", "rate"),
    [*((codec, "30000/1001") for codec in BY_CODEC), (BY_CODEC[0], "30")],
)
def test_every_picture_is_the_same_at_its_exact_time(codec: str, rate: str, tmp_path: Path) -> None:
    source = shoot(tmp_path / codec, codec=codec, seconds=1)
    before = see(source)
    after = see(conform(source, rate).target)
    assert after.hashes == before.hashes
    assert after.packets == before.packets  # nothing was coded anew
    assert len(set(after.hashes)) == 24
    assert after.times == [n / F(rate) for n in range(24)]
    assert after.rate == F(rate)
    assert before.times == [F(n, 24) for n in range(24)]


def test_clock_that_does_not_divide_the_rate_leaves_no_trace(shot: Path) -> None:
    """12,288 ticks a second hold no 1/30 s: kept, the times would be 409 and 410 ticks apart."""
    with av.open(str(shot)) as container:
        assert container.streams.video[0].time_base == F(1, 12288)
    for rate in ("30", "25", "60", "24000/1001"):
        assert see(conform(shot, rate, force=True).target).times == [n / F(rate) for n in range(48)]


@pytest.mark.parametrize("rate", ["30", "12", "6", "24000/1001"])
@pytest.mark.parametrize("sound", ["keep-pitch", "with-speed"])
def test_sound_is_as_long_as_the_pictures(sound: str, rate: str, shot: Path) -> None:
    found = see(conform(shot, rate, sound=sound, force=True).target)
    assert found.sound_s is not None
    assert found.seconds == pytest.approx(48 / float(F(rate)), abs=1e-6)
    assert abs(found.sound_s - found.seconds) < 1 / F(rate)


@pytest.mark.parametrize(("sound", "pitch_hz"), [("keep-pitch", 440), ("with-speed", 550)])
def test_pitch_of_a_tone(sound: str, pitch_hz: float, shot: Path) -> None:
    target = conform(shot, "30", sound=sound, force=True).target
    with av.open(str(target)) as container:
        stream = container.streams.audio[0]
        heard = np.concatenate([f.to_ndarray()[0] for f in container.decode(stream)])[8000:56000]
        spectrum = np.abs(np.fft.rfft(heard * np.hanning(len(heard))))
        found_hz = int(spectrum.argmax()) * stream.sample_rate / len(heard)
    assert found_hz == pytest.approx(pitch_hz, abs=2)


def test_sound_that_begins_later_keeps_its_place(shot: Path, tmp_path: Path) -> None:
    late = tmp_path / "late.mp4"
    ffmpeg("-itsoffset", "0.5", "-i", shot, "-i", shot, "-map", "1:v", "-map", "0:a",
           "-c", "copy", late)  # fmt: skip
    with av.open(str(conform(late, "30").target)) as container:
        stream = container.streams.audio[0]
        heard = np.concatenate([f.to_ndarray()[0] for f in container.decode(stream)])
        loud = np.flatnonzero(np.abs(heard) > 0.05)
    assert loud[0] / stream.sample_rate == pytest.approx(0.5 * 24 / 30, abs=0.04)


def test_sound_beyond_the_pictures_ends_with_them_and_is_named(tmp_path: Path) -> None:
    source = tmp_path / "tarn.mp4"
    ffmpeg(
        *("-f", "lavfi", "-i", PICTURES.format(rate=24, seconds=1)),
        *("-f", "lavfi", "-i", SOUND.format(seconds=3), "-c:v", *CODECS["h264.mp4"]),
        source,
    )
    done = conform(source, "30")
    assert done.lost == ("the last 2 s of the sound: there are no pictures",)
    assert see(done.target).sound_s == pytest.approx(0.8, abs=1 / 30)
    assert conform(source, "25", sound="drop").lost == ()


def test_dropped_sound_is_gone_from_the_file(shot: Path) -> None:
    with_sound = conform(shot, "30", force=True).target.stat().st_size
    done = conform(shot, "30", sound="drop", force=True)
    found = see(done.target)
    assert found.kinds == ["video", "data"]
    assert done.target.stat().st_size < with_sound - 10_000
    assert done.sound == "drop"


def test_tags_timecode_and_place_are_kept(shot: Path) -> None:
    before, done = see(shot), conform(shot, "30", force=True)
    after = see(done.target)
    for name in ("creation_time", "location", "timecode"):
        assert after.tags[name] == before.tags[name], name
    assert after.tags["timecode"] == "01:00:00:10"
    assert {"creation date", "place", "timecode"} <= set(done.kept)
    assert done.lost == ()
    with av.open(str(done.target)) as container:
        context = container.streams.video[0].codec_context
        # ITU-T H.273: BT.709 has number 1 in all three
        assert (context.color_primaries, context.color_trc, context.colorspace) == (1, 1, 1)


def test_timecode_that_the_rate_cannot_say_is_named(shot: Path) -> None:
    """Frame 10 of a second does not exist at 10 frames a second."""
    done = conform(shot, "10", force=True)
    assert any("timecode" in what for what in done.lost)
    assert "timecode" not in see(done.target).tags


def test_drop_frame_timecode_keeps_its_label(tmp_path: Path) -> None:
    """SMPTE ST 12-1: at 29.97 the labels ;00 and ;01 are left out each minute but each tenth."""
    source = shoot(tmp_path / "df.mp4", "-timecode", "01:01:00;02", rate="30000/1001", seconds=1)
    assert see(source).tags["timecode"] == "01:01:00;02"
    assert see(conform(source, "30").target).tags["timecode"] == "01:01:00:02"


def test_rotation_is_kept(shot: Path, tmp_path: Path) -> None:
    turned = tmp_path / "turned.mp4"
    ffmpeg("-display_rotation:v:0", "90", "-i", shot, "-map", "0:v", "-c", "copy", turned)
    done = conform(turned, "30")
    assert "rotation" in done.kept
    for path in (turned, done.target):
        with av.open(str(path)) as container:
            frame = next(container.decode(container.streams.video[0]))
            assert abs(frame.rotation) == 90


def test_hdr_tags_are_kept(tmp_path: Path) -> None:
    """Mastering display and content light level of SMPTE ST 2086 and CTA-861.3."""
    light = "master-display=G(13250,34500)B(7500,3000)R(34000,16000)WP(15635,16450)L(10000000,1)"
    source = tmp_path / "hdr.mp4"
    ffmpeg(
        *("-f", "lavfi", "-i", "testsrc2=size=320x180:rate=24:duration=0.5"),
        *("-c:v", "libx265", "-pix_fmt", "yuv420p10le", "-preset", "ultrafast", "-tag:v", "hvc1"),
        *("-x265-params", f"log-level=none:hdr10=1:{light}:max-cll=1000,400:colorprim=bt2020:"
          "transfer=smpte2084:colormatrix=bt2020nc"),
        *("-color_primaries", "bt2020", "-color_trc", "smpte2084", "-colorspace", "bt2020nc"),
        source,
    )  # fmt: skip
    done = conform(source, "30")
    with av.open(str(done.target)) as container:
        context = container.streams.video[0].codec_context
        assert (context.color_primaries, context.color_trc, context.colorspace) == (9, 16, 9)
        side_data: Any = next(container.decode(container.streams.video[0])).side_data
        # by name: what their container gives one after the other differs between PyAV's versions
        assert side_data.get("MASTERING_DISPLAY_METADATA")
        assert side_data.get("CONTENT_LIGHT_LEVEL")
    assert see(source).hashes == see(done.target).hashes


def test_a_clip_trimmed_by_an_edit_list_shows_what_it_showed(shot: Path, tmp_path: Path) -> None:
    """Cut off a keyframe: the file holds earlier pictures, and its edit list hides them."""
    cut = tmp_path / "cut.mp4"
    ffmpeg("-ss", "0.5", "-i", shot, "-c", "copy", cut)
    before, after = see(cut), see(conform(cut, "30").target)
    assert before.hashes == after.hashes
    assert len(after.times) < 48
    assert after.times == [F(n, 30) for n in range(len(after.times))]


@pytest.mark.parametrize("name", ["packed.mkv", "packed.ts", "pieces.mp4"])
def test_other_containers_and_fragments_are_packed_first(
    name: str, shot: Path, tmp_path: Path
) -> None:
    other = tmp_path / name
    pieces = ("-movflags", "frag_keyframe+empty_moov") if name == "pieces.mp4" else ()
    ffmpeg("-i", shot, "-map", "0:v", "-map", "0:a", "-c", "copy", *pieces, other)
    done = conform(other, "30")
    found = see(done.target)
    assert found.hashes == see(shot).hashes
    assert found.times == [F(n, 30) for n in range(48)]
    assert done.target.suffix == ".mp4"
    assert done.lost
    assert found.sound_s == pytest.approx(1.6, abs=1 / 30)
    assert done.sound == "keep-pitch"


def test_data_beside_the_pictures_keeps_in_step(shot: Path, tmp_path: Path) -> None:
    words = tmp_path / "words.srt"
    words.write_text("1\n00:00:01,000 --> 00:00:01,500\nTarn Hollow\n", encoding="utf-8")
    source = tmp_path / "words.mp4"
    ffmpeg("-i", shot, "-i", words, "-map", "0:v", "-map", "1", "-c:v", "copy",
           "-c:s", "mov_text", source)  # fmt: skip
    with av.open(str(conform(source, "30").target)) as container:
        stream: Any = container.streams.subtitles[0]
        said: list[Any] = [p for p in container.demux(stream) if p.size > 2]
        assert [p.pts * stream.time_base for p in said] == [F(4, 5)]
        assert [p.duration * stream.time_base for p in said] == [F(2, 5)]


def variable(shot: Path, tmp_path: Path) -> Path:
    """24 a second with every fifth picture 9 ms late."""
    path = tmp_path / "phone.mp4"
    late = "setts=pts=if(eq(mod(N\\,5)\\,0)\\,PTS+0.009/TB\\,PTS):dts=DTS"
    ffmpeg("-i", shot, "-map", "0:v", "-c", "copy", "-bsf:v", late, path)
    return path


def test_variable_rate_is_refused_and_evened_out(shot: Path, tmp_path: Path) -> None:
    source = variable(shot, tmp_path)
    with pytest.raises(RequestError, match=r"variable frame rate: .*--even-out .*24 fps"):
        conform(source, "30")
    done = conform(source, "30", even_out=True)
    assert see(done.target).times == [F(n, 30) for n in range(48)]
    moved_s = look_at(source, Request(F(30), even_out=True), unseen).moved_s  # type: ignore[arg-type]
    assert moved_s is not None
    assert float(moved_s) == pytest.approx(0.009, abs=2e-4)
    again = conform(source, None, even_out=True)
    assert see(again.target).times == [F(n, 24) for n in range(48)]


@pytest.mark.parametrize(
    ("encoder", "rate", "needed"),
    [("libx264", "60", "3.2"), ("libx265", "60", "4"), ("libx264", "25", "")],
)
def test_a_level_too_low_for_the_new_rate_is_named(
    tmp_path: Path, encoder: str, rate: str, needed: str
) -> None:
    """1280x720 at 24 and 25 fits level 3.1, at 60 it does not.

    Rec. ITU-T H.264, Table A-1: 3600 macroblocks x 60 = 216000 > 108000 of level 3.1, as level
    3.2 allows. H.265, Table A.8: 921600 x 60 = 55296000 > 33177600, within level 4 (from memory).
    """
    source = tmp_path / "tarn.mp4"
    level = ("-level", "3.1") if encoder == "libx264" else ("-tag:v", "hvc1")
    ffmpeg("-f", "lavfi", "-i", "testsrc2=size=1280x720:rate=24:duration=0.25", "-c:v", encoder,
           *level, "-preset", "ultrafast", "-pix_fmt", "yuv420p", source)  # fmt: skip
    done = conform(source, rate)
    named = [what for what in done.lost if what.startswith("the level")]
    assert len(named) == bool(needed)
    assert all(f"asks for {needed}, the stream states 3.1" in what for what in named)
    assert see(done.target).hashes == see(source).hashes


def test_nothing_to_do_is_said(shot: Path) -> None:
    with pytest.raises(RequestError, match="plays at 24 fps already"):
        conform(shot, "24")


def test_damaged_files_are_refused_in_one_line(shot: Path, tmp_path: Path) -> None:
    """A byte changed anywhere in the index, or the end missing: no other exception comes out."""
    data = bytearray(shot.read_bytes())
    index = data.index(b"moov")
    path = tmp_path / "bad.mp4"
    outcomes = set()
    for place in range(index + 4, len(data), 61):
        broken = bytearray(data)
        broken[place] ^= 0x55
        path.write_bytes(broken)
        outcomes.add(damage_outcome(path))
    path.write_bytes(data[: index // 2])
    assert damage_outcome(path) is InputError
    assert InputError in outcomes


def damage_outcome(path: Path) -> type[Exception] | None:
    try:
        Movie.read(path).picture.set_rate(F(30), 30000)
    except InputError as error:
        return InputError if "\n" not in str(error) else None
    return None


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        # ISO/IEC 14496-12, 8.7.2: flag 1 says that the samples are in this file
        (b"url \0\0\0\1", b"url \0\0\0\0", "another file"),
        # ISO/IEC 14496-12, 8.12: a protected description of pictures is called encv
        (b"avc1\0\0\0\0\0\0\0\1", b"encv\0\0\0\0\0\0\0\1", "encrypted"),
    ],
)
def test_what_cannot_be_copied_is_refused(
    old: bytes, new: bytes, said: str, shot: Path, tmp_path: Path
) -> None:
    path = tmp_path / "foreign.mp4"
    assert old in shot.read_bytes()
    path.write_bytes(shot.read_bytes().replace(old, new))
    with pytest.raises(InputError, match=said):
        Movie.read(path)


def test_edits_with_several_stretches_are_refused(shot: Path) -> None:
    picture = Movie.read(shot).picture
    (edit,) = picture._edits()
    picture._put_edits([edit, edit])
    with pytest.raises(InputError, match="edit list cuts"):
        picture.set_rate(F(30), 30_000)


def test_places_beyond_four_gigabytes_are_said_in_64_bits(shot: Path) -> None:
    movie = Movie.read(shot)
    far = [(1 << 33) + n for n in range(len(movie.picture.offsets))]
    movie.picture.place_chunks(far, wide=True)
    assert Track(movie.picture.trak, movie.picture.movie_ticks).offsets.tolist() == far
    assert movie.picture.stbl.find(b"stco") is None
