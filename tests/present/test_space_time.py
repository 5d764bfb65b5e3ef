"""The space-time diagram: its steps lie where the frames are, and its line where they are due."""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from patterns.drawing.canvas import Box, Drawing, Stroke, Text
from patterns.drawing.space_time import LINE_PX, STEP_PX, space_time
from patterns.drawing.style import DARK, LIGHT, SLIDE, Scheme
from patterns.errors import RequestError
from patterns.timing.cadence import Cadence, Display, cadence, holds


def _cadences(*rates: int) -> list[Cadence]:
    return [cadence(F(rate), Display.fixed(60)) for rate in rates]


def _steps(drawing: Drawing) -> list[Box]:
    return [s for s in drawing.shapes if isinstance(s, Box) and s.height == STEP_PX]


@pytest.mark.parametrize("rate", [24, 25, 30, 48, 60])
def test_steps_are_as_long_as_their_frames_are_held(rate: int) -> None:
    drawing = space_time(_cadences(rate), F(480))
    (line,) = [s for s in drawing.shapes if isinstance(s, Stroke) and s.width == LINE_PX]
    refresh_px = (line.x1 - line.x0) / float(F(8, rate) * 60)
    steps = _steps(drawing)
    lengths = [step.width / refresh_px for step in steps[:-1]]
    assert lengths == pytest.approx(list(holds(F(rate), F(60), len(lengths))), abs=1e-6)


def test_a_step_begins_on_or_behind_the_line_and_less_than_a_refresh_behind() -> None:
    drawing = space_time(_cadences(25), F(480))
    (line,) = [s for s in drawing.shapes if isinstance(s, Stroke) and s.width == LINE_PX]
    refresh_px = (line.x1 - line.x0) / float(F(8, 25) * 60)
    for step in _steps(drawing):
        share = (line.y0 - step.y - STEP_PX / 2) / (line.y0 - line.y1)
        due = line.x0 + share * (line.x1 - line.x0)
        assert -1e-6 <= step.x - due < refresh_px


@pytest.mark.parametrize("colours", [LIGHT, DARK])
@pytest.mark.parametrize("rates", [(24,), (24, 30), (24, 25, 60), (24, 25, 30, 48)])
def test_no_text_leaves_the_margins_or_its_plot(rates: tuple[int, ...], colours: Scheme) -> None:
    drawing = space_time(_cadences(*rates), F(480), colours)
    for text in (s for s in drawing.shapes if isinstance(s, Text)):
        left = text.x - text.width * {"start": 0, "middle": 0.5, "end": 1}[text.anchor]
        assert left >= SLIDE.margin_px - 1
        assert left + text.width <= SLIDE.width_px - SLIDE.margin_px + 6


@pytest.mark.parametrize("count", [0, 5])
def test_one_to_four_are_drawn(count: int) -> None:
    with pytest.raises(RequestError, match="1 to 4"):
        space_time(_cadences(*[24] * count), F(480))
