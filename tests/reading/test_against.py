"""Published copies beside their original: made here from frames whose fate is known."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from patterns.cli import main
from patterns.errors import InputError
from patterns.picture.arrays import Float32Array
from patterns.reading.against import Against, Film, against, against_json, compare_copy, load
from tests.conform.footage import ffmpeg
from tests.reading.edits import encode
from tests.video.moving import moving_texture

F = Fraction
FRAMES = 48


@pytest.fixture(scope="module")
def frames() -> list[Float32Array]:
    return [frame.y.astype(np.float32) for frame in moving_texture(FRAMES, 320, 180)]


@pytest.fixture(scope="module")
def original(frames: list[Float32Array], tmp_path_factory: pytest.TempPathFactory) -> Film:
    folder = tmp_path_factory.mktemp("original")
    return seen(encode(frames, F(60), folder / "tarn.mp4", crf=16))


def seen(path: Path) -> Film:
    return load(path, lambda *_: None)


def copied(
    shown: list[Float32Array], rate: Fraction, original: Film, folder: Path, crf: int = 18
) -> Against:
    return against(seen(encode(shown, rate, folder / "copy.mp4", crf)), original)


def test_a_copy_that_lost_nothing(
    frames: list[Float32Array], original: Film, tmp_path: Path
) -> None:
    softer = [0.9 * frame + 10 for frame in frames]
    found = copied([np.asarray(f, np.float32) for f in softer], F(60), original, tmp_path)
    assert (found.rate_is, found.repeated, found.lost, found.mixed) == ("kept", 0, 0, 0)
    assert found.judged >= FRAMES - 2
    assert found.shift_s == pytest.approx(0, abs=1e-3)
    assert "rate kept (60); none repeated, lost or mixed; in step" in found.verdict


def test_halved_rates_lose_every_other_frame(
    frames: list[Float32Array], original: Film, tmp_path: Path
) -> None:
    found = copied(frames[::2], F(30), original, tmp_path)
    assert (found.rate_is, found.repeated, found.lost, found.mixed) == ("halved", 0, 23, 0)
    assert "above 30 only at 720p" in found.usually  # 180 pixels high


def test_doubled_rates_show_every_frame_twice(
    frames: list[Float32Array], original: Film, tmp_path: Path
) -> None:
    found = copied(list(np.repeat(np.array(frames), 2, axis=0)), F(120), original, tmp_path)
    assert (found.rate_is, found.repeated, found.lost, found.mixed) == ("doubled", 48, 0, 0)


def test_single_losses_and_repeats_are_counted(
    frames: list[Float32Array], original: Film, tmp_path: Path
) -> None:
    order = [n for n in range(FRAMES) if n not in (12, 13, 30)]
    order[20] = order[19]
    found = copied([frames[n] for n in order], F(60), original, tmp_path)
    assert (found.rate_is, found.repeated, found.lost, found.mixed) == ("kept", 1, 4, 0)


def test_mixtures_are_counted(frames: list[Float32Array], original: Film, tmp_path: Path) -> None:
    """60 put in 50 by weighting the two nearest frames: four of five pictures are mixtures."""
    places = [n * 1.2 for n in range(39)]
    shown = [
        (1 - place % 1) * frames[int(place)] + (place % 1) * frames[int(place) + 1]
        for place in places
    ]
    made = [np.asarray(picture, np.float32) for picture in shown]
    found = copied(made, F(50), original, tmp_path, crf=12)
    assert found.rate_is == "changed"
    made_of_two = sum(place % 1 > 0.01 for place in np.round(places, 3))
    assert made_of_two - 3 <= found.mixed <= made_of_two  # a fifth of a frame may be lost in coding
    assert (found.repeated, found.lost) == (0, 0)


def test_shift_and_speed(frames: list[Float32Array], original: Film, tmp_path: Path) -> None:
    late = copied([frames[0]] * 6 + frames, F(60), original, tmp_path)
    assert late.shift_s == pytest.approx(0.1, abs=2e-3)
    assert late.repeated == 6
    fast = copied(frames, F(75), original, tmp_path)
    assert fast.speed == pytest.approx(1.25, abs=5e-3)
    assert fast.shift_s is None
    assert (fast.repeated, fast.lost, fast.mixed) == (0, 0, 0)


def test_another_clip_is_no_copy(original: Film, tmp_path: Path) -> None:
    other = [frame.y[::-1].astype(np.float32) for frame in moving_texture(24, 320, 180, 2.0)]
    with pytest.raises(InputError, match="not found there"):
        copied(other, F(60), original, tmp_path)


def test_a_copy_of_a_part_says_what_to_do(
    frames: list[Float32Array], original: Film, tmp_path: Path
) -> None:
    path = encode([frame[8:172, 16:304] for frame in frames], F(60), tmp_path / "copy.mp4")
    with pytest.raises(InputError, match=r"whole picture.*cropped alike, or read it"):
        compare_copy(path, original, lambda *_: None)


@pytest.mark.parametrize("bars", ["320:224:0:22", "440:180:50:0", "320:568:0:194"])
def test_black_bars_around_a_copy_change_no_count(
    bars: str,
    frames: list[Float32Array],
    original: Film,
    tmp_path: Path,
) -> None:
    """Above and below, unlike at the sides, upright; every other frame, one of them twice."""
    shown = frames[::2]
    shown.insert(10, shown[9])
    path = tmp_path / "copy.mp4"
    ffmpeg("-i", encode(shown, F(30), tmp_path / "bare.mp4"), "-vf", f"pad={bars}", path)
    found = compare_copy(path, original, lambda *_: None)
    assert found.rate_is == "halved"
    assert (found.repeated, found.lost, found.mixed) == (1, 23, 0)
    assert found.judged == len(shown)
    assert found.verdict.endswith("pictures judged, without the black bars")
    assert against_json(found)["bars_left_out"] is True


def test_the_command_says_a_line_a_file(
    frames: list[Float32Array], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first = encode(frames, F(60), tmp_path / "tarn.mp4")
    second = encode(frames[::2], F(30), tmp_path / "downloaded.mp4")
    assert main(["read", "--against", str(first), str(second), str(first)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [
        line for line in lines if "rate halved (60 to 30); no picture repeated, 23 frames" in line
    ]
    assert [line for line in lines if "rate kept (60); none repeated" in line]
    assert main(["read", "--against", str(first), str(second), "--csv", "x.csv"]) == 2
