"""Clips as they are rendered, strip included, and as they come back from a file."""

from __future__ import annotations

from collections.abc import Generator
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from patterns.clip import Clip
from patterns.frame_source import FrameSource
from patterns.picture.planes import Planes
from patterns.safety.check import FlashCheck, LoopGuard
from patterns.safety.files import check_file
from patterns.safety.report import SafetyReport
from patterns.scenes.bars.motion import BarsMotion
from patterns.scenes.motion import Motion
from patterns.scenes.orbit.motion import OrbitMotion
from patterns.scenes.terrain.motion import TerrainMotion
from patterns.timing.rates import parse_rate
from tests.safety.sequences import BT1702, flash

WIDTH, HEIGHT = 320, 180


def clip_of(motion: Motion, rate: Fraction, seconds: Fraction) -> Clip:
    """A small clip, shutter half of the frame."""
    return Clip(motion, rate, 1 / (2 * rate), WIDTH, HEIGHT, round(seconds * rate))


def bars(count: int, per_s: Fraction, rate: Fraction, seconds: Fraction = Fraction(2)) -> Clip:
    """Bars, so many across and so many a second past a place."""
    period = Fraction(WIDTH, count)
    return clip_of(BarsMotion(per_s * period, period, period / 2), rate, seconds)


def frames(clip: Clip) -> list[Planes]:
    """All frames."""
    source = FrameSource(clip)
    return [source.draw(n) for n in range(clip.frames)]


def decoded(clip: Clip, path: Path) -> Path:
    """The clip as an H.264 file, written by PyAV."""
    with av.open(str(path), "w") as container:
        options = {"crf": "16", "preset": "ultrafast"}
        stream = container.add_stream("libx264", rate=clip.rate, options=options)
        stream.width, stream.height, stream.pix_fmt = clip.width, clip.height, "yuv420p"
        stream.codec_context.colorspace = 1  # BT.709
        for n, planes in enumerate(frames(clip)):
            flat = np.concatenate([planes.y.ravel(), planes.cb.ravel(), planes.cr.ravel()])
            frame = av.VideoFrame.from_ndarray(
                flat.reshape(clip.height * 3 // 2, clip.width), format="yuv420p"
            )
            frame.pts = n
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def guarded(clip: Clip) -> SafetyReport:
    """Report of the check while the clip is made."""
    guard = LoopGuard(clip.width, clip.height, clip.rate)
    for n, frame in enumerate(frames(clip)):
        guard.see(n / clip.rate, frame)
    return guard.report()


# Bars across, bars past a place each second, seconds; whether it fails once, and in a loop.
SEAMS = [
    (4, Fraction(4) / Fraction("1.4"), 2, True),
    (8, Fraction(8) / Fraction("0.3"), 2, True),
    (4, Fraction(4) / Fraction("1.35"), 7, True),
    (4, Fraction(4, 7), 2, False),
    (5, Fraction(2), 1, False),  # closed: whole periods
]


@pytest.mark.parametrize(("count", "per_s", "seconds", "fails"), SEAMS)
def test_the_seam_is_judged_as_in_the_file(
    tmp_path: Path, count: int, per_s: Fraction, seconds: int, fails: bool
) -> None:
    """Players and our pages play clips in loops: what fails there fails when it is made."""
    clip = bars(count, per_s, Fraction(24), Fraction(seconds))
    made = guarded(clip)
    assert made.passes != fails
    result = check_file(decoded(clip, tmp_path / "clip.mp4"), loop=True).report
    assert result.exceeded == made.exceeded


@pytest.mark.parametrize("seconds", [Fraction(1, 4), Fraction(1, 2), Fraction(3, 2)])
def test_a_short_loop_is_looked_at_until_it_has_gone_round(seconds: Fraction) -> None:
    """One change a round and one back: the seam's own rate decides."""
    guard = LoopGuard(WIDTH, HEIGHT, Fraction(24))
    count = round(seconds * 24)
    for n in range(count):
        frame = Planes.blank(WIDTH, HEIGHT)
        frame.y[:] = 235 if n >= count / 2 else 16
        guard.see(Fraction(n, 24), frame)
    assert guard.report().passes == (1 / seconds <= 3)


def test_a_short_loop_is_read_once_however_often_it_goes_round() -> None:
    """Five pictures of a hundredth of a second go round 40 times in two seconds."""
    check = FlashCheck(WIDTH, HEIGHT, Fraction(100))
    rounds: list[int] = []

    def of_a_round() -> Generator[tuple[Fraction, Planes]]:
        rounds.append(len(rounds))
        yield from ((Fraction(n, 100), Planes.blank(WIDTH, HEIGHT)) for n in range(5))

    for time_s, frame in of_a_round():
        check.see(time_s, frame)
    check.see_again(Fraction(1, 20), of_a_round)
    assert rounds == [0, 1]


def test_extended_flashing_goes_on_over_the_seam() -> None:
    guard = LoopGuard(WIDTH, HEIGHT, Fraction(24))
    for n in range(60):
        frame = Planes.blank(WIDTH, HEIGHT)
        frame.y[:] = 235 if n % 12 < 6 else 16
        guard.see(Fraction(n, 24), frame)
    report = guard.report()
    assert report.passes
    assert flash(report, "extended").exceeds


CASES = [
    (5, Fraction(5, 7), 24, ()),
    (5, Fraction(5, 7), 60, ()),
    (8, Fraction(8, 7), 30, ()),
    (10, Fraction(10, 7), 24, ("Epilepsy Foundation patterns",)),
    (6, Fraction(0), 24, ("ITU-R BT.1702 regular patterns",)),
    (3, Fraction(4), 24, ("WCAG 2.2 general flashes", "ITU-R BT.1702 general flashes")),
]


@pytest.mark.parametrize(("count", "per_s", "rate", "exceeded"), CASES)
def test_rendered_bars(count: int, per_s: Fraction, rate: int, exceeded: tuple[str, ...]) -> None:
    assert guarded(bars(count, per_s, Fraction(rate))).exceeded == exceeded


@pytest.mark.parametrize(
    ("rate", "count"),
    [("24000/1001", 4), ("25", 1), ("25", 4), ("25", 5), ("30", 4), ("50", 4), ("120", 4)],
)
def test_bars_that_cross_in_seven_seconds_pass_at_every_rate(rate: str, count: int) -> None:
    clip = bars(count, Fraction(count, 7), parse_rate(rate), Fraction(1, 2))
    assert guarded(clip).passes


def test_the_guard_and_the_check_see_the_same_flashes() -> None:
    """A guard looks quickly at rendered planes; the full check looks at all of them."""
    guard, check = LoopGuard(1280, 720, Fraction(24)), FlashCheck(1280, 720, Fraction(24))
    for n in range(48):
        frame = Planes.blank(1280, 720)
        frame.y[:400, :900] = 235 if n // 3 % 2 else 60
        guard.see(Fraction(n, 24), frame)
        check.see(Fraction(n, 24), frame)
    quick, full = guard.report(), check.report()
    assert quick.exceeded == full.exceeded
    assert full.exceeded == ("WCAG 2.2 general flashes", "ITU-R BT.1702 general flashes")
    for report in (quick, full):
        assert flash(report, BT1702).flashes_per_s == 4
        assert flash(report, BT1702).share == pytest.approx(400 * 900 / (1280 * 720), abs=0.006)


def test_the_strip_alone_is_safe_at_a_high_rate() -> None:
    """At 120 a second its fastest cells turn 30 times a second; their area is too small."""
    still = BarsMotion(Fraction(0), Fraction(WIDTH), Fraction(WIDTH, 2))
    report = guarded(clip_of(still, Fraction(120), Fraction(1)))
    assert report.passes
    assert max(f.share for f in report.flashes) < 0.027


@pytest.mark.slow
@pytest.mark.parametrize("motion", [TerrainMotion(), TerrainMotion(flight="down"), OrbitMotion()])
def test_country_passes_by_default(motion: Motion) -> None:
    assert guarded(clip_of(motion, Fraction(24), Fraction(2))).passes
