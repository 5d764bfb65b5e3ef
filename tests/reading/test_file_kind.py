"""A clip and a camera's picture of it are told apart, filling the picture or not.

Pictures are made without a file: the camera's by SciPy's resampling at a small angle.
"""

from __future__ import annotations

import io
from fractions import Fraction as F

import numpy as np
import pytest
from PIL import Image
from scipy import ndimage

from patterns.clip import Clip
from patterns.frame_source import FrameSource
from patterns.picture.arrays import UInt8Array
from patterns.reading.file_kind import FileKind, KindFinder
from patterns.scenes.bars.motion import BarsMotion
from patterns.strip.camera_locate import locate
from patterns.strip.layout import strip_layout
from patterns.strip.read import StripReading, read_strip

SOURCE = FrameSource(Clip(BarsMotion(F(150), F(160), F(80)), F(60), F(1, 120), 960, 540, 60))


def found(pictures: list[UInt8Array]) -> FileKind:
    finder = KindFinder()
    for place, luma in enumerate(pictures):
        kind = finder.look(place, luma)
        if kind is not None:
            return kind
    return finder.kind()


def frame(number: int) -> UInt8Array:
    return np.asarray(SOURCE.draw(number).y.copy(), np.uint8)


def filmed(number: int, roll_deg: float, rng: np.random.Generator) -> UInt8Array:
    """Seen by a camera that fills its picture: rolled a little, soft, with noise and its tones."""
    angle = np.radians(roll_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    middle = np.array([270.0, 480.0]) + rng.normal(0, 0.2, 2)
    light = frame(number).astype(np.float32)
    seen = ndimage.affine_transform(light, turn * 1.01, middle - turn @ middle * 1.01, order=1,
                                    mode="nearest")  # fmt: skip
    seen = 45 + 0.7 * ndimage.gaussian_filter(seen, 0.6) + rng.normal(0, 2, seen.shape)
    return np.asarray(np.clip(seen, 16, 235), np.uint8)


@pytest.mark.parametrize("roll_deg", [0.1, 0.3, -0.25])
def test_a_recording_that_fills_the_picture_is_told(roll_deg: float) -> None:
    rng = np.random.default_rng(3)
    # two pictures of each frame, as 60 on 60 Hz at 120 pictures a second
    kind = found([filmed(place // 2, roll_deg, rng) for place in range(12)])
    assert kind.kind == "recording"
    assert "off straight" in kind.why


@pytest.mark.parametrize(("black", "gain"), [(110, 0.45), (23, 0.84)])
def test_a_straight_recording_is_told_by_its_slow_drift(black: float, gain: float) -> None:
    """Not half a pixel off straight, and less than a tenth of one further in each picture.

    Under glare, and where a good camera makes of black 36 and of white 220 codes.
    """
    pictures = []
    for place in range(12):
        light = black + gain * frame(place // 2).astype(np.float32)
        moved = ndimage.shift(light, (0.0, -0.07 * place), order=1, mode="nearest")
        pictures.append(np.asarray(ndimage.gaussian_filter(moved, 0.6), np.uint8))
    kind = found(pictures)
    assert (kind.kind, kind.sure) == ("recording", False)
    assert "moves by" in kind.why


def test_a_clip_whose_tones_were_lifted_is_a_clip() -> None:
    lifted = [np.asarray(110 + 0.45 * frame(n).astype(np.float32), np.uint8) for n in range(8)]
    assert found(lifted).kind == "clip"


@pytest.mark.parametrize(("size", "quality"), [((426, 240), 1), ((426, 240), 3), ((640, 360), 7)])
def test_a_small_clip_that_was_compressed_hard_is_a_clip(
    size: tuple[int, int], quality: int
) -> None:
    """What is left of its edges puts the strip 0.7 to 1.1 pixels off straight."""
    pictures = []
    for n in range(8):
        kept = io.BytesIO()
        Image.fromarray(frame(n)).resize(size).save(kept, "JPEG", quality=quality)
        pictures.append(np.asarray(Image.open(kept)))
    assert found(pictures).kind == "clip"


def test_a_clip_is_told_and_sure() -> None:
    kind = found([frame(n) for n in range(8)])
    assert (kind.kind, kind.sure, kind.on_its_side) == ("clip", True, False)


@pytest.mark.parametrize("quarters", [1, 3])
def test_a_clip_turned_by_a_quarter_is_a_clip(quarters: int) -> None:
    turned = [np.asarray(np.ascontiguousarray(np.rot90(frame(n), quarters))) for n in range(8)]
    kind = found(turned)
    assert (kind.kind, kind.on_its_side) == ("clip", True)


def test_a_clip_in_another_picture_is_a_clip() -> None:
    pictures = []
    for n in range(8):
        picture = np.full((900, 1400), 90, np.uint8)
        picture[:540, 400:1360] = frame(n)
        pictures.append(picture)
    assert found(pictures).kind == "clip"


def test_a_strip_that_comes_late_is_found() -> None:
    grey = np.random.default_rng(1).integers(60, 200, (540, 960)).astype(np.uint8)
    assert found([grey] * 30 + [frame(n) for n in range(20)]).kind == "clip"


@pytest.mark.parametrize("turned", [False, True])
def test_a_strip_whose_ends_are_out_of_the_picture_is_seen_and_is_no_footage(turned: bool) -> None:
    rng = np.random.default_rng(4)
    pictures = [filmed(place // 2, 0.4, rng)[:, 24:-24] for place in range(5)]
    assert locate(pictures[0]) is None
    kind = found([np.ascontiguousarray(p.T if turned else p) for p in pictures])
    assert (kind.kind, kind.sure) == ("recording", False)
    assert "out of the picture" in kind.why


def test_noise_in_the_dark_does_not_hide_the_cells_of_such_a_strip() -> None:
    """Light that pulses leaves part of each picture black: noise stands there in many specks."""
    rng = np.random.default_rng(5)
    pictures = []
    for place in range(5):
        luma = filmed(place // 2, 0.4, rng)[:, 24:-24].copy()
        specks = ndimage.gaussian_filter(rng.standard_normal((400, luma.shape[1])), 1.2)
        luma[:400] = np.clip(50 + 30 * specks, 16, 235)
        pictures.append(luma)
    kind = found(pictures)
    assert (kind.kind, kind.sure) == ("recording", False)
    assert "out of the picture" in kind.why


@pytest.mark.parametrize(  # each share and each side with both sizes
    ("size", "share", "below"),
    [((960, 540), 0.2, True), ((960, 540), 0.4, False), ((960, 540), 0.6, True),
     ((540, 960), 0.2, False), ((540, 960), 0.4, True), ((540, 960), 0.6, False)],
)  # fmt: skip
def test_a_strip_cut_along_its_length_is_read_or_seen_and_is_no_footage(
    size: tuple[int, int], share: float, below: bool
) -> None:
    """Cropped from below, or covered by another picture from above."""
    source = FrameSource(Clip(BarsMotion(F(150), F(160), F(80)), F(60), F(1, 120), *size, 60))
    band = strip_layout(*size, F(60)).band_height
    cut = round(share * band)
    pictures = []
    for n in range(8):
        luma = source.draw(n).y.copy()
        if below:
            luma = luma[:-cut]
        else:
            luma[: cut - band] = 90 + np.arange(size[0]) % 50
        pictures.append(np.ascontiguousarray(luma))
    kind = found(pictures)
    if kind.kind == "clip":  # then its numbers are read, and right
        readings = [read_strip(luma) for luma in pictures]
        numbers = [r.number for r in readings if isinstance(r, StripReading)]
        assert len(numbers) >= 6
        assert set(numbers) <= set(range(8))
    else:
        assert (kind.kind, kind.sure) == ("recording", False)
        assert "part of it is out of the picture" in kind.why


def test_pictures_without_a_strip_are_footage() -> None:
    rng = np.random.default_rng(2)
    field = ndimage.gaussian_filter(rng.standard_normal((400, 600)), 3)
    luma = np.asarray(np.clip(120 + 300 * field, 16, 235), np.uint8)
    assert found([np.roll(luma, n, 1) for n in range(40)]).kind == "footage"
