"""A pattern is one entry of a table: a fourth one, made here, goes through the whole program."""

# ruff: noqa: ARG001, ARG002 - what a pattern is given, and this one does not need

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction as F
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
import pytest

import patterns
from patterns.cli import main
from patterns.kit.kit import kit_clips, make_kit
from patterns.picture.arrays import FloatArray
from patterns.picture.planes import Planes
from patterns.scenes.motion import Motion, Quantity
from patterns.scenes.pattern import Option, Pace, Pattern, Shot
from patterns.scenes.table import PATTERNS, register


@dataclass(frozen=True)
class ColumnsMotion(Motion):
    """Soft columns that drift to the right."""

    drift_px_s: F = F(120)
    pattern: ClassVar[str] = "columns"
    speed_field: ClassVar[str] = "drift_px_s"
    period: ClassVar[F] = F(480)
    words: ClassVar[str] = "columns that drift"
    brief: ClassVar[str] = "columns"

    def speed_at(self, width: int, right_px: FloatArray, down_px: FloatArray) -> FloatArray:
        return np.full(np.broadcast_shapes(right_px.shape, down_px.shape), float(self.drift_px_s))

    def quantities(self, width: int, height: int) -> tuple[Quantity, ...]:
        return (Quantity("drift", "px/s", float(self.drift_px_s)),)


class ColumnsRenderer:
    def __init__(self, shot: Shot, width: int, height: int) -> None:
        self.shot, self.x = shot, np.arange(width)

    def draw(self, n: int, picture: Planes) -> None:
        shift = float(self.shot.motion.speed * n / self.shot.rate)
        turns = (self.x - shift) / float(self.shot.motion.period)
        picture.y[:] = np.rint(80 + 40 * np.sin(2 * np.pi * turns)).astype(np.uint8)
        picture.cb[:] = picture.cr[:] = 128


def build(values: Mapping[str, Any], width: int, height: int) -> Motion:
    return ColumnsMotion(values["drift"])


COLUMNS = Pattern(
    name="columns",
    heading="Drifting columns",
    summary="Soft columns that drift.",
    look_for="Watch <one> column.",
    look_at="Watch one column.",
    options=(Option("drift", "PX/S", "Speed, pixels a second.", ColumnsMotion.drift_px_s),),
    pace=Pace("drift", inverse=False, shown=F(120), fastest=F(400), step=F(1), words="at {} px/s"),
    build=build,
    renderer=ColumnsRenderer,
)


@pytest.fixture(autouse=True)
def _columns() -> Iterator[None]:
    register(COLUMNS)
    yield
    del PATTERNS["columns"]


def run(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    code = main(list(words))
    said = capsys.readouterr()
    assert code == 0, said.err
    return said.out


def test_it_is_rendered_and_read_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    clip = tmp_path / "columns.mp4"
    given = ("--drift", "288", "--size", "360p", "--frames", "30", "--seamless", "--json")
    record = json.loads(run(capsys, "render", "columns", *given, "--out", str(clip)))
    assert record["pattern"] == "columns"
    assert record["motion"] == {"drift_px_s": 288}
    assert record["frames"] == 40  # 480 px at 288 px/s are 5/3 s
    assert record["image_motion"]["fastest"]["px_per_frame"] == 12
    reading = json.loads(run(capsys, "read", str(clip), "--json"))
    assert reading["clip"] == f"{record['identity']:04x}"
    assert reading["verdict"].startswith("as it was made: every frame once and in order")
    assert "columns" in run(capsys, "render", "--help")
    assert patterns.describe("columns", size="360p").motion == ColumnsMotion()


def test_it_is_planned(capsys: pytest.CaptureFixture[str]) -> None:
    # 1920 px in 7 s at 24 fps is the guidance: 274 px/s, a sixth of 1646.
    plan = json.loads(run(capsys, "plan", "--pattern", "columns", "--drift", "1646", "--json"))
    assert plan["rates"][0]["movement"]["meets_limit"][0]["quantity"] == "drift"
    assert "columns: speed, pixels a second" in " ".join(run(capsys, "plan", "--help").split())
    assert main(["plan", "--drift", "10"]) == 2
    assert "--drift is for columns: add --pattern columns" in capsys.readouterr().err


def test_it_is_presented(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    size = ("--size", "960x540", "--seconds", "0.5", "--jobs", "1", "--out", str(tmp_path))
    data = json.loads(run(capsys, "present", "--pattern", "columns", "--json", *size))
    (item,) = data["items"]
    assert item["look"] == "Watch one column."
    # 24 and 30 on 60 Hz: a span of 1/120 s, so 240 px/s shake by the 2 px that 4 at 1080p are.
    assert "at 240 px/s" in item["say"][0]


def test_the_kit_page_and_its_sheet_explain_it(tmp_path: Path) -> None:
    motion = COLUMNS.motion(640, 360)
    make_kit(tmp_path, kit_clips([motion], [F(24)], size=(640, 360), seconds=F(1, 2)))
    for page in ("index.html", "crib-sheet.html"):
        text = (tmp_path / page).read_text(encoding="utf-8")
        assert "<h2>Drifting columns</h2>" in text
        assert "Watch &lt;one&gt; column." in text
    assert (tmp_path / "evenhold-columns-24fps.mp4").exists()
