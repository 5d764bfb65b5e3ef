"""The tracked-eye picture as a slide: the same moving plate as several cadences give it."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np
from PIL import Image

from patterns.drawing.canvas import Box, Drawing, Stroke, Text
from patterns.drawing.picture_file import to_image
from patterns.drawing.style import LIGHT, SLIDE, Scheme
from patterns.errors import RequestError
from patterns.picture.arrays import FloatArray
from patterns.picture.lettering import cap_height_px
from patterns.picture.light import light_to_signal, signal_to_light
from patterns.present.tracked_eye import (
    double_edge_px,
    hold_blur_px,
    retinal_boxes,
    tracked_picture,
)
from patterns.timing.cadence import Cadence
from patterns.timing.cadence import cadence as cadence_of
from patterns.timing.rates import format_decimal
from patterns.timing.shutter import exposure_of_angle

__all__ = ["MOST_ROWS", "SLOWER", "tracked_eye_slide", "with_contrast"]

MOST_ROWS = 4
SLOWER = 4  # the plate by the clip's speed: else the smear hides the doubling
ENLARGED = 6
PLATE_WIDTH, PLATE_HEIGHT = 146, 18  # screen pixels shown of the plate
DARK_PLATE, LIGHT_PLATE = "#1d2730", "#e8e4d8"
LEFT_COLUMN, TOP, FOOT = 500, 232, 156
LINE_LEFT, LINE_WIDTH, LINE_HEIGHT = 1416, 296, 62  # from the margin: a fine line
LINE_MARGIN, TICK = 16, 14


def _plate() -> Image.Image:
    """A survey plate at 1:1: a bar, a name, and finer bars."""
    drawing = Drawing(PLATE_WIDTH, PLATE_HEIGHT, DARK_PLATE, "plate")
    for left, width in ((12, 12), (106, 3), (118, 2), (130, 1)):
        drawing.add(Box(left, 0, width, PLATE_HEIGHT, LIGHT_PLATE))
    base = PLATE_HEIGHT / 2 + cap_height_px(18) / 2
    drawing.add(Text(64, base, "TARN 7", 18, LIGHT_PLATE, "middle", True))
    return to_image(drawing)


def _as_picture(light: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> Image.Image:
    """Picture of linear light (colours, rows, columns), enlarged without inventing detail."""
    codes = np.rint(255 * light_to_signal(np.moveaxis(light, 0, -1))).astype(np.uint8)
    size = (PLATE_WIDTH * ENLARGED, PLATE_HEIGHT * ENLARGED)
    return Image.fromarray(codes).resize(size, Image.Resampling.BICUBIC)


def tracked_eye_slide(
    cadences: Sequence[Cadence],
    *,
    clip_px_s: Fraction = Fraction(480),
    angle_deg: Fraction = Fraction(0),
    colours: Scheme = LIGHT,
) -> Image.Image:
    """Slide of 1920 x 1080: the plate at rest, and as the following eye gets it.

    Parameters
    ----------
    cadences
        One to four; beside them stands one that is even.
    clip_px_s
        Speed of the clip, of which the plate goes a `SLOWER`th.
    angle_deg
        Shutter of every clip; 0 leaves only what the screen and the eye add.

    Raises
    ------
    RequestError
        No cadence, or more than four.
    """
    if not 1 <= len(cadences) <= MOST_ROWS:
        raise RequestError(f"a tracked-eye slide takes 1 to {MOST_ROWS} rates, not {len(cadences)}")
    drawing = Drawing(SLIDE.width_px, SLIDE.height_px, colours.paper, "What the following eye gets")
    speed_px_s = float(clip_px_s) / SLOWER
    _words(drawing, colours, speed_px_s, angle_deg)
    cadences = with_contrast(cadences)
    plate = _plate()
    still = np.moveaxis(signal_to_light(np.asarray(plate, np.float32) / 255), -1, 0)
    light = np.asarray(still, np.float64)
    pictures = [light]
    rows = [("at rest", "what there is to see", True)]
    for cadence in cadences:
        exposure = exposure_of_angle(angle_deg, cadence.rate)
        pictures.append(tracked_picture(light, cadence, speed_px_s, exposure))
        name = f"{format_decimal(cadence.rate)} on {cadence.display.name} Hz"
        rows.append((name, f"hold blur {hold_blur_px(cadence, speed_px_s):.1f} px", cadence.even))
    pitch = (SLIDE.height_px - TOP - FOOT) / len(rows)
    for number, (name, words, even) in enumerate(rows):
        _row_words(drawing, TOP + number * pitch, (name, words), colours, even=even)
    widest = max(box.end_px for c in cadences for box in retinal_boxes(c, speed_px_s))
    scale = (LINE_WIDTH - 2 * LINE_MARGIN) / widest
    for number, cadence in enumerate(cadences, start=1):
        top = TOP + number * pitch + LINE_HEIGHT
        _ghost_edges(drawing, top, cadence, speed_px_s, scale, colours)
    slide = to_image(drawing)
    for number, line in enumerate(_line_pictures(cadences, speed_px_s, scale), start=1):
        slide.paste(line, (SLIDE.margin_px + LINE_LEFT, round(TOP + number * pitch)))
    for number, picture in enumerate(pictures):
        top = round(TOP + number * pitch)
        slide.paste(_as_picture(picture), (SLIDE.margin_px + LEFT_COLUMN, top))
    return slide


def with_contrast(cadences: Sequence[Cadence]) -> tuple[Cadence, ...]:
    """Return the cadences, and an even one at the end: 60, or the display's own rate."""
    display = cadences[0].display
    sixty = cadence_of(Fraction(60), display)
    good = sixty if sixty.even else cadence_of(display.highest_hz, display)
    return (*cadences, *([] if good.rate in {c.rate for c in cadences} else [good]))


def _line_light(cadence: Cadence, speed_px_s: float, x_px: FloatArray) -> FloatArray:
    """Light of a fine line on the retina, by pixels behind its place."""
    boxes = retinal_boxes(cadence, speed_px_s)
    start, end, share = (np.array([getattr(b, name) for b in boxes]) for name in
                         ("start_px", "end_px", "share"))  # fmt: skip
    inside = (start <= x_px[:, None]) & (x_px[:, None] < end)
    return np.asarray(inside @ (share / (end - start)), np.float64)


def _line_pictures(
    cadences: Sequence[Cadence], speed_px_s: float, scale: float
) -> list[Image.Image]:
    """The fine line as each cadence gives it, `scale` times enlarged, all by one measure."""
    x_px = np.asarray((np.arange(LINE_WIDTH) + 0.5 - LINE_MARGIN) / scale, np.float64)
    lights = [_line_light(cadence, speed_px_s, x_px) for cadence in cadences]
    most = max(light.max() for light in lights)
    dark, bright = (
        signal_to_light(np.array([int(c[i : i + 2], 16) for i in (1, 3, 5)], np.float32) / 255)
        for c in (DARK_PLATE, LIGHT_PLATE)
    )
    rows = [dark + (light / most)[:, None] * (bright - dark) for light in lights]
    codes = [np.rint(255 * light_to_signal(row)).astype(np.uint8) for row in rows]
    return [Image.fromarray(np.tile(row, (LINE_HEIGHT, 1, 1))) for row in codes]


def _ghost_edges(
    drawing: Drawing, top: float, cadence: Cadence, speed_px_s: float, scale: float, colours: Scheme
) -> None:
    """Mark where the first and the last copy of the line begin, and how far apart they are."""
    apart = double_edge_px(cadence, speed_px_s)
    first = min(box.start_px for box in retinal_boxes(cadence, speed_px_s))
    left = SLIDE.margin_px + LINE_LEFT + LINE_MARGIN + first * scale
    right = left + apart * scale
    for x in {left, right}:
        drawing.add(Stroke(x, top + 4, x, top + 4 + TICK, colours.ink, SLIDE.hairline_px))
    if apart:
        y = top + 4 + TICK
        drawing.add(Stroke(left - 1, y, right + 1, y, colours.ink, SLIDE.hairline_px))
    words = f"{apart:.1f} px apart" if apart else "one edge"
    size = SLIDE.small_px
    drawing.add(Text(right + 12, top + 4 + TICK + 10, words, size, colours.muted))


def _words(drawing: Drawing, colours: Scheme, speed_px_s: float, angle_deg: Fraction) -> None:
    """Title above, model beneath."""
    left = SLIDE.margin_px
    base = left - 22 + cap_height_px(SLIDE.title_px)
    drawing.add(Text(left, base, drawing.title, SLIDE.title_px, colours.ink, bold=True))
    foot = SLIDE.height_px - FOOT + 20
    right = SLIDE.width_px - left
    drawing.add(Stroke(left, foot, right, foot, colours.rule, SLIDE.hairline_px))
    heads = ((LEFT_COLUMN, "the plate, on the retina"), (LINE_LEFT, "a fine line"))
    for column, words in heads:
        drawing.add(Text(left + column, TOP - 22, words, SLIDE.small_px, colours.muted))
    shutter = (
        "frames sharp in themselves"
        if not angle_deg
        else f"shutter {format_decimal(angle_deg, 1)} degrees"
    )
    words = (
        f"Reckoned, not photographed: a plate at {speed_px_s:.0f} px/s, a quarter of the clip's "
        f"speed, followed by the eye; enlarged {ENLARGED} times, {shutter}. The marks: where the "
        f"smears of an early and a late frame begin."
    )
    drawing.paragraph(Text(left, foot + 48, words, SLIDE.small_px, colours.muted), right - left, 36)


def _row_words(
    drawing: Drawing,
    top: float,
    texts: tuple[str, str],
    colours: Scheme,
    *,
    even: bool,
) -> None:
    name, words = texts
    mark = colours.calm if even else colours.ink
    drawing.add(Box(SLIDE.margin_px, top, 14, PLATE_HEIGHT * ENLARGED, mark, 4))
    left = SLIDE.margin_px + 40
    base = top + cap_height_px(SLIDE.heading_px)
    drawing.add(Text(left, base, name, SLIDE.heading_px, colours.ink, bold=True))
    drawing.add(Text(left, base + 52, words, SLIDE.body_px, colours.muted))
