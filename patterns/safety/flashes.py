"""Opposing changes of light, and changes to and from red, at every place of a grid.

A flash is a pair of opposing changes: seven within a second are more than three (WCAG 2.2
technique G19). A second is half open, so that 3 Hz passes.

Red flashes, current rule (WCAG 2.2, from ISO 9241-391): one of the two states has R/(R+G+B) >= 0.8
in linear light and the states differ by more than 0.2 in CIE 1976 u'v'. The older text of the same
guideline, given as an extra: that ratio, and a change of more than 20 in (R - G - B) x 320 with
negative values set to zero.
"""

from __future__ import annotations

from collections import deque
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from patterns.picture.arrays import BoolArray, Float32Array

MOST_CHANGES = 6  # three flashes
ROUNDING = 1e-6  # of the step: float32 must not decide whether 0.1 reaches 0.1

Counts = npt.NDArray[np.int16]
Quantity = npt.NDArray[np.float32 | np.int32]


class Swings:
    """Opposing changes of a quantity at every place of a grid.

    `step`: a change is a swing of at least this.
    `dark_below`: the darker of its two states must be below this.
    """

    def __init__(self, step: float, dark_below: float = np.inf) -> None:
        self._step, self._dark_below = step * (1 - ROUNDING), dark_below
        self._low: Quantity | None = None
        self._high: Quantity
        self._direction: npt.NDArray[np.int8]

    def see(self, value: Quantity) -> tuple[BoolArray, BoolArray]:
        """Take the next value; returns where a change up and where a change down is complete."""
        if self._low is None:
            self._low, self._high = value.copy(), value.copy()
            self._direction = np.zeros(value.shape, np.int8)
        np.minimum(self._low, value, out=self._low)
        np.maximum(self._high, value, out=self._high)
        up = value - self._low >= self._step
        if up.any():
            up &= (self._low < self._dark_below) & (self._direction <= 0)
        down = self._high - value >= self._step
        if down.any():
            down &= (value < self._dark_below) & (self._direction >= 0) & ~up
        self._turn(value, up, 1, self._high)
        self._turn(value, down, -1, self._low)
        return up, down

    def _turn(self, value: Quantity, where: BoolArray, direction: int, extreme: Quantity) -> None:
        if where.any():
            np.copyto(self._direction, np.int8(direction), where=where)
            np.copyto(extreme, value, where=where)


class TransitionCounter:
    """How many changes each place made within the second that ends now.

    `shape`: rows and columns of the grid.
    """

    def __init__(self, shape: tuple[int, int]) -> None:
        self.count: Counts = np.zeros(shape, np.int16)
        self._recent: deque[tuple[Fraction, BoolArray]] = deque()

    def see(self, time_s: Fraction, changed: BoolArray) -> bool:
        """Add what changed at `time_s`; returns whether anything did."""
        while self._recent and time_s - self._recent[0][0] >= 1:
            self.count -= self._recent.popleft()[1]
        any_change = bool(changed.any())
        if any_change:
            self.count += changed
            self._recent.append((time_s, changed))
        return any_change

    @property
    def since_s(self) -> Fraction:
        """Time of the oldest change that still counts."""
        return self._recent[0][0]


def leading_edge_s(rate: Fraction) -> Fraction:
    """Spacing of leading edges, in seconds, from which flashes are always acceptable.

    ITU-R BT.1702-3 (second-hand quotation): 360 ms in a 50 Hz environment, 334 ms in a
    60 Hz one, that is 9 frames at 25 and 10 frames at 30 a second (computed).
    """
    per_25 = rate / 25
    family_50 = per_25.denominator == 1 or (1 / per_25).denominator == 1
    return Fraction(9, 25) if family_50 else Fraction(1, 3)


class LeadingEdges:
    """Places whose flashes are far enough apart to be acceptable whatever their trailing edges.

    `shape`: rows and columns of the grid.
    `apart_s`: the least spacing of leading edges.
    """

    def __init__(self, shape: tuple[int, int], apart_s: Fraction) -> None:
        self._apart_s = apart_s
        self._last = [np.full(shape, -1, np.int64), np.full(shape, -1, np.int64)]
        self._close = [TransitionCounter(shape), TransitionCounter(shape)]
        self._times: deque[Fraction] = deque()
        self._first = 0  # number of the frame whose time is at the front

    def see(self, time_s: Fraction, up: BoolArray, down: BoolArray) -> None:
        """Take the changes of the next frame."""
        self._times.append(time_s)
        while time_s - self._times[0] >= self._apart_s:
            self._times.popleft()
            self._first += 1
        now = self._first + len(self._times) - 1
        for changed, last, close in zip((up, down), self._last, self._close, strict=True):
            if changed.any():
                close.see(time_s, changed & (last >= self._first))
                np.copyto(last, now, where=changed)
            else:
                close.see(time_s, changed)

    def acceptable(self) -> BoolArray:
        """Where the edges of one direction, within this second, are all far apart."""
        return np.asarray((self._close[0].count == 0) | (self._close[1].count == 0), np.bool_)


class ChangeCounter:
    """Changes of each place within the second that ends now, less what is always acceptable.

    `shape`: rows and columns of the grid.
    `apart_s`: spacing of leading edges from which flashes are acceptable, where a criterion has
    one.
    """

    def __init__(self, shape: tuple[int, int], apart_s: Fraction | None) -> None:
        self.all = TransitionCounter(shape)
        self._edges = None if apart_s is None else LeadingEdges(shape, apart_s)

    def see(self, time_s: Fraction, up: BoolArray, down: BoolArray) -> bool:
        """Take the changes of the next frame; returns whether there was any."""
        if self._edges is not None:
            self._edges.see(time_s, up, down)
        return self.all.see(time_s, up | down)

    @property
    def counted(self) -> Counts:
        """Changes at each place; acceptable ones stay at the limit."""
        count = self.all.count
        if self._edges is None or count.max() <= MOST_CHANGES:
            return count
        return np.where(self._edges.acceptable(), np.minimum(count, MOST_CHANGES), count)


SATURATED = 0.8
CHROMATICITY_STEP = 0.2
OLDER_STEP = 20.0
OLDER_SCALE = 320.0

# R+G+B below this (of 3) is black and has no colour of its own: it counts as white does.
# 0.2 cd/m2 of red on a 200 cd/m2 screen; our choice, no source.
DARK_SUM = 0.005

# XYZ of linear R, G, B as WCAG 2.2 prints them.
TO_XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
U_TOP = (4 * TO_XYZ[0]).astype(np.float32)
V_TOP = (9 * TO_XYZ[1]).astype(np.float32)
UV_BOTTOM = (TO_XYZ[0] + 15 * TO_XYZ[1] + 3 * TO_XYZ[2]).astype(np.float32)
WHITE = np.array([U_TOP.sum() / UV_BOTTOM.sum(), V_TOP.sum() / UV_BOTTOM.sum()], np.float32)


def _sum(light: Float32Array) -> Float32Array:
    return np.asarray(light[..., 0] + light[..., 1] + light[..., 2], np.float32)


def red_ratio(rgb: npt.ArrayLike) -> Float32Array:
    """R / (R + G + B) of linear light, shape (..., 3) to (...); 0 where there is next to none."""
    light = np.asarray(rgb, np.float32)
    total = _sum(light)
    ratio = light[..., 0] / np.maximum(total, np.float32(DARK_SUM))
    return np.asarray(np.where(total < DARK_SUM, np.float32(0), ratio), np.float32)


def may_be_saturated(rgb: Float32Array) -> bool:
    """Whether any place can be of saturated red, and is not black; quicker than to say where."""
    least = (rgb[..., 1] + rgb[..., 2]) * np.float32(0.999 * SATURATED / (1 - SATURATED))
    np.maximum(least, np.float32(0.999 * SATURATED * DARK_SUM), out=least)
    return bool((rgb[..., 0] > least).any())


def chromaticity(rgb: npt.ArrayLike) -> tuple[Float32Array, Float32Array]:
    """CIE 1976 u', v' of linear light, shape (..., 3) to two of (...); those of white for black."""
    light = np.asarray(rgb, np.float32)
    dark = _sum(light) < DARK_SUM
    bottom = np.maximum(_weighted(light, UV_BOTTOM), np.float32(1e-6))
    u = np.where(dark, WHITE[0], _weighted(light, U_TOP) / bottom)
    v = np.where(dark, WHITE[1], _weighted(light, V_TOP) / bottom)
    return np.asarray(u, np.float32), np.asarray(v, np.float32)


def _weighted(light: Float32Array, weights: Float32Array) -> Float32Array:
    r, g, b = (light[..., i] * weights[i] for i in range(3))
    return np.asarray(r + g + b, np.float32)


class RedSwings:
    """Changes to and from saturated red at every place, by the current rule.

    Away from red the least red colour since the last change is remembered, in red the
    reddest, so that a slow change adds up over its frames.
    """

    def __init__(self) -> None:
        self._extreme: Float32Array | None = None  # (3, rows, columns): red ratio, u', v'
        self._in_red: BoolArray

    def see(self, rgb: Float32Array) -> tuple[BoolArray, BoolArray]:
        """Take linear light (rows, columns, 3); returns to-red and from-red."""
        seen = np.stack([red_ratio(rgb), *chromaticity(rgb)])
        saturated = np.asarray(seen[0] >= SATURATED, np.bool_)
        if self._extreme is None:
            self._extreme, self._in_red = seen.copy(), saturated.copy()
        further = (seen[0] > self._extreme[0]) == self._in_red
        np.copyto(self._extreme, seen, where=further)
        apart = ((seen[1:] - self._extreme[1:]) ** 2).sum(axis=0)
        changed = (saturated != self._in_red) & (apart > CHROMATICITY_STEP**2)
        self._in_red ^= changed
        np.copyto(self._extreme, seen, where=changed)
        return changed & saturated, changed & ~saturated


class OlderRedSwings:
    """Changes to and from saturated red at every place, by the older text."""

    def __init__(self) -> None:
        self._low: Float32Array | None = None
        self._high: Float32Array
        self._high_saturated: BoolArray
        self._direction: npt.NDArray[np.int8]

    def see(self, rgb: Float32Array) -> tuple[BoolArray, BoolArray]:
        """Take linear light (rows, columns, 3); returns to-red and from-red."""
        excess = rgb[..., 0] - rgb[..., 1] - rgb[..., 2]
        value = np.asarray(np.maximum(excess, 0) * np.float32(OLDER_SCALE), np.float32)
        saturated = np.asarray(red_ratio(rgb) >= SATURATED, np.bool_)
        if self._low is None:
            self._low, self._high = value.copy(), value.copy()
            self._high_saturated = saturated.copy()
            self._direction = np.zeros(value.shape, np.int8)
        np.minimum(self._low, value, out=self._low)
        higher = value >= self._high
        up = (value - self._low > OLDER_STEP) & saturated & (self._direction <= 0)
        np.copyto(self._high, value, where=higher | up)
        np.copyto(self._high_saturated, saturated, where=higher | up)
        down = (self._high - value > OLDER_STEP) & self._high_saturated & (self._direction >= 0)
        down &= ~up
        self._direction[up], self._direction[down] = 1, -1
        np.copyto(self._low, value, where=down)
        return up, down
