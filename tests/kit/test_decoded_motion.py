"""Motion measured in the files, as PyAV decodes them, by scikit-image's phase correlation."""

from __future__ import annotations

from fractions import Fraction as F
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pytest
from skimage.registration import phase_cross_correlation

from patterns.clip import Clip, describe
from patterns.kit.make_clip import clip_job, make_clip
from patterns.picture.arrays import FloatArray
from patterns.scenes.bars.motion import BarsMotion
from patterns.scenes.motion import focal_px
from patterns.scenes.terrain.motion import TerrainMotion

RATES = ["23.976", "25", "30", "59.94", "120"]  # times of files: tests/video/test_files.py


def decoded(clip: Clip, folder: Path) -> list[FloatArray]:
    make_clip(clip_job(clip, folder / "clip.mp4", allow_flashing=True))  # few frames in a loop
    with av.open(str(folder / "clip.mp4")) as container:
        return [
            np.asarray(frame.to_ndarray(format="gray"), np.float64)
            for frame in container.decode(video=0)
        ]


def moved(a: FloatArray, b: FloatArray) -> tuple[float, float]:
    """Pixels right and down from `a` to `b`; not whitened, so that codec noise weighs little."""
    shift, _, _ = phase_cross_correlation(b, a, upsample_factor=200, normalization=None)
    return float(shift[1]), float(shift[0])


@pytest.mark.parametrize("rate", RATES)
def test_bars_move_by_speed_over_rate(tmp_path: Path, rate: str) -> None:
    motion = BarsMotion(F(256), F(160), F(160, 3), softness_px=F(2))
    clip = describe(motion, rate=rate, size="360p", frames=4)
    frames = decoded(clip, tmp_path)
    # One period of the bars: it wraps on itself, and a shift has one answer.
    period = int(motion.period_px)
    found = [moved(a[:200, :period], b[:200, :period])[0] for a, b in pairwise(frames)]
    expected = float(motion.speed_px_s / clip.rate)
    assert found == pytest.approx([expected] * 3, abs=0.05)


@pytest.mark.slow
@pytest.mark.parametrize("rate", RATES)
def test_flight_straight_down_moves_by_speed_over_rate(tmp_path: Path, rate: str) -> None:
    """Image speed of a nadir flight: f v / h, in pixels a second.

    The picture loses and gains a few rows a frame, so frames are compared in a window whose
    edges fade out (Hann), after the closed form's whole-pixel part has been taken away.
    """
    motion = TerrainMotion("down", F(10), F(40))
    clip = describe(motion, rate=rate, size="360p", frames=8, shutter=180)
    expected = focal_px(motion.hfov_deg, 640) * 10 / 40 / float(clip.rate)
    frames = decoded(clip, tmp_path)
    window = np.outer(np.hanning(256), np.hanning(512))
    whole = round(expected)
    found = []
    for a, b in pairwise(frames):
        first, second = a[20:276, 64:576], b[20 + whole : 276 + whole, 64:576]
        across, down = moved((first - first.mean()) * window, (second - second.mean()) * window)
        found.append(down + whole)
        assert across == pytest.approx(0, abs=0.05)
    assert np.mean(found) == pytest.approx(expected, abs=0.04)
