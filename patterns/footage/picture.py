"""The map of footage: a picture of its fastest shot, with where it goes too fast."""

from __future__ import annotations

from itertools import product

import numpy as np
from PIL import Image

from patterns.drawing.canvas import Box, Drawing, Raster, Stroke, Text
from patterns.drawing.style import LIGHT, Scheme
from patterns.footage.measure import Facts
from patterns.picture.lettering import size_for_width
from patterns.timing.rates import format_decimal, limit_px_s

WIDTH, FOOT = 960, 64
MOST = 2.0  # times the guidance's speed, drawn as a bar that fills its place


def motion_map(facts: Facts, colours: Scheme = LIGHT) -> Drawing:
    """Draw how fast the places of the fastest shot go, over a picture of the file.

    Each place has a bar that is longer the faster it goes; where it is past the guidance the bar
    is thick and in the colour of what is wrong. Places without one are not known.
    """
    shot, picture = facts.fastest, facts.picture
    width = WIDTH if picture.shape[1] >= picture.shape[0] else WIDTH // 2
    height = round(width * picture.shape[0] / picture.shape[1])
    limit = float(limit_px_s(facts.rate, facts.info.width))
    title = "How fast the picture moves: not known"
    drawing = Drawing(width, height + FOOT, colours.paper, title)
    drawing.add(Raster(0, 0, width, height, Image.fromarray(picture).convert("RGB")))
    if shot is None or shot.speeds is None:
        return drawing
    times = shot.speeds / limit
    known = times[~np.isnan(times)]
    past = 100 * float((known > 1).mean()) if known.size else 0.0
    drawing.title = f"{past:.0f} % of the places that are known go faster than the guidance"
    rows, columns = times.shape
    for row, column in product(range(rows), range(columns)):
        if not np.isnan(times[row, column]):
            x, y = (column + 0.5) * width / columns, (row + 0.5) * height / rows
            _bar(drawing, x, y, float(times[row, column]), width / columns, colours)
    words = (
        f"orange, thick: past the guidance at {format_decimal(facts.rate)} fps, "
        f"{format_decimal(limit / float(facts.rate), 1)} px a frame; longer is faster"
    )
    size = size_for_width(words, width - 8, 24)
    drawing.add(Text(4, height + 40, words, size, colours.ink))
    return drawing


def _bar(drawing: Drawing, x: float, y: float, times: float, room: float, colours: Scheme) -> None:
    """Bar of a place, its middle at x and y, on a ground that stands out from any picture."""
    length = room * 0.9 * min(times, MOST) / MOST
    thick, fill = (8, colours.wrong) if times > 1 else (4, colours.paper)
    left = x - length / 2
    drawing.add(Box(left - 2, y - thick / 2 - 2, length + 4, thick + 4, colours.ink))
    drawing.add(Stroke(left, y, left + length, y, fill, thick))
