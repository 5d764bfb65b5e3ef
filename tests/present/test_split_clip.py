"""Split clips: every panel's strip, read refresh by refresh, shows the holds predicted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction as F
from itertools import groupby
from pathlib import Path

import numpy as np
import pytest

from patterns.errors import RequestError
from patterns.picture.arrays import UInt8Array
from patterns.picture.planes import Planes
from patterns.present.hold_meter import HoldMeter, meter_window, runs
from patterns.present.panel import Area, LayoutName, PanelAreas
from patterns.present.split_clip import SplitClip, write_split
from patterns.present.split_spec import SceneChoice, SplitSpec, conform_panels, rate_panels
from patterns.strip.placement import Placement
from patterns.strip.read import StripReading, read_strip
from patterns.timing.shutter import Shutter
from patterns.video.reader import read_luma


def due_frame(rate: F, k: int, refresh_hz: F) -> int:
    """Last frame whose moment n/F has come at refresh k, found by going through them."""
    n = 0
    while (n + 1) / rate <= k / refresh_hz:
        n += 1
    return n


def cut(luma: UInt8Array, area: Area) -> UInt8Array:
    return luma[area.top : area.bottom, area.left : area.right]


def spec_of(
    rates: tuple[F, ...], refresh_hz: F, layout: LayoutName = "side", *,
    pattern: str = "bars", seconds: F = F(3, 4), slow: int = 1,
    size: tuple[int, int] = (1280, 720),
) -> SplitSpec:  # fmt: skip
    return SplitSpec(
        rate_panels(rates, refresh_hz), SceneChoice(pattern), refresh_hz, layout,
        *size, seconds=seconds, slow=slow, strip=True,
    )  # fmt: skip


def read_numbers(pictures: Iterable[UInt8Array], areas: Sequence[PanelAreas]) -> list[list[int]]:
    """Number that each panel shows in each picture; where its strip lies is found once."""
    near: list[Placement | None] = [None] * len(areas)
    numbers: list[list[int]] = [[] for _ in areas]
    for luma in pictures:
        for at, area in enumerate(areas):
            reading = read_strip(cut(luma, area.picture), near=near[at])
            assert isinstance(reading, StripReading), reading
            assert reading.later is None
            near[at] = reading.placement
            numbers[at].append(reading.number)
    return numbers


GRID = [
    ((F(24), F(30)), F(60), "side"),
    ((F(24), F(25)), F(60), "line"),
    ((F(24000, 1001), F(30000, 1001)), F(60), "stacked"),
    ((F(25), F(30)), F(50), "side"),
    ((F(24), F(60)), F(60000, 1001), "stacked"),
    ((F(24), F(30), F(60)), F(75), "side"),
    ((F(24), F(48), F(60)), F(144), "stacked"),
    ((F(24), F(25), F(30), F(60)), F(60), "grid"),
    ((F(12), F(24), F(30), F(60)), F(120), "grid"),
]


@pytest.mark.parametrize(("rates", "refresh_hz", "layout"), GRID)
def test_each_panels_strip_gives_the_predicted_holds(
    rates: tuple[F, ...], refresh_hz: F, layout: LayoutName
) -> None:
    spec = spec_of(rates, refresh_hz, layout, seconds=F(1, 4))  # 25 on 60 Hz repeats after 1/5 s
    clip = SplitClip(spec)
    numbers = read_numbers((frame.y for frame in clip.refreshes()), clip.areas)
    for rate, found in zip(rates, numbers, strict=True):
        due = [due_frame(rate, k, refresh_hz) for k in range(spec.refreshes)]
        assert found == due
        holds = [len(list(group)) for _, group in groupby(found)]
        assert holds == [len(list(group)) for _, group in groupby(due)]


def test_24_and_30_on_60_hold_3_2_and_2_2_in_the_file(tmp_path: Path) -> None:
    # 3:2 and 2:2 are the pulldowns of Poynton, Digital Video and HDTV (2003).
    spec = spec_of((F(24), F(30)), F(60), seconds=F(1, 2), slow=2, size=(960, 540))
    path = tmp_path / "split.mp4"
    report = write_split(spec, path)
    assert report.passes
    read = list(read_luma(path))
    assert [time_s for time_s, _ in read] == [F(n, 60) for n in range(60)]
    numbers = read_numbers((luma for _, luma in read), spec.areas)
    assert [len(list(g)) for _, g in groupby(numbers[0])] == [6, 4] * 6
    assert [len(list(g)) for _, g in groupby(numbers[1])] == [4] * 15


def test_blended_frames_are_read_as_mixtures_and_repeated_ones_as_what_they_are() -> None:
    panels = conform_panels(F(24), F(30), F(60))
    spec = SplitSpec(panels, SceneChoice(), F(60), "grid", strip=True)
    clip = SplitClip(spec)
    for k in (0, 2, 4, 6, 8, 10):
        frame = clip.draw(k)
        repeated, blended, sped, native = (read_strip(cut(frame.y, a.picture)) for a in clip.areas)
        place = F(k // 2) * F(24, 30)
        assert isinstance(repeated, StripReading)
        assert repeated.number == place.__floor__()
        assert isinstance(blended, StripReading)
        assert blended.number == place.__floor__()
        assert (blended.later is not None) == (place.denominator > 1)
        if blended.later is not None:
            assert blended.share == pytest.approx(float(place % 1), abs=0.06)
        assert isinstance(sped, StripReading)
        assert isinstance(native, StripReading)
        assert (sped.number, native.number) == (k // 2, k // 2)


def edge_place(luma: UInt8Array, area: Area, row: int) -> float:
    """Column, to a fraction of a pixel, where the first bar in a row of a panel ends."""
    line = luma[area.top + row, area.left : area.right].astype(float)
    middle = (line.max() + line.min()) / 2
    falls = np.flatnonzero((line[:-1] >= middle) & (line[1:] < middle))
    k = int(falls[0])
    return float(k + (line[k] - middle) / (line[k] - line[k + 1]))


def test_one_scene_goes_through_the_dividing_line() -> None:
    spec = spec_of((F(24), F(30)), F(60), "line")
    clip = SplitClip(spec)
    upper, lower = (a.picture for a in clip.areas)
    between = lower.top - upper.bottom
    assert between == 4  # the line, 6 pixels at 1080 rows
    assert (upper.left, upper.width) == (lower.left, lower.width)
    frame = clip.draw(0)  # at refresh 0 both show frame 0
    line = frame.y[upper.bottom : lower.top, upper.left : upper.right]
    assert line.min() > 220  # drawn all across, lighter than a bar
    assert edge_place(frame.y, upper, upper.height - 4) == pytest.approx(
        edge_place(frame.y, lower, 4), abs=1.2  # their shutters blur by different amounts
    )  # fmt: skip


def test_both_sides_of_a_line_through_country_are_one_picture() -> None:
    spec = spec_of((F(24), F(24000, 1001)), F(60), "line", pattern="terrain", size=(960, 540))
    left, right = (a.picture for a in spec.areas)
    gap = right.left - left.right
    assert 2 <= gap <= 4
    y = SplitClip(spec).draw(0).y.astype(int)
    assert y[left.top : left.bottom, left.right : right.left].min() > 220  # the line
    rows = slice(left.top, left.top + left.height // 2)
    # Pixels `gap + 1` apart differ as much across the line as beside it.
    across = np.abs(y[rows, left.right - 1] - y[rows, right.left]).mean()
    beside = y[rows, left.right - 40 : left.right].astype(int)
    within = np.abs(beside[:, gap + 1 :] - beside[:, : -gap - 1]).mean()
    assert across < 2 * within + 1


def test_the_line_of_an_orbit_keeps_clear_of_the_subject() -> None:
    spec = spec_of((F(24), F(30)), F(60), "line", pattern="orbit")
    left, right = (a.picture for a in spec.areas)
    middle = (left.left + right.right) / 2
    # A tower that the scene keeps in the middle is a tenth of this picture wide, and its
    # foot a little wider.
    assert middle - right.left > 0.1 * (right.right - left.left)
    meters = [a.meter for a in spec.areas]
    assert meters[0].width == meters[1].width  # so that the blocks compare
    assert meters[0].right < right.left


LAYOUTS_WITH_DIGITS = [
    ((F(24), F(30)), F(60), "side", (1920, 1080)),
    ((F(24), F(30)), F(60), "line", (1920, 1080)),
    ((F(24), F(25), F(30), F(60)), F(60), "grid", (1920, 1080)),
    ((F(24), F(30), F(60)), F(60), "stacked", (1080, 1920)),
    ((F(24), F(30)), F(60), "side", (1080, 1920)),
    ((F(24), F(60)), F(120), "stacked", (1280, 720)),
]


@pytest.mark.parametrize(("rates", "refresh_hz", "layout", "size"), LAYOUTS_WITH_DIGITS)
def test_the_blocks_of_every_layout_have_digits(
    rates: tuple[F, ...], refresh_hz: F, layout: LayoutName, size: tuple[int, int]
) -> None:
    spec = replace(spec_of(rates, refresh_hz, layout, size=size), strip=False)
    for panel, area in zip(spec.panels, spec.areas, strict=True):
        meter = HoldMeter(panel.feed, refresh_hz, Area(0, 0, area.meter.width, area.meter.height),
                          spec.meter_window, spec.colours, spec.unit)  # fmt: skip
        frame = Planes.blank(area.meter.width, area.meter.height)
        meter.draw(spec.meter_window - 1, frame)
        blocks = list(runs(panel.feed, refresh_hz, 0, spec.meter_window))
        cell = area.meter.width / spec.meter_window
        for run in blocks[1:-1]:
            middle = round((run.start + run.refreshes / 2) * cell)
            reach = max(3, round(cell * 0.3))
            block = frame.y[: area.meter.height // 2, middle - reach : middle + reach].astype(int)
            assert np.ptp(block) > 60, (panel.title, run)  # something is written in it


def test_an_audience_sees_no_strip() -> None:
    spec = replace(spec_of((F(24), F(30)), F(60)), strip=False)
    frame = SplitClip(spec).draw(3)
    for areas in spec.areas:
        assert not isinstance(read_strip(cut(frame.y, areas.picture)), StripReading)
        foot = frame.y[areas.picture.bottom - 1, areas.picture.left : areas.picture.right]
        above = frame.y[areas.picture.top + 4, areas.picture.left : areas.picture.right]
        assert (foot == above).all()  # the bars go on to the picture's lower edge


@pytest.mark.parametrize(("count", "slow"), [(2, 1), (2, 4), (3, 4), (4, 4)])
def test_the_bars_of_every_layout_pass_the_check(count: int, slow: int, tmp_path: Path) -> None:
    rates = (F(24), F(25), F(30), F(60))[:count]
    spec = SplitSpec(
        rate_panels(rates, F(60)), SceneChoice(across=count), F(60), "side", 1440, 810,
        seconds=F(1, slow), slow=slow,
    )  # fmt: skip
    assert write_split(spec, tmp_path / "split.mp4").passes


def test_what_exceeds_a_limit_is_refused_and_not_kept(tmp_path: Path) -> None:
    scene = SceneChoice(pace=F(1), across=1)
    spec = SplitSpec(rate_panels((F(24), F(30)), F(60)), scene, F(60), width=720, height=404,
                     seconds=F(1, 2))  # fmt: skip
    with pytest.raises(RequestError, match="--allow-flashing"):
        write_split(spec, tmp_path / "split.mp4")
    assert list(tmp_path.iterdir()) == []
    assert not write_split(spec, tmp_path / "split.mp4", allow_flashing=True).passes


def test_the_meter_marks_the_refresh_and_fills_by_one_cell() -> None:
    spec = spec_of((F(24), F(30)), F(60))
    clip = SplitClip(spec)
    area = clip.areas[0].meter
    assert clip.window == 30
    assert meter_window((spec.panels[0].feed,), F(60), area.width) == 25
    for k in (0, 7, 29, 30):
        row = clip.draw(k).y[area.bottom - 3, area.left : area.right]
        lit = np.flatnonzero(row > 200)
        at = k % 30
        assert lit[0] == pytest.approx(at * area.width / 30, abs=1.5)
        assert lit[-1] + 1 == pytest.approx((at + 1) * area.width / 30, abs=1.5)


def test_shutter_by_angle_and_by_time_is_stated() -> None:
    by_angle = rate_panels((F(24), F(30)), F(60), Shutter(F(90)))
    assert [p.caption for p in by_angle] == ["shutter 90°, 1/96 s",
                                           "shutter 90°, 1/120 s"]  # fmt: skip
    by_time = rate_panels((F(24), F(30)), F(60), Shutter(exposure_s=F(1, 60)))
    assert [p.caption for p in by_time] == ["shutter 1/60 s, 144°",
                                          "shutter 1/60 s, 180°"]  # fmt: skip
    assert {p.exposure_s for p in by_time} == {F(1, 60)}
    closed = rate_panels((F(24),), F(60), Shutter(exposure_s=F(0)))
    assert closed[0].caption == "shutter 0 s, 0°"


@pytest.mark.parametrize(
    ("rates", "layout", "words"),
    [((F(24),), "side", "2 to 4 panels"), ((F(24), F(25), F(30)), "line", "two sides"),
     ((F(24), F(30)), "grid", "four panels"), ((F(24), F(30), F(60)), "side", "too small")],
)  # fmt: skip
def test_what_does_not_fit_is_refused_before_anything_is_drawn(
    rates: tuple[F, ...], layout: LayoutName, words: str
) -> None:
    with pytest.raises(RequestError, match=words):
        spec_of(rates, F(60), layout, size=(960, 540))


def test_the_same_clip_is_the_same_to_the_byte() -> None:
    spec = spec_of((F(24), F(30)), F(60), size=(960, 540))
    one, other = SplitClip(spec).draw(5), SplitClip(spec).draw(5)
    assert (one.y == other.y).all()
    assert (one.cb == other.cb).all()
