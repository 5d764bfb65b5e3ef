"""The hold chart: what its blocks say, and that it can be read."""

from __future__ import annotations

import io
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from patterns.drawing.canvas import Box, Drawing, Text, to_png, to_svg
from patterns.drawing.hold_chart import hold_chart, shown_holds
from patterns.drawing.style import DARK, LIGHT, SLIDE, Scheme
from patterns.errors import RequestError
from patterns.timing.cadence import Cadence, cadence, parse_display
from patterns.timing.rates import parse_rate

PAIRS = [("24", "60"), ("23.976", "60"), ("60", "50"), ("30", "48-120"), ("23.976", "90")]


def _cadence(rate: str, display: str) -> Cadence:
    return cadence(parse_rate(rate), parse_display(display))


def _blocks(drawing: Drawing) -> list[Box]:
    return [s for s in drawing.shapes if isinstance(s, Box) and s.height >= 78]


def test_blocks_are_as_wide_as_their_frames_are_held() -> None:
    blocks = _blocks(hold_chart([_cadence("24", "60")]))
    steps = [b.x - a.x for a, b in pairwise(blocks)]
    assert len(blocks) == 12  # half a second of 24
    assert steps == pytest.approx([steps[0], steps[0] * 2 / 3] * 5 + [steps[0]])
    assert [block.fill for block in blocks] == [LIGHT.calm, LIGHT.short] * 6


def test_rows_share_one_time_scale() -> None:
    drawing = hold_chart([_cadence("24", "120"), _cadence("30", "120")])
    by_row = {top: [b for b in _blocks(drawing) if b.y == top] for top in
              {b.y for b in _blocks(drawing)}}  # fmt: skip
    assert sorted(map(len, by_row.values())) == [12, 15]


@pytest.mark.parametrize(
    ("rate", "display", "slip_holds"),
    [("29.97", "60", [3]), ("23.976", "60", [3, 3]), ("60", "59.94", [0]), ("24", "59.94", [2, 2])],
)
def test_a_slow_slip_is_in_the_middle_of_what_is_shown(
    rate: str, display: str, slip_holds: list[int]
) -> None:
    shown, slip = shown_holds(_cadence(rate, display), 12 / parse_rate(rate))
    assert slip is not None
    held = [hold.refreshes for hold in shown]
    size = len(slip_holds)
    pattern = slip.pattern * len(held)
    breaks = [
        i for i in range(len(held) - size + 1)
        if held[i : i + size] == slip_holds and slip_holds != list(pattern[:size])
    ]  # fmt: skip
    assert len(breaks) == 1
    assert 0.3 < breaks[0] / len(held) < 0.7


def test_a_hold_that_only_a_slip_makes_is_in_the_warm_hue() -> None:
    fills = {block.fill for block in _blocks(hold_chart([_cadence("29.97", "60")]))}
    assert fills == {LIGHT.calm, LIGHT.wrong}
    assert {b.fill for b in _blocks(hold_chart([_cadence("24", "120")]))} == {LIGHT.calm}


@pytest.mark.parametrize("colours", [LIGHT, DARK])
@pytest.mark.parametrize("rows", [1, 2, 3, 5])
def test_no_text_overlaps_another_or_leaves_the_margins(colours: Scheme, rows: int) -> None:
    drawing = hold_chart([_cadence(*pair) for pair in PAIRS[:rows]], colours)
    spans = []
    for text in (s for s in drawing.shapes if isinstance(s, Text)):
        left = text.x - text.width * {"start": 0, "middle": 0.5, "end": 1}[text.anchor]
        assert left >= SLIDE.margin_px - 1
        assert left + text.width <= SLIDE.width_px - SLIDE.margin_px + 6
        spans.append((left, left + text.width, text.y - 0.72 * text.size_px, text.y))
    for i, (l0, r0, t0, b0) in enumerate(spans):
        for l1, r1, t1, b1 in spans[i + 1 :]:
            assert r0 <= l1 or r1 <= l0 or b0 <= t1 or b1 <= t0


def test_the_same_chart_gives_the_same_bytes_and_png_and_svg_agree() -> None:
    drawing = hold_chart([_cadence("24", "60")])
    assert to_png(drawing) == to_png(hold_chart([_cadence("24", "60")]))
    root = ElementTree.fromstring(to_svg(drawing))
    rects = root.findall("{http://www.w3.org/2000/svg}rect")
    assert sum(float(r.get("height", "0").rstrip("%")) == 230 for r in rects) == 12
    pixels = np.asarray(Image.open(io.BytesIO(to_png(drawing))))
    first = _blocks(drawing)[0]
    place = pixels[round(first.y + 40), round(first.x + 20)]
    assert bytes(place).hex() == LIGHT.calm[1:]


@pytest.mark.parametrize("count", [0, 13])
def test_too_few_or_too_many_rows_are_refused(count: int) -> None:
    with pytest.raises(RequestError, match="1 to 12"):
        hold_chart([_cadence("24", "60")] * count)
