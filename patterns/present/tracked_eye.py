"""What falls on the retina of an eye that follows the motion: the tracked-eye model.

The eye moves with the object at a steady v. A display that holds (lights each frame until
the next one comes, at once and evenly) shows frame n from k_n/R to k_(n+1)/R. Meanwhile
the eye goes on, so that on the retina the frame is smeared over v times its hold time,
and lies off its place by v times (k_n/R - n/F). The eye adds up light: the picture on the
retina is the mean over whole periods of the cadence,

    L(x) = 1/T  sum_n  integral from k_n/R to k_(n+1)/R of  I_n(x + v t) dt,

with I_n frame n, its shutter blur included, in linear light.

Two things follow, which the stills show. Hold blur: an even cadence smears over speed x
hold time (Klompenhouwer et al. 2004, quoted second-hand; Denes et al., ACM Transactions
on Graphics 39(4), 2020, equation 4). Double edges: frames that come early and late lie
beside each other, up to the span of the timing error x speed apart (derived here).

Not in the model: the eye's own blur, pursuit that lags, a slow or pulsed panel.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from patterns.errors import RequestError
from patterns.picture.arrays import FloatArray
from patterns.timing.cadence import Cadence, frame_starts

__all__ = [
    "MODEL_WORDS",
    "RetinalBox",
    "box_mean",
    "double_edge_px",
    "hold_blur_px",
    "retinal_boxes",
    "tracked_picture",
]

MOST_FRAMES = 5000  # a longer period is averaged over its first frames

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


def hold_blur_px(cadence: Cadence, speed_px_s: float) -> float:
    """Mean smear of the frames that show, pixels: speed x hold time (Denes et al. 2020, eq. 4)."""
    shown = min(cadence.rate, cadence.refresh_hz)
    return abs(speed_px_s) / float(shown)


def double_edge_px(cadence: Cadence, speed_px_s: float) -> float:
    """Distance between the first and the last of a followed edge's copies, pixels: span x speed."""
    return abs(speed_px_s) * float(cadence.timing_error_span_s)


def retinal_boxes(cadence: Cadence, speed_px_s: float) -> tuple[RetinalBox, ...]:
    """Where each frame of a period is smeared: v (k_n/R - n/F) to v (k_(n+1)/R - n/F)."""
    count = min(cadence.period_frames, MOST_FRAMES)
    starts = list(frame_starts(cadence.rate, cadence.refresh_hz, count + 1, phase=cadence.phase))
    total = starts[-1] - starts[0]
    boxes = []
    for n in range(count):
        held = starts[n + 1] - starts[n]
        if held:
            late = starts[n] / cadence.refresh_hz - n / cadence.rate
            end = late + held / cadence.refresh_hz
            boxes.append(
                RetinalBox(
                    speed_px_s * float(late), speed_px_s * float(end), float(Fraction(held, total))
                )
            )
    return tuple(boxes)


def box_mean(samples: npt.ArrayLike, start_px: float, end_px: float) -> FloatArray:
    """Mean of a row over [x + start, x + end] at every sample x, along the last axis.

    Between samples the row is linear, beyond its ends it goes on as its last sample. A box
    without width gives the row itself, shifted.
    """
    row = np.asarray(samples, np.float64)
    low, high = min(start_px, end_px), max(start_px, end_px)
    x = np.arange(row.shape[-1], dtype=np.float64)
    if high - low < 1e-9:
        return _value(row, x + low)
    return (_integral(row, x + high) - _integral(row, x + low)) / (high - low)


def _value(row: FloatArray, at: FloatArray) -> FloatArray:
    place = np.clip(at, 0, row.shape[-1] - 1)
    k = np.minimum(place.astype(np.intp), row.shape[-1] - 2)
    part = place - k
    return np.asarray(row[..., k] * (1 - part) + row[..., k + 1] * part, np.float64)


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


def tracked_picture(
    still: npt.ArrayLike, cadence: Cadence, speed_px_s: float, exposure_s: Fraction
) -> FloatArray:
    """Light on the retina of an eye that follows `still` as it moves along its last axis.

    Parameters
    ----------
    still
        Linear light of what moves, (..., width), any range.
    cadence
        How its frames are held.
    speed_px_s
        Pixels a second to the right; negative goes left.
    exposure_s
        Exposure of each frame, seconds, centred on its moment.

    Returns
    -------
    Array of the shape of `still`, lined up on the object's mean place.

    Raises
    ------
    RequestError
        The exposure is longer than a frame.
    """
    if not 0 <= exposure_s * cadence.rate <= 1:
        raise RequestError("the exposure must be 0 to one frame: give a shutter of 0 to 360")
    blur = float(exposure_s) * abs(speed_px_s)
    frame = box_mean(still, -blur / 2, blur / 2)
    boxes = retinal_boxes(cadence, speed_px_s)
    middle = sum((b.start_px + b.end_px) / 2 * b.share for b in boxes)
    total = np.zeros_like(frame)
    for box in boxes:
        total += box.share * box_mean(frame, box.start_px - middle, box.end_px - middle)
    return total
