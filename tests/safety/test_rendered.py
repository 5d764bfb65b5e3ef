"""Clips as they are rendered, strip included, and as they come back from a file."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from patterns.clip import Clip
from patterns.frame_source import FrameSource
from patterns.rendering.planes import Planes
from patterns.safety.files import check_file
from patterns.safety.guard import ClipGuard, check_frames
from patterns.safety.parameters import judge_clip
from patterns.scenes.motion import BarsMotion, TerrainMotion


def bars(count: int, per_s: Fraction, rate: int) -> Clip:
    """Bars with a strip, 640 x 360, 2 s."""
    period = Fraction(640, count)
    motion = BarsMotion(per_s * period, period, period / 2)
    return Clip(motion, Fraction(rate), Fraction(1, 2 * rate), 640, 360, 2 * rate)


def frames(clip: Clip) -> list[Planes]:
    """All frames."""
    source = FrameSource(clip)
    return [source.draw(n) for n in range(clip.frames)]


def decoded(clip: Clip, path: Path) -> Path:
    """The clip as an H.264 file, written by PyAV."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=clip.rate, options={"crf": "16"})
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


CASES = [
    (5, Fraction(5, 7), 24),
    (5, Fraction(5, 7), 60),
    (8, Fraction(8, 7), 30),
    (10, Fraction(10, 7), 24),
    (6, Fraction(0), 24),
    (3, Fraction(4), 24),
    (7, Fraction(12), 24),
]


@pytest.mark.parametrize(("count", "per_s", "rate"), CASES)
def test_parameters_frames_and_file_agree(
    tmp_path: Path, count: int, per_s: Fraction, rate: int
) -> None:
    clip = bars(count, per_s, rate)
    proved = judge_clip(clip)
    assert proved is not None
    assert check_frames(clip, frames(clip)).exceeded == proved.exceeded
    assert check_file(decoded(clip, tmp_path / "clip.mp4")).report.exceeded == proved.exceeded


def test_the_strip_alone_is_safe_at_a_high_rate() -> None:
    """At 120 a second its fastest cells turn 30 times a second; their area is too small."""
    still = BarsMotion(Fraction(0), Fraction(640), Fraction(320))
    clip = Clip(still, Fraction(120), Fraction(1, 240), 640, 360, 120)
    report = check_frames(clip, frames(clip))
    assert report.passes
    assert max(f.share for f in report.flashes) < 0.027


@pytest.mark.slow
@pytest.mark.parametrize("flight", ["forward", "sideways", "down"])
def test_country_passes_by_default(flight: str) -> None:
    clip = Clip(
        TerrainMotion(flight=flight),  # type: ignore[arg-type]
        Fraction(24),
        Fraction(1, 48),
        1280,
        720,
        48,
    )
    guard = ClipGuard(clip)
    for n, frame in enumerate(frames(clip)):
        guard.see(n, frame)
    assert guard.report().passes
