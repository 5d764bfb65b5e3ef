"""Moves of our own as files, each made once for all tests that convert it."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest

from tests.reading.edits import encode, shot

ShotFile = Callable[[str, int, int], Path]


@pytest.fixture(scope="session")
def shot_file(tmp_path_factory: pytest.TempPathFactory) -> ShotFile:
    """A move by pattern, frames a second and number of frames, as H.264 that hides nothing."""
    folder = tmp_path_factory.mktemp("shots")

    def made(pattern: str, rate: int, frames: int) -> Path:
        path = folder / f"{pattern}-{rate}-{frames}.mp4"
        if not path.exists():
            encode(shot(pattern, Fraction(rate), frames), Fraction(rate), path, 12)
        return path

    return made
