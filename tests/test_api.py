"""The Python interface, as a notebook uses it."""

from __future__ import annotations

import json
from fractions import Fraction
from importlib.util import find_spec
from pathlib import Path

import pytest

import patterns
from patterns.cli import main


def test_five_lines_make_frames_a_file_and_a_cadence(tmp_path: Path) -> None:
    clip = patterns.describe("bars", rate="23.976", shutter=180, size="360p", frames=12)
    luma = [frame.y for frame in patterns.frames(clip)]
    record = patterns.write(clip, tmp_path / "bars.mp4")
    assert [plane.shape for plane in luma] == [(360, 640)] * 12
    assert record["frames"] == 12
    assert patterns.cadence("23.976", "60").ratio == Fraction(1001, 400)


def test_rgb_of_the_colour_bars() -> None:
    """100 % bars of ITU-R BT.709 in 8 bits (computed from items 3.2 and 3.3 of the standard)."""
    import numpy as np

    from patterns.picture.planes import Planes

    bars = {
        (235, 128, 128): (255, 255, 255), (219, 16, 138): (255, 255, 0),
        (188, 154, 16): (0, 255, 255), (173, 42, 26): (0, 255, 0),
        (78, 214, 230): (255, 0, 255), (63, 102, 240): (255, 0, 0),
        (32, 240, 118): (0, 0, 255), (16, 128, 128): (0, 0, 0),
    }  # fmt: skip
    for (y, cb, cr), rgb in bars.items():
        frame = Planes.blank(4, 4)
        frame.y[:], frame.cb[:], frame.cr[:] = y, cb, cr
        assert np.abs(patterns.planes_to_rgb(frame).astype(int) - rgb).max() <= 2


def test_unknown_names_are_refused() -> None:
    with pytest.raises(patterns.EvenholdError, match="allowed are bars, terrain, orbit"):
        patterns.describe("waves")
    with pytest.raises(AttributeError):
        patterns.nothing  # noqa: B018


def test_exported_names_exist() -> None:
    for name in patterns.__all__:
        assert getattr(patterns, name) is not None
        assert find_spec(f"patterns.{name}") is None  # importing it would hide the function


@pytest.mark.parametrize("pattern", ["bars", "terrain", "orbit"])
def test_describe_and_the_command_have_the_same_defaults(pattern: str, tmp_path: Path) -> None:
    out = tmp_path / "clip.mp4"
    assert main(["render", pattern, "--size", "360p", "--frames", "1", "--out", str(out)]) == 0
    record = json.loads(out.with_suffix(".json").read_text())
    clip = patterns.describe(pattern, size="360p", frames=1)
    assert record["identity"] == clip.identity
    assert record["exposure"] == "1/48 s"
