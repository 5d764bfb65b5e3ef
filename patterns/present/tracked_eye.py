"""What falls on the retina of an eye that follows the motion: the tracked-eye model.

The eye moves at a steady v; a display that holds shows frame n from k_n/R to k_(n+1)/R. On the
retina it is smeared over v times its hold, v times (k_n/R - n/F) off its place. The eye adds up
light: the mean over whole periods T of the cadence,

    L(x) = 1/T  sum_n  integral from k_n/R to k_(n+1)/R of  I_n(x + v t) dt,

with I_n frame n in linear light. Hold blur: speed x hold time
(Klompenhouwer et al. 2004, quoted second-hand; Denes et al., ACM Transactions on Graphics
39(4), 2020, equation 4). Double edges: up to the span of the timing error x speed apart
(derived here). Not in the model: the eye's own blur, pursuit that lags, a slow or pulsed panel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt
from PIL import Image

from patterns.drawing.canvas import Box, Drawing, Stroke, Text, colour_light, titled_slide, to_image
from patterns.drawing.style import LIGHT, SLIDE, Scheme
from patterns.errors import RequestError
from patterns.picture.arrays import FloatArray
from patterns.picture.lettering import cap_height_px
from patterns.picture.planes import light_to_signal, signal_to_light
from patterns.timing.cadence import Cadence, cadence, frame_starts
from patterns.timing.rates import format_decimal

MOST_FRAMES = 5000  # a longer period is averaged over its first frames

MOST_ROWS = 4
SLOWER = 4  # the plate by the clip's speed: else the smear hides the doubling
ENLARGED = 5
PLATE_WIDTH, PLATE_HEIGHT = 146, 18  # screen pixels shown of the plate
DARK_PLATE, LIGHT_PLATE = "#1d2730", "#e8e4d8"
PLATE_LEFT, LINE_LEFT, LINE_WIDTH, LINE_HEIGHT = 564, 1340, 476, 58  # on the slide
TOP, FOOT = 232, 156
LINE_MARGIN, TICK = 16, 14

MODEL_WORDS = (
    "Model: the eye follows at a steady speed and adds up light; the screen holds each frame "
    "until the next. Hold blur = speed x hold time: Klompenhouwer et al. 2004 (second-hand), "
    "Denes et al. 2020, eq. 4."
)


@dataclass(frozen=True)
class RetinalBox:
    """One frame's smear on the retina, pixels behind the object's place, and its share of time."""

    start_px: float
    end_px: float
    share: float


def hold_blur_px(held: Cadence, speed_px_s: float) -> float:
    """Mean smear of the frames that show, pixels: speed x hold time (Denes et al. 2020, eq. 4)."""
    shown = min(held.rate, held.refresh_hz)
    return abs(speed_px_s) / float(shown)


def double_edge_px(held: Cadence, speed_px_s: float) -> float:
    """Distance between the first and the last of a followed edge's copies, pixels: span x speed."""
    return abs(speed_px_s) * float(held.timing_error_span_s)


def retinal_boxes(held: Cadence, speed_px_s: float) -> tuple[RetinalBox, ...]:
    """Where each frame of a period is smeared: v (k_n/R - n/F) to v (k_(n+1)/R - n/F)."""
    count = min(held.period_frames, MOST_FRAMES)
    starts = list(frame_starts(held.rate, held.refresh_hz, count + 1))
    total = starts[-1] - starts[0]
    boxes = []
    for n in range(count):
        refreshes = starts[n + 1] - starts[n]
        if refreshes:
            late = starts[n] / held.refresh_hz - n / held.rate
            end = late + refreshes / held.refresh_hz
            share = float(Fraction(refreshes, total))
            boxes.append(RetinalBox(speed_px_s * float(late), speed_px_s * float(end), share))
    return tuple(boxes)


def box_mean(samples: npt.ArrayLike, start_px: float, end_px: float) -> FloatArray:
    """Mean of a row over [x + start, x + end] at every sample x, along the last axis.

    Between samples the row is linear, beyond its ends it goes on as its last sample. The box
    has a width.
    """
    row = np.asarray(samples, np.float64)
    low, high = min(start_px, end_px), max(start_px, end_px)
    x = np.arange(row.shape[-1], dtype=np.float64)
    return (_integral(row, x + high) - _integral(row, x + low)) / (high - low)


def _integral(row: FloatArray, at: FloatArray) -> FloatArray:
    """Integral from sample 0: trapezoids, and a parabola within the last step."""
    sums = np.zeros_like(row)
    np.cumsum((row[..., 1:] + row[..., :-1]) / 2, -1, out=sums[..., 1:])
    last = row.shape[-1] - 1
    place = np.clip(at, 0, last)
    k = np.minimum(place.astype(np.intp), last - 1)
    part = place - k
    inside = sums[..., k] + part * row[..., k] + part**2 / 2 * (row[..., k + 1] - row[..., k])
    beyond = np.minimum(at, 0) * row[..., :1] + np.maximum(at - last, 0) * row[..., -1:]
    return np.asarray(inside + beyond, np.float64)


def tracked_picture(still: npt.ArrayLike, held: Cadence, speed_px_s: float) -> FloatArray:
    """Light on the retina of an eye that follows `still`, lined up on the object's mean place.

    `still` is linear light (..., width) of what moves along its last axis at `speed_px_s` to the
    right (negative: left), as each frame shows it.
    """
    boxes = retinal_boxes(held, speed_px_s)
    middle = sum((b.start_px + b.end_px) / 2 * b.share for b in boxes)
    means = (b.share * box_mean(still, b.start_px - middle, b.end_px - middle) for b in boxes)
    return np.asarray(sum(means), np.float64)


def with_contrast(cadences: Sequence[Cadence]) -> tuple[Cadence, ...]:
    """Return the cadences, and an even one at the end: 60, or the display's own rate."""
    display = cadences[0].display
    sixty = cadence(Fraction(60), display)
    good = sixty if sixty.even else cadence(display.highest_hz, display)
    return (*cadences, *([] if good.rate in {c.rate for c in cadences} else [good]))


def tracked_eye_slide(
    cadences: Sequence[Cadence], *, clip_px_s: Fraction = Fraction(480), colours: Scheme = LIGHT
) -> Image.Image:
    """Slide of 1920 x 1080: a plate and a fine line at rest, and as the following eye gets them.

    The frames are sharp in themselves, so that only what the screen and the eye add is seen.

    `cadences`: one to four; beside them stands one that is even.
    `clip_px_s`: speed of the clip, of which the plate goes a `SLOWER`th.
    Raises `RequestError`: no cadence, or more than four.
    """
    if not 1 <= len(cadences) <= MOST_ROWS:
        raise RequestError(f"a tracked-eye slide takes 1 to {MOST_ROWS} rates, not {len(cadences)}")
    speed_px_s = float(clip_px_s) / SLOWER
    shown = with_contrast(cadences)
    widest = max(box.end_px for c in shown for box in retinal_boxes(c, speed_px_s))
    scale = (LINE_WIDTH - 2 * LINE_MARGIN) / widest
    pitch = (SLIDE.height_px - TOP - FOOT) / (1 + len(shown))
    tops = [TOP + number * pitch for number in range(1 + len(shown))]
    drawing = titled_slide("What a following eye sees", colours, SLIDE.height_px, 22)
    _slide_words(drawing, colours, speed_px_s)
    _row_words(drawing, tops[0], ("at rest", "what there is to see"), colours, even=True)
    for top, held in zip(tops[1:], shown, strict=True):
        name = f"{format_decimal(held.rate)} on {held.display.name} Hz"
        words = f"hold blur {hold_blur_px(held, speed_px_s):.1f} px"
        _row_words(drawing, top, (name, words), colours, even=held.even)
        _ghost_edges(drawing, top + LINE_HEIGHT, held, speed_px_s, scale, colours)
    slide = to_image(drawing)
    plate = signal_to_light(np.asarray(_plate(), np.float32) / 255)
    still = np.asarray(np.moveaxis(plate, -1, 0), np.float64)
    size = (PLATE_WIDTH * ENLARGED, PLATE_HEIGHT * ENLARGED)
    pictures = [still, *(tracked_picture(still, held, speed_px_s) for held in shown)]
    for top, picture in zip(tops, pictures, strict=True):
        enlarged = _coded(np.moveaxis(picture, 0, -1)).resize(size, Image.Resampling.BICUBIC)
        slide.paste(enlarged, (PLATE_LEFT, round(top)))
    for top, line in zip(tops[1:], _line_pictures(shown, speed_px_s, scale), strict=True):
        slide.paste(line, (LINE_LEFT, round(top)))
    return slide


def _plate() -> Image.Image:
    """A survey plate at 1:1: a bar, a name, and finer bars."""
    drawing = Drawing(PLATE_WIDTH, PLATE_HEIGHT, DARK_PLATE, "plate")
    for left, width in ((12, 12), (106, 3), (118, 2), (130, 1)):
        drawing.add(Box(left, 0, width, PLATE_HEIGHT, LIGHT_PLATE))
    base = PLATE_HEIGHT / 2 + cap_height_px(18) / 2
    drawing.add(Text(64, base, "TARN 7", 18, LIGHT_PLATE, "middle", True))
    return to_image(drawing)


def _coded(light: npt.ArrayLike) -> Image.Image:
    """Picture of linear light (rows, columns, colours)."""
    return Image.fromarray(np.rint(255 * light_to_signal(light)).astype(np.uint8))


def _line_light(held: Cadence, speed_px_s: float, x_px: FloatArray) -> FloatArray:
    """Light of a fine line on the retina, by pixels behind its place."""
    light = np.zeros_like(x_px)
    for box in retinal_boxes(held, speed_px_s):
        inside = (box.start_px <= x_px) & (x_px < box.end_px)
        light += inside * (box.share / (box.end_px - box.start_px))
    return light


def _line_pictures(
    cadences: Sequence[Cadence], speed_px_s: float, scale: float
) -> list[Image.Image]:
    """The fine line as each cadence gives it, `scale` times enlarged, all by one measure."""
    x_px = np.asarray((np.arange(LINE_WIDTH) + 0.5 - LINE_MARGIN) / scale, np.float64)
    lights = [_line_light(held, speed_px_s, x_px) for held in cadences]
    most = max(light.max() for light in lights)
    dark, bright = colour_light(DARK_PLATE), colour_light(LIGHT_PLATE)
    rows = [dark + (light / most)[:, None] * (bright - dark) for light in lights]
    return [_coded(np.tile(row, (LINE_HEIGHT, 1, 1))) for row in rows]


def _ghost_edges(
    drawing: Drawing, top: float, held: Cadence, speed_px_s: float, scale: float, colours: Scheme
) -> None:
    """Mark where the first and the last copy of the line begin, and how far apart they are."""
    apart = double_edge_px(held, speed_px_s)
    begins = {round(box.start_px, 6) for box in retinal_boxes(held, speed_px_s)}
    first = min(begins)
    left = LINE_LEFT + LINE_MARGIN + first * scale
    right = left + apart * scale
    low = top + 4 + TICK
    for x in {left, right}:
        drawing.add(Stroke(x, top + 4, x, low, colours.ink, SLIDE.hairline_px))
    if apart:
        drawing.add(Stroke(left - 1, low, right + 1, low, colours.ink, SLIDE.hairline_px))
    words = "one edge"
    if apart:
        two = len(begins) == 2
        words = f"two edges, {apart:.1f} px apart" if two else f"edges spread over {apart:.1f} px"
    drawing.add(Text(right + 14, low + 8, words, SLIDE.small_px, colours.ink))


def _slide_words(drawing: Drawing, colours: Scheme, speed_px_s: float) -> None:
    """Heads of the columns above, model beneath."""
    left, right = SLIDE.margin_px, SLIDE.width_px - SLIDE.margin_px
    foot = SLIDE.height_px - FOOT + 20
    drawing.add(Stroke(left, foot, right, foot, colours.rule, SLIDE.hairline_px))
    columns = ((PLATE_LEFT, "the plate, on the retina"), (LINE_LEFT, "a fine line, on the retina"))
    for column, head in columns:
        drawing.add(Text(column, TOP - 22, head, SLIDE.small_px, colours.muted))
    words = (
        f"Computed, not photographed: a plate at {speed_px_s:.0f} px/s, a quarter of the clip's "
        f"speed, followed by the eye; enlarged {ENLARGED} times, frames sharp in themselves. The "
        "marks: where the smears of an early and a late frame begin."
    )
    drawing.paragraph(Text(left, foot + 48, words, SLIDE.small_px, colours.muted), right - left, 36)


def _row_words(
    drawing: Drawing, top: float, texts: tuple[str, str], colours: Scheme, *, even: bool
) -> None:
    left = SLIDE.margin_px + 40
    mark = colours.calm if even else colours.ink
    drawing.add(Box(SLIDE.margin_px, top, 14, PLATE_HEIGHT * ENLARGED, mark, 4))
    base = top + cap_height_px(SLIDE.heading_px)
    drawing.add(Text(left, base, texts[0], SLIDE.heading_px, colours.ink, bold=True))
    drawing.add(Text(left, base + 46, texts[1], SLIDE.small_px, colours.muted))
