"""The layout: sizes, gutters, order, light references, and the area that changes."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations

import pytest

from patterns.errors import RequestError
from patterns.strip.draw import picture_rows
from patterns.strip.layout import ARRANGEMENTS, Cell, Rect, grid, strip_layout
from tests.strip.frames import clip_of

SIZES = [
    (640, 360), (640, 480), (854, 480), (1280, 720), (1920, 1080), (1920, 804), (2560, 1440),
    (3840, 2160), (4096, 2160), (7680, 4320), (8192, 4320), (1080, 1080), (1080, 1350),
    (360, 640), (720, 1280), (1080, 1920), (2160, 3840), (426, 240), (1440, 3120), (1170, 2532),
]  # fmt: skip
RATES = [Fraction(24000, 1001), Fraction(25), Fraction(30), Fraction(60), Fraction(1, 10)]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("rate", RATES)
def test_changing_cells_stay_below_the_small_safe_area(
    size: tuple[int, int], rate: Fraction
) -> None:
    """WCAG 2.2 technique G176: 21 824 px = 2.775 % of 1024 x 768; computed. Limit here 2.7 %.

    All number cells, check cells included, and all hold cells are counted, as if they
    changed together, although two hold cells at most do.
    """
    assert pytest.approx(0.02775, abs=1e-5) == 21_824 / (1024 * 768)
    layout = strip_layout(*size, rate)
    pixels = sum((c.right - c.left) * (c.bottom - c.top) for c in (*layout.number, *layout.hold))
    assert Fraction(pixels, size[0] * size[1]) < Fraction(27, 1000)


@pytest.mark.parametrize("size", SIZES)
def test_band_is_about_a_tenth_and_leaves_even_rows(size: tuple[int, int]) -> None:
    for edge in ("bottom", "top"):
        clip = clip_of(*size, edge=edge)
        band = strip_layout(*size, clip.rate).band_height
        top, bottom = picture_rows(clip)
        assert band % 2 == top % 2 == bottom % 2 == 0
        assert bottom - top + band == size[1]
        assert 0.05 < band / size[1] <= 1 / 9
        assert (top == 0) == (edge == "bottom")


def test_without_a_strip_the_picture_has_all_rows() -> None:
    assert picture_rows(clip_of(edge="none")) == (0, 720)


def _cells(size: tuple[int, int], rate: Fraction) -> list[Cell]:
    layout = strip_layout(*size, rate)
    fields = [halftone.field for halftone in layout.halftones]
    return [
        *layout.posts, *layout.flags, *layout.number, *layout.white, *layout.black,
        *layout.identity, *layout.hold, *layout.figures, *fields,
    ]  # fmt: skip


@pytest.mark.parametrize("size", SIZES)
def test_cells_lie_inside_the_band_and_do_not_overlap(size: tuple[int, int]) -> None:
    cells = _cells(size, Fraction(30))
    band = strip_layout(*size, Fraction(30)).band_height
    for cell in cells:
        assert 0 <= cell.left < cell.right <= size[0]
        assert 0 <= cell.top < cell.bottom <= band
    for a, b in combinations(cells, 2):
        apart = a.right <= b.left or b.right <= a.left or a.bottom <= b.top or b.bottom <= a.top
        assert apart, (a, b)


@pytest.mark.parametrize("size", SIZES)
def test_pixels_and_fractions_say_the_same_place(size: tuple[int, int]) -> None:
    band = strip_layout(*size, Fraction(25)).band_height
    for cell in _cells(size, Fraction(25)):
        assert cell.left == pytest.approx(cell.rect.left * size[0], abs=0.501)
        assert cell.right == pytest.approx(cell.rect.right * size[0], abs=1.501)
        assert cell.top == pytest.approx(cell.rect.top * band, abs=0.501)
        assert cell.bottom == pytest.approx(cell.rect.bottom * band, abs=1.501)


@pytest.mark.parametrize("name", ARRANGEMENTS)
def test_references_stand_near_every_number_cell(name: str) -> None:
    """No number cell is farther than four cells from a white and a black reference."""
    on = grid(name)
    pitch = on.number[1].left - on.number[0].left
    for cell in on.number:
        for references in (on.white, on.black):
            nearest = min(abs(cell.left - reference.left) for reference in references)
            assert nearest <= 5.5 * pitch


@pytest.mark.parametrize("name", ARRANGEMENTS)
def test_marks_tell_all_four_ways_of_holding_the_picture(name: str) -> None:
    """Turned, mirrored, or both, a flag falls where the upright strip is dark."""
    on = grid(name)

    def flipped(rect: Rect, across: bool, down: bool) -> tuple[float, float]:
        x, y = (rect.left + rect.right) / 2, (rect.top + rect.bottom) / 2
        return (1 - x if across else x), (1 - y if down else y)

    def dark(point: tuple[float, float]) -> bool:
        return any(r.left < point[0] < r.right and r.top < point[1] < r.bottom for r in on.dark)

    long_end = Rect(on.flags[0].left, on.flags[0].bottom - 0.1, on.flags[0].right,
                    on.flags[0].bottom)  # fmt: skip
    for across, down in ((True, False), (False, True), (True, True)):
        parts = (*on.flags, long_end)
        assert any(dark(flipped(part, across, down)) for part in parts)


@pytest.mark.parametrize("size", [(320, 180), (318, 240), (8192, 128), (128, 128)])
def test_frames_too_small_for_a_strip(size: tuple[int, int]) -> None:
    if size == (320, 180):
        assert strip_layout(*size, Fraction(24)).band_height == 20
        return
    with pytest.raises(RequestError, match=r"too small for the strip: give at least 320"):
        strip_layout(*size, Fraction(24))
