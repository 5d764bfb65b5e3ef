"""Frames of the orbit against brute force, phase correlation and their own symmetries."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from math import radians

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from skimage.registration import phase_cross_correlation

from patterns.clip import Clip
from patterns.picture.arrays import FloatArray, UInt8Array
from patterns.picture.planes import Planes, code_to_light, light_to_code
from patterns.scenes.motion import RING_RADIUS_M, focal_px
from patterns.scenes.orbit import geometry
from patterns.scenes.orbit import renderer as orbit
from patterns.scenes.orbit.atlas import Texels
from patterns.scenes.orbit.geometry import SUBJECT, WALL, OrbitCamera, Samples, Seen
from patterns.scenes.orbit.motion import OrbitMotion
from patterns.scenes.orbit.outlines import OUTLINES
from patterns.scenes.orbit.renderer import OrbitRenderer
from tests.scenes.interrupted import interrupt, same

W, H = 384, 216
SMALL = (128, 72)  # where frames are only compared with each other
# Frames between the two that are correlated: the window does not move with the hills to
# a part of a pixel, and draws the peak towards whole pixels by up to 0.15.
GAP = 3


@lru_cache(maxsize=12)
def renderer(clip: Clip, width: int = W, height: int = H) -> OrbitRenderer:
    return OrbitRenderer(clip, width, height)


def clip_of(angle: int, rate: Fraction = Fraction(24), frames: int = 24, **motion: object) -> Clip:
    return Clip(
        OrbitMotion(**motion),  # type: ignore[arg-type]
        rate,
        Fraction(angle, 360) / rate,
        width=W,
        height=H,
        frames=frames,
        strip="none",
    )


def frame(clip: Clip, n: int, width: int = W, height: int = H) -> Planes:
    picture = Planes.blank(width, height)
    renderer(clip, width, height).draw(n, picture)
    return picture


def seen_by(
    clip: Clip, width: int, height: int, finer: int = 1, columns: range | None = None
) -> Seen:
    """What the pixels see, all or those of some columns; or `finer` x `finer` samples of each."""
    assert isinstance(clip.motion, OrbitMotion)
    profile = OUTLINES[clip.motion.subject].profile
    camera = OrbitCamera.of(clip.motion, profile, width, height)
    columns = columns or range(width)
    x = (np.arange(columns.start * finer, columns.stop * finer) + 0.5) / finer
    y = (np.arange(height * finer) + 0.5) / finer
    return camera.see(x[np.newaxis, :], y[:, np.newaxis])


def test_the_shutter_is_the_mean_light_of_256_moments() -> None:
    """360 degrees at 60 deg/s against moments of no exposure spread over the same time.

    257 moments, the first and the last at half weight, are read to 8 bits and averaged
    in light: each carries rounding, the sky's dither, and an interpolation between two
    texels in code instead of in light. All that stays within 2 codes, save for a few
    pixels where texels that differ by dozens of codes lie side by side.
    """
    rate = Fraction(24)
    long = clip_of(360, rate, turn_deg_s=Fraction(60))
    moments = renderer(replace(long, rate=rate * 256, exposure_s=Fraction(0), frames=256 * 24))
    n, total, picture = 7, np.zeros((H, W)), Planes.blank(W, H)
    for k in range(257):
        moments.draw(256 * n - 128 + k, picture)
        total += code_to_light(picture.y) * (0.5 if k in (0, 256) else 1.0)
    expected = light_to_code(total / 256).astype(int)
    differ = np.abs(frame(long, n).y.astype(int) - expected)
    assert np.mean(differ > 2) < 0.001
    assert differ.max() <= 4
    assert differ.mean() < 0.3
    # without the blur the picture is another
    sharp = frame(replace(long, exposure_s=Fraction(0)), n).y.astype(int)
    assert np.mean(np.abs(sharp - expected) > 2) > 0.1


@pytest.mark.parametrize(
    ("rate", "turn"),
    [
        (Fraction(24000, 1001), Fraction(6)),
        (Fraction(60000, 1001), Fraction(-15)),
        pytest.param(Fraction(120), Fraction(24), marks=pytest.mark.slow),
    ],
)
def test_the_skyline_moves_at_its_closed_form(rate: Fraction, turn: Fraction) -> None:
    """Phase correlation (scikit-image) of hills near the centre, within 0.05 px.

    The hills stand on a circle of radius D about the axis, so at the centre the image
    moves at f w D / (D + R), and at x pixels beside it sec^2 = 1 + (x/f)^2 times as fast.
    """
    width, height, hfov = 1280, 320, 30.0
    motion = OrbitMotion(
        turn_deg_s=turn, height_m=Fraction(17), radius_m=Fraction(80), hfov_deg=hfov
    )
    clip = Clip(motion, rate, Fraction(0), width=width, height=height, frames=64, strip="none")
    f = focal_px(hfov, width)
    speed = f * radians(float(turn)) * RING_RADIUS_M / (RING_RADIUS_M + 80) / float(rate)
    wall = seen_by(clip, width, height, columns=range(1)).surface == WALL
    bottom = int(np.flatnonzero(wall[:, 0])[-1])
    moves = [
        _move_at_centre(clip, n, 640 + side * 340, bottom, round(GAP * speed), f)
        for n in range(4, 60, 7)
        for side in (-1, 1)
    ]
    assert np.mean(moves) == pytest.approx(speed, abs=0.05)


@lru_cache(maxsize=4)  # both sides of the same two frames are looked at
def _smooth(clip: Clip, number: int, bottom: int) -> FloatArray:
    """The rows above `bottom`; the filter reaches four sigmas."""
    luma = frame(clip, number, clip.width, clip.height).y[: bottom + 12].astype(float)
    return gaussian_filter(luma, 3)[:bottom]  # type: ignore[no-any-return]


def _move_at_centre(
    clip: Clip, n: int, middle: int, bottom: int, whole: int, focal: float
) -> float:
    """Pixels a frame, from n to n + GAP, about x = `middle`, reduced to the centre.

    The window follows by `whole` pixels; the rest is what the correlation finds. The
    sky's dither is as fine as a pixel and would draw the peak to whole pixels: it is
    smoothed away first. Slopes along x are compared, so that a strip's ramp from top to
    bottom does not outweigh the hills.
    """
    width = clip.width
    window = np.hanning(240) * np.hanning(bottom)[:, np.newaxis]
    pair = []
    for number, shift in ((n, 0), (n + GAP, -whole)):
        part = _smooth(clip, number, bottom)[:, middle - 120 + shift : middle + 121 + shift]
        pair.append(np.diff(part, axis=1) * window)
    rest, _, _ = phase_cross_correlation(*pair, upsample_factor=200, normalization=None)
    x = np.arange(240) + middle - 119.5 - whole / 2 - width / 2
    growth = np.average(1 + (x / focal) ** 2, weights=np.hanning(240) ** 2)
    return float((whole + rest[1]) / growth / GAP)


def test_the_subjects_outline_rests() -> None:
    """Averaged over bearings, edge pixels mix sky and tower as the geometry says, no wider."""
    clip = clip_of(0, turn_deg_s=Fraction(36), frames=240, height_m=Fraction(4))
    mean = np.mean([code_to_light(frame(clip, n).y) for n in range(0, 90, 10)], axis=0)
    seen = seen_by(clip, W, H)
    solid = seen.surface == SUBJECT
    left = range(int(np.argmax(solid.any(axis=0))) - 4, W // 2)  # the subject's left half
    fine = seen_by(clip, W, H, 8, left).surface == SUBJECT
    cover = np.zeros((H, W))
    cover[:, left] = fine.reshape(H, 8, len(left), 8).mean(axis=(1, 3))
    found, wanted = [], []
    for row in np.flatnonzero(solid.any(axis=1))[6:60]:
        edge = int(np.argmax(solid[row]))
        if seen.surface[row, edge - 4] != WALL:
            continue
        sky, stone = mean[row, edge - 3], mean[row, edge + 2]
        if abs(sky - stone) > 0.05:
            found += list((mean[row, edge - 2 : edge + 1] - sky) / (stone - sky))
            wanted += list(cover[row, edge - 2 : edge + 1])
    assert len(found) > 30
    assert np.median(np.abs(np.array(found) - wanted)) < 0.06
    assert np.corrcoef(found, wanted)[0, 1] > 0.97


def test_a_whole_turn_closes() -> None:
    clip = clip_of(180, frames=180, turn_deg_s=Fraction(48))  # 180 frames at 24 are 360 degrees
    first, after = frame(clip, 0, *SMALL), frame(clip, 180, *SMALL)
    assert np.array_equal(first.y, after.y)
    assert np.array_equal(first.cb, after.cb)
    assert np.array_equal(first.cr, after.cr)
    # and the step over the seam is like any other step
    steps = [
        np.mean(
            np.abs(frame(clip, n, *SMALL).y.astype(int) - frame(clip, n + 1, *SMALL).y.astype(int))
        )
        for n in (60, 179)
    ]
    assert steps[1] < 2 * steps[0] + 1


def test_frames_beyond_the_clip_and_short_clips_agree_with_a_whole_turn() -> None:
    """A short clip keeps only the bearings that it sees; the pictures are the same."""
    short = clip_of(180, frames=24)
    long = clip_of(180, frames=24 * 70)
    for n in (0, 23):
        differ = frame(short, n, *SMALL).y.astype(int) - frame(long, n, *SMALL).y.astype(int)
        assert np.abs(differ).max() <= 2  # rounding, and the sky's dither
    beyond = frame(short, 100, *SMALL).y.astype(int) - frame(long, 100, *SMALL).y.astype(int)
    assert np.abs(beyond).max() <= 2


def test_same_clip_same_bytes() -> None:
    clip = clip_of(180)
    other = Planes.blank(*SMALL)
    OrbitRenderer(clip, *SMALL).draw(5, other)
    again = frame(clip, 5, *SMALL)
    for a, b in ((other.y, again.y), (other.cb, again.cb), (other.cr, again.cr)):
        assert np.array_equal(a, b)


def test_seeds_give_other_country() -> None:
    one, two = clip_of(0), replace(clip_of(0), seed=2)
    assert np.mean(frame(one, 0, *SMALL).y != frame(two, 0, *SMALL).y) > 0.5


def test_negative_turn_is_the_same_picture_at_the_start() -> None:
    one, two = clip_of(0, turn_deg_s=Fraction(6)), clip_of(0, turn_deg_s=Fraction(-6))
    assert (
        np.abs(frame(one, 0, *SMALL).y.astype(int) - frame(two, 0, *SMALL).y.astype(int)).max() <= 2
    )


@pytest.mark.parametrize(
    ("size", "motion"),
    [
        ((180, 320), {"radius_m": Fraction(20), "height_m": Fraction(2), "hfov_deg": 120.0}),
        ((320, 180), {"radius_m": Fraction(1000), "height_m": Fraction(500), "hfov_deg": 5.0}),
        ((320, 180), {"subject": "tank", "radius_m": Fraction(20), "height_m": Fraction(500)}),
        ((320, 180), {"subject": "monument", "turn_deg_s": Fraction(-360)}),
        ((320, 180), {"turn_deg_s": Fraction(0)}),
    ],
)
def test_far_corners_of_what_may_be_asked_draw(
    size: tuple[int, int], motion: dict[str, object]
) -> None:
    clip = clip_of(180, frames=3, **motion)  # type: ignore[arg-type]
    picture = frame(clip, 2, *size)
    assert 16 <= picture.y.min() < picture.y.max() <= 235
    assert picture.cb.min() > 90
    assert picture.cr.max() < 180


def test_frames_do_not_depend_on_what_was_drawn_before() -> None:
    """Texels are painted as they come into view, in other pieces if a clip is drawn in order."""
    clip = clip_of(180, frames=120)
    jumped, followed = OrbitRenderer(clip, *SMALL), OrbitRenderer(clip, *SMALL)
    one, other = Planes.blank(*SMALL), Planes.blank(*SMALL)
    jumped.draw(90, one)
    for n in (*range(40), 90):
        followed.draw(n, other)
    assert same(one, other)


def test_frames_in_order_are_those_drawn_alone() -> None:
    """In order they are drawn some at a time, beyond the clip's end one by one."""
    clip = clip_of(180, Fraction(24000, 1001), frames=15)
    followed, alone = OrbitRenderer(clip, *SMALL), OrbitRenderer(clip, *SMALL)
    one, shown = Planes.blank(*SMALL), list[Planes]()
    for n in (*range(17), 4, 5, 6):
        followed.draw(n, one)
        shown.append(one.copy())
    for n, picture in reversed(list(zip((*range(17), 4, 5, 6), shown, strict=True))):
        alone.draw(n, one)
        assert same(one, picture), n
    assert not same(shown[1], shown[2])


@pytest.mark.parametrize("turn", [Fraction(-60), Fraction(360)], ids=str)
def test_frames_are_the_same_after_any_number_of_turns(turn: Fraction) -> None:
    """A whole turn is kept, whatever the clip's length, and painted once."""
    clip = clip_of(180, frames=24 * 600, turn_deg_s=turn)
    going, one, other = OrbitRenderer(clip, *SMALL), Planes.blank(*SMALL), Planes.blank(*SMALL)
    for n in (*range(0, 145, 12), 141, 8640, 8652):
        going.draw(n, one)
        if n in (72, 141, 8652):
            OrbitRenderer(clip, *SMALL).draw(n, other)
            assert same(one, other), n


def test_a_turn_is_painted_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """From the second turn on nothing is painted: time and memory do not grow with the length."""
    clip = clip_of(180, frames=24 * 600, turn_deg_s=Fraction(60))
    renderer, picture = OrbitRenderer(clip, *SMALL), Planes.blank(*SMALL)
    painted: list[int] = []
    store = Texels.store

    def counted(self: Texels, number: int, first: int, codes: list[UInt8Array]) -> None:
        painted.append(number)
        store(self, number, first, codes)

    monkeypatch.setattr(Texels, "store", counted)
    for n in range(0, 145, 4):
        renderer.draw(n, picture)
    assert painted
    painted.clear()
    for n in range(145, 300, 7):
        renderer.draw(n, picture)
    assert not painted


def test_ctrl_c_while_painting_leaves_no_wrong_texel(monkeypatch: pytest.MonkeyPatch) -> None:
    clip = clip_of(180, frames=12, turn_deg_s=Fraction(30))
    broken, one, other = OrbitRenderer(clip, *SMALL), Planes.blank(*SMALL), Planes.blank(*SMALL)
    until = interrupt(monkeypatch, broken._atlas.texels, "store")
    for n in (0, 6):
        until[0] = 5
        with pytest.raises(KeyboardInterrupt):
            broken.draw(n, one)
        broken.draw(n, one)
        OrbitRenderer(clip, *SMALL).draw(n, other)
        assert same(one, other), n


def test_a_second_rate_sees_nothing_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the picture sees does not depend on the rate: it is kept, and the bytes are the same."""
    orbit._sight.cache_clear()
    clips = [clip_of(180, Fraction(rate), frames=rate) for rate in (24, 60)]
    looks: list[OrbitCamera] = []

    def look(camera: OrbitCamera, pixels: int) -> Samples:
        looks.append(camera)
        return geometry.look(camera, pixels)

    monkeypatch.setattr(orbit, "look", look)
    kept = [OrbitRenderer(clip, *SMALL) for clip in clips]
    one, other = Planes.blank(*SMALL), Planes.blank(*SMALL)
    assert len(looks) == 2  # luma and chroma
    for n in (0, 12, 23):
        kept[0].draw(n, one)
    orbit._sight.cache_clear()
    alone = OrbitRenderer(clips[1], *SMALL)
    for n in (0, 33, 59):
        kept[1].draw(n, one)
        alone.draw(n, other)
        assert same(one, other), n
