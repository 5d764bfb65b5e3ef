"""The tracked-eye picture as a slide: the same moving plate as several cadences give it."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np
from PIL import Image

from patterns.errors import RequestError
from patterns.present.canvas import Box, Drawing, Stroke, Text
from patterns.present.picture import to_image
from patterns.present.style import LIGHT, SLIDE, Scheme, hold_colours
from patterns.present.tracked_eye import (
    MODEL_WORDS,
    double_edge_px,
    hold_blur_px,
    retinal_boxes,
    tracked_picture,
)
from patterns.rendering.lettering import cap_height_px
from patterns.rendering.light import light_to_signal, signal_to_light
from patterns.timing.cadence import Cadence
from patterns.timing.rates import format_decimal
from patterns.timing.shutter import exposure_of_angle

__all__ = ["MOST_ROWS", "tracked_eye_slide"]

MOST_ROWS = 3
ENLARGED = 3
PLATE_WIDTH, PLATE_HEIGHT = 292, 44  # screen pixels shown of the plate
DARK_PLATE, LIGHT_PLATE = "#1d2730", "#e8e4d8"
LEFT_COLUMN, TOP, FOOT = 500, 250, 196
LANDING_LEFT, LANDING_WIDTH = 1436, 276  # from the margin: where each frame lands
LANDINGS = 4  # frames drawn there


def _plate() -> Image.Image:
    """A survey plate at 1:1: a bar, a name, and a comb of finer bars."""
    drawing = Drawing(PLATE_WIDTH, PLATE_HEIGHT, DARK_PLATE, "plate")
    for left, width in ((24, 26), (210, 6), (222, 6), (234, 6), (258, 3), (264, 3), (270, 3)):
        drawing.add(Box(left, 0, width, PLATE_HEIGHT, LIGHT_PLATE))
    base = PLATE_HEIGHT / 2 + cap_height_px(36) / 2
    drawing.add(Text(128, base, "TARN 7", 36, LIGHT_PLATE, "middle", True))
    return to_image(drawing)


def _as_picture(light: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> Image.Image:
    """Picture of linear light (colours, rows, columns), enlarged without inventing detail."""
    codes = np.rint(255 * light_to_signal(np.moveaxis(light, 0, -1))).astype(np.uint8)
    size = (PLATE_WIDTH * ENLARGED, PLATE_HEIGHT * ENLARGED)
    return Image.fromarray(codes).resize(size, Image.Resampling.BICUBIC)


def _figures(cadence: Cadence, speed_px_s: float) -> tuple[str, str]:
    blur = f"hold blur {format_decimal(Fraction(hold_blur_px(cadence, speed_px_s)), 1)} px"
    double = double_edge_px(cadence, speed_px_s)
    return blur, f"edges doubled, {double:.1f} px apart" if double else "single edges"


def tracked_eye_slide(
    cadences: Sequence[Cadence],
    *,
    speed_px_s: Fraction = Fraction(480),
    angle_deg: Fraction = Fraction(0),
    colours: Scheme = LIGHT,
) -> Image.Image:
    """Slide of 1920 x 1080: the plate at rest, and as the following eye gets it.

    Parameters
    ----------
    cadences
        One to three.
    speed_px_s
        Speed of the plate across the screen.
    angle_deg
        Shutter of every clip; 0 leaves only what the screen and the eye add.

    Raises
    ------
    RequestError
        No cadence, or more than three.
    """
    if not 1 <= len(cadences) <= MOST_ROWS:
        raise RequestError(f"a tracked-eye slide takes 1 to {MOST_ROWS} rates, not {len(cadences)}")
    drawing = Drawing(SLIDE.width_px, SLIDE.height_px, colours.paper, "What the following eye gets")
    _words(drawing, colours, float(speed_px_s), angle_deg)
    plate = _plate()
    still = np.moveaxis(signal_to_light(np.asarray(plate, np.float32) / 255), -1, 0)
    light = np.asarray(still, np.float64)
    pictures = [light]
    rows = [("at rest", ("what there is to see", ""), True)]
    for cadence in cadences:
        exposure = exposure_of_angle(angle_deg, cadence.rate)
        pictures.append(tracked_picture(light, cadence, float(speed_px_s), exposure))
        name = f"{format_decimal(cadence.rate)} on {cadence.display.name} Hz"
        rows.append((name, _figures(cadence, float(speed_px_s)), cadence.even))
    pitch = (SLIDE.height_px - TOP - FOOT) / len(rows)
    for number, (name, figures, even) in enumerate(rows):
        _row_words(drawing, TOP + number * pitch, (name, figures), colours, even=even)
    widest_s = max(b.end_px for c in cadences for b in retinal_boxes(c, 1.0)[:LANDINGS])
    for number, cadence in enumerate(cadences, start=1):
        _landings(drawing, TOP + number * pitch, cadence, widest_s, colours)
    slide = to_image(drawing)
    for number, picture in enumerate(pictures):
        top = round(TOP + number * pitch)
        slide.paste(_as_picture(picture), (SLIDE.margin_px + LEFT_COLUMN, top))
    return slide


def _landings(
    drawing: Drawing, top: float, cadence: Cadence, seconds: float, colours: Scheme
) -> None:
    """Draw the first frames' smears one under the other: alike, or not."""
    scale = LANDING_WIDTH / seconds
    left, pitch = SLIDE.margin_px + LANDING_LEFT, PLATE_HEIGHT * ENLARGED / LANDINGS
    frames = retinal_boxes(cadence, 1.0)  # only those that show
    kinds = (cadence.usual_hold, cadence.odd_hold)
    for n in range(LANDINGS):
        box = frames[n % len(frames)]
        held = round((box.end_px - box.start_px) * float(cadence.refresh_hz))
        fill, _ = hold_colours(held, kinds, colours)
        width = (box.end_px - box.start_px) * scale
        drawing.add(Box(left + box.start_px * scale, top + n * pitch, width, pitch - 8, fill, 4))


def _words(drawing: Drawing, colours: Scheme, speed_px_s: float, angle_deg: Fraction) -> None:
    """Title above, model beneath."""
    left = SLIDE.margin_px
    base = left - 22 + cap_height_px(SLIDE.title_px)
    drawing.add(Text(left, base, drawing.title, SLIDE.title_px, colours.ink, bold=True))
    foot = SLIDE.height_px - FOOT + 40
    right = SLIDE.width_px - left
    drawing.add(Stroke(left, foot, right, foot, colours.rule, SLIDE.hairline_px))
    heads = ((LEFT_COLUMN, "the plate, on the retina"), (LANDING_LEFT, "each frame's smear"))
    for column, words in heads:
        drawing.add(Text(left + column, TOP - 22, words, SLIDE.small_px, colours.muted))
    shutter = (
        "frames sharp in themselves"
        if not angle_deg
        else f"shutter {format_decimal(angle_deg, 1)} degrees"
    )
    words = (
        f"A plate that crosses at {speed_px_s:g} px/s while the eye follows it, enlarged "
        f"{ENLARGED} times; {shutter}. {MODEL_WORDS}"
    )
    drawing.paragraph(Text(left, foot + 48, words, SLIDE.small_px, colours.muted), right - left, 36)


def _row_words(
    drawing: Drawing,
    top: float,
    texts: tuple[str, tuple[str, str]],
    colours: Scheme,
    *,
    even: bool,
) -> None:
    name, figures = texts
    mark = colours.calm if even else colours.ink
    drawing.add(Box(SLIDE.margin_px, top, 14, PLATE_HEIGHT * ENLARGED, mark, 4))
    left = SLIDE.margin_px + 40
    base = top + cap_height_px(SLIDE.heading_px)
    drawing.add(Text(left, base, name, SLIDE.heading_px, colours.ink, bold=True))
    for number, words in enumerate(figures):
        line = base + 52 + 42 * number
        drawing.add(Text(left, line, words, SLIDE.body_px, colours.muted))
