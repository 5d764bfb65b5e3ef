"""The live bars: exact pictures for any canvas, read by the strip's own reader, and safe."""

from __future__ import annotations

import io
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from PIL import Image

from patterns.errors import RequestError
from patterns.picture.arrays import UInt8Array
from patterns.safety.check import FlashCheck
from patterns.strip.code import Identity
from patterns.strip.read import StripReading, read_strip
from patterns.web.live_pattern import LivePattern, live_pattern, number_table, snapped_refresh

SIZES = [(1280, 720), (390, 844), (844, 390), (1080, 2340), (2560, 1600)]


def picture(data: bytes) -> UInt8Array:
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))


def compose(pattern: LivePattern, number: int) -> UInt8Array:
    """The page's own steps, in NumPy: shift the bars, lay the band on, light the cells."""
    plan = pattern.to_json()
    width, height, top = plan["width"], plan["height"], plan["band_top"]
    canvas = np.zeros((height, width, 3), np.uint8)
    period = plan["period_px"]
    shift = -number * plan["step_px"] % period
    canvas[:top] = picture(pattern.bars_png())[0, shift : shift + width]
    canvas[top:] = picture(pattern.band_png())
    word = int(np.frombuffer(number_table(), "<u4")[number])
    boxes = [
        box for i, box in enumerate(plan["number"]) if word >> (plan["number_bits"] - 1 - i) & 1
    ] + [plan["hold"][number % len(plan["hold"])]]
    for left, up, across, down in boxes:
        canvas[top + up : top + up + down, left : left + across] = 255
    return canvas


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_the_strip_is_read_back(width: int, height: int) -> None:
    pattern = live_pattern(width, height, Fraction(120))
    for number in (0, 1, 777, 65535):
        reading = read_strip(compose(pattern, number)[..., 1].copy())
        assert isinstance(reading, StripReading)
        assert (reading.number, reading.later) == (number, None)
        assert reading.identity == Identity.of(Fraction(120), pattern.clip.identity)


def test_bars_move_by_whole_pixels() -> None:
    """Seen as numbers: each frame is the one before, shifted; no light changes."""
    pattern = live_pattern(1280, 720, Fraction(60))
    rows = [compose(pattern, n)[10, :, 0].astype(int) for n in range(0, 400, 7)]
    for before, after in pairwise(rows):
        step = 7 * pattern.step_px
        assert (after[step:] == before[:-step]).all()


def test_figures_fit_their_line() -> None:
    for width, height in SIZES:
        pattern = live_pattern(width, height, Fraction(60))
        figures = pattern.to_json()["figures"]
        digits = picture(pattern.digits_png())
        assert digits.shape[1] >= sum(figures["widths"])
        assert figures["number_left"] + 5 * max(figures["widths"]) < figures["clock_left"]


@pytest.mark.parametrize("hz", [30, 48, 60, 90, 120, 144, 240, 480])
@pytest.mark.parametrize("width", [320, 390, 1280, 3840])
def test_the_bars_stay_below_the_limits_for_flashes_and_stripes(width: int, hz: int) -> None:
    """At most three bars a second past any place (WCAG 2.2, BT.1702) and at most five pairs."""
    pattern = live_pattern(width, 720, Fraction(hz))
    assert Fraction(pattern.step_px * hz, pattern.period_px) <= 3
    assert 2 * pattern.step_px < pattern.period_px  # they are seen to move as they do
    assert width <= 5 * pattern.period_px


def test_the_pictures_pass_the_check() -> None:
    pattern = live_pattern(390, 844, Fraction(60))
    check = FlashCheck(390, 844, Fraction(60))
    for number in range(70):
        check.see(Fraction(number, 60), compose(pattern, number))
    assert check.report().passes


def test_refreshes_snap_to_what_they_stand_for() -> None:
    assert snapped_refresh("59.9399") == Fraction(60000, 1001)
    assert snapped_refresh("60.0024") == 60
    assert snapped_refresh("119.882") == Fraction(120000, 1001)
    assert snapped_refresh("61.70") == Fraction(617, 10)


@pytest.mark.parametrize("text", ["", "0", "-60", "nan", "inf", "1e9", "501", "6" * 40])
def test_what_is_no_refresh_is_refused(text: str) -> None:
    with pytest.raises(RequestError):
        snapped_refresh(text)


@pytest.mark.parametrize(("width", "height"), [(0, 0), (100, 100), (8194, 720), (1281, 720)])
def test_canvases_that_cannot_be(width: int, height: int) -> None:
    with pytest.raises(RequestError):
        live_pattern(width, height, Fraction(60))
