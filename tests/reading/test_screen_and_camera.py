"""From simulated light to a verdict: recordings and photos of a screen whose truth is known."""

from __future__ import annotations

from fractions import Fraction as F
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from patterns.reading.opened import Given
from patterns.reading.read_file import read_file
from patterns.strip.code import hold_row
from patterns.timing.cadence import Display
from tests.simulation.conditions import draw_case
from tests.simulation.film import film, stage
from tests.simulation.phone_file import save
from tests.simulation.photo import photo_case, take


@pytest.mark.slow
@pytest.mark.parametrize(
    ("level", "rate", "capture_hz", "pictures"),
    [("moderate", F(30), 120, 120), ("hard", F(25), 240, 144)],
)
def test_a_recording_is_read_to_the_refresh(
    tmp_path: Path, level: str, rate: F, capture_hz: int, pictures: int
) -> None:
    case = draw_case(level, rate, 60, capture_hz, 5)
    scene = stage(case, pictures)
    path = tmp_path / "tablet.mp4"
    save((luma for luma, _ in film(scene, pictures)), path, capture_hz, case.crf)
    reading = read_file(path, Given(kind="recording", display=Display.fixed(60)))
    numbers = scene.played.numbers.tolist()
    refreshes = np.rint(np.diff(scene.played.starts_s) * 60).astype(int).tolist()
    truth = dict(zip(numbers, refreshes, strict=False))
    assert reading.refresh_hz == 60
    assert len(reading.holds) > 0.8 * pictures / capture_hz * float(rate) - 2
    assert all(f.refreshes in (None, truth[f.number]) for f in reading.holds)
    low, high = reading.holds[0].number, reading.holds[-1].number
    lost = {n for n in scene.played.dropped if low < n < high}
    assert set(reading.dropped) <= set(scene.played.dropped)
    assert lost <= set(reading.dropped) | set(reading.unseen)


@pytest.mark.slow
@pytest.mark.parametrize("rate", [24, 30])
def test_a_photo_gives_holds_within_8_percent(tmp_path: Path, rate: int) -> None:
    cells = hold_row(F(rate)).cells
    picture, truth = take(photo_case("moderate", F(rate), 60, 3), 1.0, cells)
    Image.fromarray(picture).save(tmp_path / "tablet.jpg", quality=92)
    given = Given(exposure_s=F(1), display=Display.fixed(60))
    reading = read_file(tmp_path / "tablet.jpg", given)
    assert reading.kind == "photo"
    true = truth / truth.sum()
    dark = np.flatnonzero(true * cells < 0.3).tolist()
    assert set(reading.dropped) <= set(dark)
    # a stall makes the exposure end a frame early: then nothing is told
    if not reading.holds:
        assert "no hold is given" in reading.verdict
        return
    for frame in reading.holds:
        error = abs(frame.hold_s - true[frame.number])
        assert error <= 0.08 * max(true[frame.number], 1 / cells)
    assert reading.refresh_hz == 60
