"""The picture of a pattern, for pages."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from patterns.clip import Clip
from patterns.kit import kit
from patterns.kit.kit import poster_jpeg, write_poster
from patterns.scenes.terrain.motion import TerrainMotion

CLIP = Clip(TerrainMotion(), Fraction(24), Fraction(1, 48), 1280, 720, frames=2)


def test_it_is_drawn_as_small_as_it_is_shown(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """And looks like the clip's frame made smaller."""
    drawn = []

    def noted(clip: Clip, n: int, width: int) -> bytes:
        drawn.append((clip.width, clip.height))
        return poster_jpeg(clip, n, width)

    monkeypatch.setattr(kit, "poster_jpeg", noted)
    name = write_poster(CLIP, tmp_path, lambda _done, _total: None)
    assert drawn == [(960, 540)]
    plain = replace(CLIP, strip="none")
    (tmp_path / "whole.jpg").write_bytes(poster_jpeg(plain, 1, 960))
    small, whole = (
        np.asarray(Image.open(tmp_path / file).convert("L"), float) for file in (name, "whole.jpg")
    )
    assert small.shape == whole.shape == (540, 960)
    assert np.abs(small - whole).mean() < 4
    assert abs((small - whole).mean()) < 1
