"""What is proved from the bars' parameters agrees with what the check sees in pictures of them."""

from __future__ import annotations

from fractions import Fraction
from itertools import product
from math import ceil

import numpy as np
import pytest

from patterns.clip import Clip
from patterns.rendering.planes import Planes
from patterns.safety.guard import ClipGuard, check_frames
from patterns.safety.parameters import changes_per_s, cycles_per_frame, judge_clip
from patterns.safety.report import SafetyReport
from patterns.safety.viewing import Viewing
from patterns.scenes.motion import BarsMotion, OrbitMotion, TerrainMotion
from tests.safety.sequences import BT1702, HEIGHT, WCAG, WIDTH, Picture, flash, run, stripe


def bars_clip(
    count: Fraction | int,
    per_s: Fraction | int,
    rate: int = 24,
    *,
    light: float = 0.6,
    dark: float = 0.02,
    duty: Fraction = Fraction(1, 2),
    shutter: Fraction = Fraction(1, 2),
    softness: Fraction = Fraction(0),
    seconds: int = 2,
    direction: str = "upright",
) -> Clip:
    """Clip with `count` bars across, `per_s` of which pass a place each second."""
    across = WIDTH if direction == "upright" else HEIGHT
    period = Fraction(across) / count
    motion = BarsMotion(
        speed_px_s=per_s * period,
        period_px=period,
        width_px=period * duty,
        direction=direction,  # type: ignore[arg-type]
        light=light,
        dark=dark,
        softness_px=softness,
    )
    exposure = shutter / rate
    return Clip(motion, Fraction(rate), exposure, WIDTH, HEIGHT, rate * seconds, strip="none")


def drawn(clip: Clip, n: int) -> Picture:
    """Frame of bars by brute force: samples over the exposure, the soft edge and the pixel."""
    motion = clip.motion
    assert isinstance(motion, BarsMotion)
    across = WIDTH if motion.direction == "upright" else HEIGHT
    samples = np.arange(-23.5, 24) / 48
    times = n / float(clip.rate) + samples * float(clip.exposure_s)
    shifts = float(motion.speed_px_s) * times
    soft = samples[::4] * float(motion.softness_px) if motion.softness_px else np.zeros(1)
    blur = (shifts[:, None] + soft[None, :]).ravel()
    x = (np.arange(across * 2) + 0.5) / 2 - across / 2
    period = float(motion.period_px)
    away = np.abs((x[:, None] - blur[None, :] + period / 2) % period - period / 2)
    share = (away < float(motion.width_px) / 2).mean(axis=1).reshape(-1, 2).mean(axis=1)
    light = motion.dark + (motion.light - motion.dark) * share
    codes = np.rint(255 * light ** (1 / 2.4)).astype(np.uint8)
    plane = np.broadcast_to(
        codes if motion.direction == "upright" else codes[:, None], (HEIGHT, WIDTH)
    )
    return np.repeat(plane[..., np.newaxis], 3, axis=2)


def seen(clip: Clip) -> SafetyReport:
    """Report of the check of the drawn pictures."""
    return run((drawn(clip, n) for n in range(clip.frames)), clip.rate)


def judged(clip: Clip) -> SafetyReport:
    """Report from the parameters."""
    report = judge_clip(clip)
    assert report is not None
    return report


GRID = list(product((1, 4, 5, 6, 8, 9, 14), (0, Fraction(1, 4), 1, 3, 4, 7, 11, 20), (24, 50)))
QUICK_GRID = list(product((1, 5, 6, 9), (0, 1, 3, 4, 11, 20), (24,)))


@pytest.mark.parametrize(("count", "per_s", "rate"), QUICK_GRID)
def test_the_verdicts_agree(count: int, per_s: Fraction, rate: int) -> None:
    clip = bars_clip(count, per_s, rate)
    assert judged(clip).exceeded == seen(clip).exceeded


@pytest.mark.slow
@pytest.mark.parametrize(("count", "per_s", "rate"), sorted(set(GRID) - set(QUICK_GRID)))
def test_the_verdicts_agree_over_the_whole_grid(count: int, per_s: Fraction, rate: int) -> None:
    clip = bars_clip(count, per_s, rate)
    assert judged(clip).exceeded == seen(clip).exceeded


LEVELS = [
    # a code or more from the limits: steps of 9, 18 and 21 cd/m2, darker images of 157 and 164
    (0.065, 0.02),
    (0.11, 0.02),
    (0.125, 0.02),
    (1.0, 0.785),
    (1.0, 0.82),
    (0.3, 0.02),
]


@pytest.mark.parametrize(("light", "dark"), LEVELS)
def test_the_verdicts_agree_at_the_steps(light: float, dark: float) -> None:
    clip = bars_clip(4, 5, light=light, dark=dark)
    assert judged(clip).exceeded == seen(clip).exceeded


@pytest.mark.parametrize(
    ("shutter", "softness", "duty"),
    [(1, 0, 2), (1, 40, 2), (Fraction(1, 2), 30, 4), (0, 0, 5)],
)
@pytest.mark.parametrize("per_s", [2, 5, 10])
def test_blur_and_softness_are_in_the_proof(
    shutter: Fraction, softness: int, duty: int, per_s: int
) -> None:
    clip = bars_clip(
        6,
        per_s,
        shutter=Fraction(shutter),
        softness=min(Fraction(softness), Fraction(WIDTH, 6 * duty)),
        duty=Fraction(1, duty),
    )
    assert judged(clip).exceeded == seen(clip).exceeded


@pytest.mark.parametrize(("count", "per_s"), [(3, 2), (6, 1), (9, 4)])
def test_level_bars_agree(count: int, per_s: int) -> None:
    clip = bars_clip(count, per_s, direction="level")
    assert judged(clip).exceeded == seen(clip).exceeded


@pytest.mark.parametrize("per_s", [Fraction(31, 10), Fraction(16, 5), Fraction(17, 5)])
def test_between_three_and_three_and_a_half_the_proof_is_the_stricter(per_s: Fraction) -> None:
    """Some places see seven changes in some seconds: the proof asks for none anywhere."""
    clip = bars_clip(3, per_s)
    assert flash(judged(clip), BT1702).exceeds
    assert set(seen(clip).exceeded) <= set(judged(clip).exceeded)


def test_no_place_changes_more_often_than_proved() -> None:
    """Brute force over places and starts: a light-dark sequence, exact phases."""
    for rate, per_s in product((Fraction(24), Fraction(24000, 1001), Fraction(30)), range(1, 24)):
        motion = BarsMotion(per_s * Fraction(100), Fraction(100), Fraction(50))
        bound = changes_per_s(motion, rate)
        frames = ceil(rate)
        step = motion.speed_px_s / (motion.period_px * rate)
        starts = np.arange(997) / 997
        phases = (starts[:, None] + np.arange(frames + 1)[None, :] * float(step)) % 1
        lit = phases < 0.5
        changes = (lit[:, 1:] != lit[:, :-1]).sum(axis=1)
        assert changes.max() <= bound
        assert cycles_per_frame(motion, rate) <= Fraction(1, 2)


def test_three_bars_a_second_at_23_976_do_not_fit() -> None:
    """3 x 24 frames of 1001/24000 s hold more than 3 periods: four bars can fall in one second."""
    motion = BarsMotion(Fraction(300), Fraction(100), Fraction(50))
    assert changes_per_s(motion, Fraction(24)) == 6
    assert changes_per_s(motion, Fraction(24000, 1001)) > 6


@pytest.mark.parametrize("rate", ["24", "24000/1001", "25", "30", "48", "50", "60", "90", "120"])
@pytest.mark.parametrize("count", [1, 4, 5])
def test_five_bars_in_seven_seconds_pass_at_every_rate(rate: str, count: int) -> None:
    """A crossing of 1920 pixels in 7 s; also if the clip is stopped, or plays the other way."""
    period = Fraction(1920, count)
    for speed in (Fraction(1920, 7), Fraction(-1920, 7), Fraction(0)):
        motion = BarsMotion(speed, period, period / 2)
        for exposure in (Fraction(0), 1 / Fraction(rate)):
            report = judged(Clip(motion, Fraction(rate), exposure))
            assert report.passes
            assert report.method == "parameters"
            assert flash(report, WCAG).flashes_per_s <= 1


def test_six_bars_pass_only_while_they_move() -> None:
    period = Fraction(320)
    moving = BarsMotion(Fraction(1920, 7), period, period / 2)
    standing = BarsMotion(Fraction(0), period, period / 2)
    assert judged(Clip(moving, Fraction(24), Fraction(1, 48))).passes
    stopped = judged(Clip(standing, Fraction(24), Fraction(1, 48)))
    assert stripe(stopped, "BT.1702").exceeds


def test_country_is_not_proved() -> None:
    for motion in (TerrainMotion(), OrbitMotion()):
        clip = Clip(motion, Fraction(24), Fraction(1, 48))
        assert judge_clip(clip) is None
        assert not ClipGuard(clip).proved


def test_near_eyes_are_told_about_the_strip() -> None:
    clip = Clip(BarsMotion(Fraction(100), Fraction(480), Fraction(240)), Fraction(24), Fraction(0))
    near = judge_clip(clip, Viewing(distance_heights=2))
    far = judge_clip(clip, Viewing(distance_heights=3))
    assert near is not None
    assert far is not None
    assert any("strip" in note for note in near.notes)
    assert not far.notes


def test_the_guard_and_the_check_see_the_same_flashes() -> None:
    """A guard looks quickly at rendered planes; the full check looks at all of them."""
    clip = Clip(OrbitMotion(), Fraction(24), Fraction(1, 48), 1280, 720, 48)
    frames = []
    for n in range(48):
        frame = Planes.blank(1280, 720)
        frame.y[:400, :900] = 235 if n // 3 % 2 else 60
        frames.append(frame)
    guard = ClipGuard(clip)
    assert len(list(guard.watch(frames))) == 48
    full = check_frames(clip, frames)
    assert (
        guard.report().exceeded
        == full.exceeded
        == (
            "WCAG 2.2 general flashes",
            "ITU-R BT.1702 general flashes",
        )
    )
    quick, slow = flash(guard.report(), BT1702), flash(full, BT1702)
    assert quick.flashes_per_s == slow.flashes_per_s == 4
    assert quick.share == pytest.approx(400 * 900 / (1280 * 720), abs=0.006)
    assert slow.share == pytest.approx(quick.share, abs=0.006)
