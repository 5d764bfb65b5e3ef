"""Finding the strip in a clean picture: upright, turned or mirrored, but not tilted.

Every pair of upright white bars of equal height, far apart, may be the posts.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from patterns.picture.arrays import FloatArray, UInt8Array
from patterns.strip.grid import ARRANGEMENTS, grid
from patterns.strip.placement import Placement, looks_marked

LEAST_POST_PX = 10  # rows: a post that is lower cannot carry cells that can be distinguished
HIGHEST_POST = 0.3  # of the picture's height
COLUMNS_LOOKED_AT = 640
SPACING = (4.0, 45.0)  # distance between the posts over their height
MOST_PAIRS = 60
MOST_RUNS = 20_000
MOST_BARS = 400
LEAST_SLIM, MOST_SLIM = 1.5, 25  # height over width of a post, whatever a picture was squeezed to


@dataclass(frozen=True)
class _Bar:
    """An upright white bar in picture coordinates (edges between pixels).

    `cut` says whether the picture's left or right border may have taken a part of it.
    """

    left: float
    right: float
    top: float
    bottom: float
    cut: bool

    @property
    def height(self) -> float:
        return self.bottom - self.top

    @property
    def width(self) -> float:
        return self.right - self.left


def _runs(lit: UInt8Array) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Column, first row and row after the last of each upright run of lit pixels."""
    padded = np.zeros((lit.shape[1], lit.shape[0] + 2), np.int8)
    padded[:, 1:-1] = lit.T
    step = np.diff(padded, axis=1)
    column, start = np.nonzero(step == 1)
    end = np.nonzero(step == -1)[1]
    long = (end - start >= LEAST_POST_PX) & (end - start <= HIGHEST_POST * lit.shape[0])
    return column[long].astype(float), start[long].astype(float), end[long].astype(float)


def _gather(lit: UInt8Array) -> list[tuple[int, int, float, float]]:
    """Gather runs that touch and agree in height into bars, in columns of `lit`."""
    column, start, end = _runs(lit)
    if len(column) > MOST_RUNS:
        return []
    tolerance = 1 + np.minimum(3, 0.06 * (end - start))
    open_bars: list[list[float]] = []
    done: list[list[float]] = []
    for c, s, e, slack in zip(column, start, end, tolerance, strict=True):
        done += [bar for bar in open_bars if bar[1] < c - 1]
        open_bars = [bar for bar in open_bars if bar[1] >= c - 1]
        match = next(
            (b for b in open_bars if abs(b[2] - s) <= slack and abs(b[3] - e) <= slack), None
        )
        if match is None:
            open_bars.append([c, c, s, e])
        else:
            match[1] = c
    return [(int(b[0]), int(b[1]), b[2], b[3]) for b in done + open_bars]


def _edges(profile: FloatArray, first: int, last: int, level: float) -> tuple[float, float]:
    """Where a profile rises through `level` before `first` and falls after `last`, sub-pixel."""
    low = first
    while low > 0 and profile[low - 1] > level:
        low -= 1
    high = last
    while high < len(profile) - 1 and profile[high + 1] > level:
        high += 1
    left, right = float(low), float(high + 1)
    if low > 0:
        left = low + 0.5 - (profile[low] - level) / (profile[low] - profile[low - 1])
    if high < len(profile) - 1:
        right = high + 0.5 + (profile[high] - level) / (profile[high] - profile[high + 1])
    return left, right


def _measure(
    luma: UInt8Array, bar: tuple[int, int, float, float], step: int, level: float
) -> _Bar | None:
    """Find the bar's edges to a fraction of a pixel; None if it is no upright bar at all."""
    x0, x1 = bar[0] * step, min(bar[1] * step, luma.shape[1] - 1)
    y0, y1 = int(bar[2]), int(bar[3])
    quarter = max(1, (y1 - y0) // 4)
    reach = max(4, y1 - y0)
    first = max(0, x0 - reach)
    across = luma[y0 + quarter : y1 - quarter, first : x1 + reach].mean(axis=0)
    middle = (x0 + x1) // 2 - first
    if across[middle] <= level:
        return None
    left, right = _edges(across, middle, middle, level)
    inner = slice(first + int(left + 0.5), max(first + int(left + 0.5) + 1, first + int(right)))
    above = max(0, y0 - quarter)
    down = luma[above : y1 + quarter, inner].mean(axis=1)
    centre = (y0 + y1) // 2 - above
    if down[centre] <= level:
        return None
    top, bottom = _edges(down, centre, centre, level)
    cut = first + left <= 0 or first + right >= luma.shape[1]
    found = _Bar(first + left, first + right, above + top, above + bottom, cut)
    return found if LEAST_SLIM < found.height / found.width < MOST_SLIM else None


def _bars(luma: UInt8Array, level: float) -> list[_Bar]:
    step = max(1, luma.shape[1] // COLUMNS_LOOKED_AT)
    lit = (luma[:, ::step] > level).astype(np.uint8)
    tall = [
        bar for bar in _gather(lit) if (bar[1] - bar[0] - 1) * step * LEAST_SLIM < bar[3] - bar[2]
    ]
    tall.sort(key=lambda bar: bar[2] - bar[3])
    measured = (_measure(luma, bar, step, level) for bar in tall[:MOST_BARS])
    return [bar for bar in measured if bar]


def _pairs(bars: list[_Bar]) -> list[tuple[_Bar, _Bar]]:
    """Bars that could be the two posts, widest apart first."""
    if not bars:
        return []
    table = np.array([(b.left, b.right, b.top, b.bottom) for b in bars])
    left, right, top, bottom = (table[:, i, None] for i in range(4))
    height, width = bottom - top, right - left
    slack = 1.5 + 0.06 * height
    apart = left.T - left
    cut = np.array([[b.cut] for b in bars])
    fits = (
        (apart > SPACING[0] * height)
        & (apart < SPACING[1] * height)
        & (np.abs(top - top.T) < slack)
        & (np.abs(bottom - bottom.T) < slack)
        & (cut | cut.T | (np.abs(width - width.T) < 1.5 + 0.25 * width))
    )
    first, second = np.nonzero(fits)
    order = np.argsort(-apart[first, second], kind="stable")[:MOST_PAIRS]
    return [(bars[first[i]], bars[second[i]]) for i in order]


def _line(at: list[float], to: list[float]) -> tuple[float, float]:
    """Slope and offset of the straight line that fits `to` over `at` in least squares."""
    x, y = sum(at) / len(at), sum(to) / len(to)
    moment = sum((a - x) * (t - y) for a, t in zip(at, to, strict=True))
    slope = moment / sum((a - x) ** 2 for a in at)
    return slope, y - slope * x


def _across(left: _Bar, right: _Bar, x: list[float], *, back: bool) -> tuple[float, float] | None:
    """Scale and offset of columns over the band's x, if the posts' widths agree with it.

    `x` are the left and right edges of the left and the right post. Edges at the border
    of a cropped picture are left out.
    """
    columns = [left.left, left.right, right.left, right.right]
    first, last = left, right
    if back:
        columns.reverse()
        first, last = right, left
    whole = [not first.cut, True, True, not last.cut]
    scale, offset = _line(
        [at for at, keep in zip(x, whole, strict=True) if keep],
        [at for at, keep in zip(columns, whole, strict=True) if keep],
    )
    expected = abs(scale) * (x[1] - x[0])
    for bar in (left, right):
        if not bar.cut and not 0.5 < bar.width / expected < 2:
            return None  # these would be the other arrangement's posts
    return scale, offset


def _placements(left: _Bar, right: _Bar) -> Iterator[Placement]:
    """All placements in which two posts could belong to a strip."""
    rows = [left.top, left.bottom, right.top, right.bottom]
    for arrangement in ARRANGEMENTS:
        posts = grid(arrangement).posts
        x = [edge for post in posts for edge in (post.left, post.right)]
        y = [edge for post in posts for edge in (post.top, post.bottom)]
        for back in (False, True):
            fitted = _across(left, right, x, back=back)
            if fitted is None:
                continue
            for upside_down in (False, True):
                down = [rows[1], rows[0], rows[3], rows[2]] if upside_down else rows
                (sx, ox), (sy, oy) = fitted, _line(y, down)
                matrix = np.array([[sx, 0, ox], [0, sy, oy], [0, 0, 1]])
                yield Placement(arrangement, matrix, upside_down, back != upside_down)


def candidates(luma: UInt8Array) -> Iterator[Placement]:
    """Placements worth a look in a clean picture, likeliest first.

    `luma`: (height, width); the strip's edges run along rows and columns.
    """
    low, high = np.percentile(luma[::3, ::3], (0.5, 99.5))
    for share in (0.5, 0.7):
        for left, right in _pairs(_bars(luma, float(low + share * (high - low)))):
            for placement in _placements(left, right):
                if looks_marked(luma, placement):
                    yield placement
