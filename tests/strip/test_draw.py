"""Drawing: only the band changes, cells are pure, halftones have the stated area."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from skimage.measure import label

from patterns.clip import StripEdge
from patterns.picture.planes import Planes
from patterns.strip.code import number_word
from patterns.strip.draw import BLACK, WHITE, StripDrawer, clock, halftone_pattern, picture_rows
from patterns.strip.layout import Cell, strip_layout
from tests.strip.frames import clip_of, strip_frame

SIZES = [(640, 360), (1920, 1080), (3840, 2160), (1080, 1920), (360, 640)]


def _code(frame: Planes, cell: Cell, top: int) -> int:
    values = np.unique(frame.y[top + cell.top : top + cell.bottom, cell.left : cell.right])
    assert len(values) == 1
    return int(values[0])


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("edge", ["bottom", "top"])
def test_only_the_band_is_written(size: tuple[int, int], edge: StripEdge) -> None:
    clip = clip_of(*size, edge=edge)
    frame = Planes.blank(*size)
    frame.y[:], frame.cb[:], frame.cr[:] = 77, 88, 99
    StripDrawer(clip).draw(frame, 12345)
    top, bottom = picture_rows(clip)
    picture = frame.rows(top, bottom)
    assert (picture.y == 77).all()
    assert (picture.cb == 88).all()
    assert (picture.cr == 99).all()
    band = np.delete(frame.y, np.s_[top:bottom], axis=0)
    assert not (band == 77).all(axis=1).any()


@pytest.mark.parametrize("size", SIZES)
def test_cells_are_pure_black_or_white_and_say_the_word(size: tuple[int, int]) -> None:
    clip = clip_of(*size)
    layout = strip_layout(*size, clip.rate)
    top = clip.height - layout.band_height
    for number in (0, 1, 2757, 65535):
        frame = strip_frame(clip, number)
        codes = [_code(frame, cell, top) for cell in layout.number]
        assert set(codes) <= {BLACK, WHITE}
        text = "".join("1" if code == WHITE else "0" for code in codes)
        assert int(text, 2) == number_word(number)
        lit = [i for i, cell in enumerate(layout.hold) if _code(frame, cell, top) == WHITE]
        assert lit == [number % len(layout.hold)]


@pytest.mark.parametrize("size", SIZES)
def test_chroma_is_neutral_on_every_cell(size: tuple[int, int]) -> None:
    clip = clip_of(*size)
    layout = strip_layout(*size, clip.rate)
    frame = strip_frame(clip, 5)
    top = clip.height - layout.band_height
    for cell in (*layout.number, *layout.hold, *layout.identity, *layout.posts, *layout.flags):
        rows = slice((top + cell.top) // 2, (top + cell.bottom + 1) // 2)
        columns = slice(cell.left // 2, (cell.right + 1) // 2)
        assert (frame.cb[rows, columns] == 128).all()
        assert (frame.cr[rows, columns] == 128).all()


@pytest.mark.parametrize("size", [*SIZES, (426, 240), (8192, 4320), (1440, 3120)])
def test_halftones_have_exactly_the_area_they_state(size: tuple[int, int]) -> None:
    halftones = strip_layout(*size, Fraction(24)).halftones
    stated = ["0", "1/16", "1/8", "1/4", "1/2", "1/2", "3/4", "1"]
    assert [str(h.fraction) for h in halftones] == stated
    for halftone in halftones:
        pattern = halftone_pattern(halftone)
        assert pattern.size == halftone.patch.width * halftone.patch.height > 0
        assert Fraction(int((pattern == WHITE).sum()), pattern.size) == halftone.fraction
        assert set(np.unique(pattern)) <= {BLACK, WHITE}


def test_halftone_dots_are_as_wide_as_stated() -> None:
    """Connected dots counted by scikit-image: each takes dot x dot pixels."""
    sixteenth = strip_layout(1920, 1080, Fraction(24)).halftones[1]
    pattern = halftone_pattern(sixteenth) == WHITE
    _, dots = label(pattern, return_num=True, connectivity=1)
    assert pattern.sum() == dots * sixteenth.dot_px**2


def test_frames_may_be_drawn_in_any_order_into_one_buffer() -> None:
    clip = clip_of(640, 360)
    drawer, frame = StripDrawer(clip), Planes.blank(640, 360)
    for number in (65535, 3, 40000, 3):
        drawer.draw(frame, number)
        fresh = strip_frame(clip, number, 16)
        assert (frame.y == fresh.y).all()


def test_two_frames_differ_in_number_hold_and_figures_only() -> None:
    clip = clip_of(1920, 1080)
    layout = strip_layout(1920, 1080, clip.rate)
    a, b = strip_frame(clip, 100), strip_frame(clip, 101)
    changed = a.y != b.y
    top = 1080 - layout.band_height
    for cell in (*layout.number, *layout.hold, layout.figures[0]):
        changed[top + cell.top : top + cell.bottom, cell.left : cell.right] = False
    assert not changed.any()
    assert (a.cb == b.cb).all()


def test_clock_is_exact_for_ntsc_rates() -> None:
    """Frame 24000 at 24000/1001 fps is due at 1001 s, that is 16 min 41 s."""
    assert clock(24000, Fraction(24000, 1001)) == "0:16:41.000"
    assert clock(1, Fraction(24)) == "0:00:00.041"


@pytest.mark.parametrize("size", [(320, 180), (640, 360), (360, 640), (1080, 1080)])
@pytest.mark.parametrize("rate", [Fraction(120000, 1001), Fraction(1, 10), Fraction(479999, 1000)])
def test_figures_stay_inside_their_lines(size: tuple[int, int], rate: Fraction) -> None:
    """Between the code rows and the right mark nothing but figures is drawn."""
    clip = clip_of(*size, rate=rate)
    layout = strip_layout(*size, rate)
    frame = strip_frame(clip, 65535)
    band = frame.y[clip.height - layout.band_height :].astype(int)
    cells = [
        *layout.number, *layout.hold, *layout.identity, *layout.white, *layout.black,
        *layout.posts, *layout.flags, *layout.figures, *(h.field for h in layout.halftones),
    ]  # fmt: skip
    for cell in cells:
        band[cell.top : cell.bottom, cell.left : cell.right] = -1
    assert len(set(np.unique(band)) - {-1}) == 1
