"""How one asks for bars, what is said of them, and their frames: the light of a pixel, exactly.

Along its motion a bar is a box of `width_px`. Its soft edge, the exposure and the
pixel's own square are further boxes (the square seen along a slanted axis is two, of
widths |cos| and |sin|), and light is averaged over all of them, so an edge is the
distribution function of a sum of independent uniform variables (the Irwin-Hall
distribution with unequal widths; Feller, *An Introduction to Probability Theory*, vol. 2,
section I.9, from memory): a signed sum of powers over the corners of the boxes.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from itertools import product
from math import ceil, factorial, floor, prod
from typing import Any

import numpy as np
import numpy.typing as npt

from patterns.errors import RequestError
from patterns.picture.arrays import FloatArray, IndexArray, UInt8Array
from patterns.picture.planes import Planes, light_to_code
from patterns.scenes.bars.motion import DIRECTIONS, BarsMotion, axis, crossing_px
from patterns.scenes.motion import check_within
from patterns.scenes.pattern import Option, Pace, Pattern, Shot

# Bars in each picture by how many pictures lie side by side: together they stay below the
# limits for regular stripes (more than five pairs), slowed ones too.
BARS_AMONG = {1: 3, 2: 2}
# A slanted picture is looked up in steps of this many to a pixel: an edge at full
# contrast climbs 219 codes a pixel, so a step is less than half a code.
STEPS_PER_PX = 512
MAX_STEPS = 1 << 22


def _build(values: Mapping[str, Any], width: int, height: int) -> BarsMotion:
    direction, slant = values["direction"], values["slant"]
    cross, count = values["cross"], values["bars"]
    if slant is not None and direction != "slanted":
        raise RequestError("--slant is for slanted bars: add --direction slanted, or leave it out")
    if cross == 0:
        raise RequestError("--cross 0 would be infinitely fast: give seconds, such as 7")
    check_within("--bars", count, 1, 200, "in the picture", 4)
    turned = Fraction(0)
    if direction == "slanted":
        turned = Fraction(30) if slant is None else slant
    across = crossing_px(axis(direction, turned), width, height)
    crossed = Fraction(across).limit_denominator(1000)
    period = crossed / count
    return BarsMotion(
        speed_px_s=crossed / cross if values["speed_px"] is None else values["speed_px"],
        period_px=period,
        width_px=period / 3 if values["bar_width"] is None else values["bar_width"],
        direction=direction,
        slant_deg=turned,
        light=float(values["light"] / 100),
        dark=float(values["dark"] / 100),
        softness_px=values["softness"],
    )


def _among(across: int) -> dict[str, Any]:
    return {"bars": Fraction(BARS_AMONG.get(across, 1))}


def edge_profile(distance_px: npt.ArrayLike, boxes_px: tuple[float, ...]) -> FloatArray:
    """Share of light past an edge that is averaged over boxes.

    `distance_px`: signed distance from the edge in pixels, any shape.
    `boxes_px`: widths of the centred boxes, pixels, >= 0. One below a thousandth of the widest is
    left out: it moves the result by less than 0.0005 and would cost more in cancellation.
    Returns values from 0 (well before the edge) to 1 (well past it), of the same shape.
    """
    x = np.asarray(distance_px, np.float64)
    widest = max(boxes_px, default=0.0)
    widths = [b for b in boxes_px if b > widest / 1000 and b > 0]
    if not widths:
        return np.where(x < 0, 0.0, 1.0)
    half = sum(widths) / 2
    inside = np.clip(x, -half, half)
    order = len(widths)
    total = np.zeros_like(inside)
    for signs in product((-1, 1), repeat=order):
        corner = sum(s * w for s, w in zip(signs, widths, strict=True)) / 2
        total += prod(signs) * np.maximum(inside + corner, 0.0) ** order
    result = total / (factorial(order) * prod(widths))
    return np.asarray(np.clip(result, 0.0, 1.0), np.float64)


def bar_light(along_px: npt.ArrayLike, motion: BarsMotion, exposure_s: Fraction) -> FloatArray:
    """Linear light (0 to 1) of pixels at places `along_px` past a bar's centre.

    `along_px`: distance along the motion from the centre of any one bar, pixels, any shape.
    `exposure_s`: exposure in seconds, centred on the moment at which the bar is there.
    """
    x, y = (abs(c) for c in motion.axis)
    blur = abs(float(motion.speed_px_s * exposure_s))
    boxes = (float(motion.softness_px), blur, x, y)
    period, half_width = float(motion.period_px), float(motion.width_px) / 2
    along = np.asarray(along_px, np.float64)
    local = along - period * np.rint(along / period)
    reach = half_width + sum(boxes) / 2
    neighbours = range(-ceil((reach - period / 2) / period), 1 + floor(0.5 + reach / period))
    total = np.zeros_like(local)
    for k in neighbours if reach > period / 2 else (0,):
        place = local - k * period
        total += edge_profile(place + half_width, boxes) - edge_profile(place - half_width, boxes)
    return motion.dark + (motion.light - motion.dark) * np.clip(total, 0.0, 1.0)


class BarsRenderer:
    """Draws the bars of a clip into pictures of `width` x `height`.

    Upright and level bars are evaluated anew for each frame, in closed form. Slanted
    ones differ at every pixel, so one period is tabled at `STEPS_PER_PX` and gathered.
    """

    def __init__(self, shot: Shot, width: int, height: int) -> None:
        assert isinstance(shot.motion, BarsMotion)
        self._motion, self._shot = shot.motion, shot
        x, y = shot.motion.axis
        along_x = (np.arange(width) + 0.5 - width / 2) * x
        along_y = (np.arange(height) + 0.5 - height / 2) * y
        self._flat = not (x and y)
        if self._flat:
            self._along = along_x if x else along_y
        else:
            self._steps = min(int(STEPS_PER_PX * shot.motion.period_px), MAX_STEPS)
            self._table = self._doubled_table()
            self._base = self._places(along_x[np.newaxis, :] + along_y[:, np.newaxis])

    def draw(self, n: int, picture: Planes) -> None:
        """Write frame `n` (any integer from 0) into `picture`."""
        shift_px = self._shift_px(n)
        picture.cb[:] = 128
        picture.cr[:] = 128
        if self._flat:
            codes = light_to_code(
                bar_light(self._along - float(shift_px), self._motion, self._shot.exposure_s)
            )
            picture.y[:] = codes if self._motion.direction == "upright" else codes[:, np.newaxis]
            return
        offset = floor(-shift_px / self._motion.period_px * self._steps + Fraction(1, 2))
        np.take(self._table[offset % self._steps :], self._base, out=picture.y, mode="clip")

    def _shift_px(self, n: int) -> Fraction:
        # Exact, and reduced to one period first, so that frame 60,000 is as exact as frame 1.
        return (self._motion.speed_px_s * n / self._shot.rate) % self._motion.period_px

    def _doubled_table(self) -> UInt8Array:
        places = np.arange(self._steps) * (float(self._motion.period_px) / self._steps)
        codes = light_to_code(bar_light(places, self._motion, self._shot.exposure_s))
        return np.concatenate([codes, codes])

    def _places(self, along_px: FloatArray) -> IndexArray:
        turns = along_px / float(self._motion.period_px)
        steps = np.rint((turns - np.floor(turns)) * self._steps).astype(np.intp)
        return np.asarray(steps % self._steps, np.intp)


BARS = Pattern(
    name="bars",
    heading="Bars",
    summary="Bars that cross the frame: the plainest look at a cadence.",
    look_for="Follow one bar across the screen with your eyes, not the gap it leaves. Held evenly "
    "it glides, with the same soft edge all the way. Held unevenly it trembles, and its edge "
    "looks doubled.",
    look_at="Follow one bar with your eyes, in each picture in turn.",
    options=(
        Option(
            "direction",
            "",
            "How the bars stand: upright ones go across.",
            BarsMotion.direction,
            choices=DIRECTIONS,
        ),
        Option(
            "slant",
            "DEGREES",
            "Turn of the motion from level, degrees, for slanted bars.",
            default_words="30",
        ),
        Option(
            "cross",
            "SECONDS",
            "Time in which a bar crosses the picture, seconds; negative: back.",
            Fraction(7),
        ),
        Option(
            "speed-px",
            "PX/S",
            "Speed in pixels a second, instead of --cross.",
            instead_of=("cross", "the speed"),
        ),
        Option(
            "bars",
            "COUNT",
            "How many bars the picture holds along the motion.",
            Fraction(4),
            moves=False,
        ),
        Option(
            "bar-width",
            "PX",
            "Width of a bar, pixels.",
            default_words="a third of the distance between bars",
            moves=False,
        ),
        Option(
            "light",
            "PERCENT",
            "Light of the bars, percent of peak white (linear).",
            Fraction(round(100 * BarsMotion.light)),
            moves=False,
        ),
        Option(
            "dark",
            "PERCENT",
            "Light between the bars, percent of peak white.",
            Fraction(round(100 * BarsMotion.dark)),
            moves=False,
        ),
        Option(
            "softness",
            "PX",
            "Width of a bar's soft edge, pixels.",
            BarsMotion.softness_px,
            moves=False,
        ),
    ),
    # At two bars the picture, 1.2 s is 1.7 changes from dark to light a second, below the
    # three allowed.
    pace=Pace(
        "cross",
        inverse=True,
        shown=Fraction(3),
        fastest=Fraction(6, 5),
        step=Fraction(1, 20),
        words="bars that cross their picture in {} s",
    ),
    build=_build,
    renderer=BarsRenderer,
    among=_among,
    level_line=True,
)
