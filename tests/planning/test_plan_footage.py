"""What a plan takes from files of footage."""

from __future__ import annotations

from fractions import Fraction as F
from pathlib import Path

import numpy as np
import pytest

from patterns.footage.measure import Facts, measure
from patterns.planning.footage import move_of, taken
from tests.reading.edits import encode
from tests.video.moving import moving_texture


def _measured(path: Path, *, slides: bool) -> Facts:
    """A texture that slides by 3.3 pixels a frame, or stands still, in pictures of 322 x 180."""
    drawn = [frame.y.astype(np.float32) for frame in moving_texture(40, 322, 180)]
    shown = drawn if slides else drawn[:1] * len(drawn)
    return measure(encode(shown, F(25), path, 20), lambda *_: None)


def test_the_move_is_that_of_the_first_file_that_moves(tmp_path: Path) -> None:
    still = _measured(tmp_path / "still.mp4", slides=False)
    slide = _measured(tmp_path / "slide.mp4", slides=True)
    move = move_of([still, slide])
    assert move is not None
    assert move.size == (322, 180)
    assert float(move.cross_s) == pytest.approx(322 / (3.3 * 25), rel=0.05)
    assert move_of([still]) is None
    assert [label for label, _ in taken(slide)] == ["times", "motion", "fastest"]
