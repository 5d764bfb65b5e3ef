"""Reading clean pictures back: sizes, rates, edges, scalers, JPEG, crops, blends."""

from __future__ import annotations

import io
from fractions import Fraction

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image
from scipy.ndimage import gaussian_filter, zoom
from skimage.transform import resize

from patterns.clip import StripEdge
from patterns.picture.arrays import UInt8Array
from patterns.strip.code import Identity
from patterns.strip.read import StripReading, Unread, read_strip
from tests.strip.frames import clip_of, strip_frame

SIZES = [(640, 360), (1920, 1080), (3840, 2160), (640, 480), (1080, 1920), (360, 640), (1080, 1080)]
RATES = [
    Fraction(24000, 1001), Fraction(25), Fraction(30000, 1001), Fraction(60), Fraction(25, 2),
    Fraction(240),
]  # fmt: skip


def _picture(size: tuple[int, int], seed: int) -> UInt8Array:
    """Picture with light, dark and texture, to lie under the strip."""
    rng = np.random.default_rng(seed)
    coarse = rng.integers(16, 236, (size[1] // 20, size[0] // 20)).astype(np.uint8)
    return np.asarray(Image.fromarray(coarse).resize(size, Image.Resampling.BICUBIC))


def _read(luma: npt.NDArray[np.generic]) -> StripReading:
    reading = read_strip(np.ascontiguousarray(luma, np.uint8))
    assert isinstance(reading, StripReading), reading
    return reading


def _turned_over(reading: StripReading) -> tuple[bool, bool]:
    """Whether the strip runs from right to left, and from below to above."""
    origin, end, under = reading.placement.to_picture([(0, 0), (1, 0), (0, 1)])
    return bool(end[0] < origin[0]), bool(under[1] < origin[1])


@pytest.mark.parametrize(  # each size at two rates, each rate at two sizes or three
    ("size", "rate"),
    [(size, RATES[(i + turn) % 6]) for turn in (0, 3) for i, size in enumerate(SIZES)],
)
def test_round_trip(size: tuple[int, int], rate: Fraction) -> None:
    edges: tuple[StripEdge, StripEdge] = ("bottom", "top")
    for edge, number in zip(edges, (0, 51717), strict=True):
        clip = clip_of(*size, rate=rate, edge=edge)
        reading = _read(strip_frame(clip, number, _picture(size, 1)).y)
        assert (reading.number, reading.later) == (number, None)
        assert reading.identity == Identity.of(rate, clip.identity)
        assert reading.confidence > 0.95
        assert _turned_over(reading) == (False, False)


def test_a_rate_that_does_not_fit_is_read_rounded_and_marked_so() -> None:
    clip = clip_of(rate=Fraction(999_999_937, 33_333_333))
    for number in (0, 23, 24, 4321):
        reading = _read(strip_frame(clip, number).y)
        assert reading.number == number
        assert reading.identity is not None
        assert not reading.identity.rate_exact
        assert reading.identity.rate == Fraction(30)


def _scaled(luma: UInt8Array, size: tuple[int, int]) -> dict[str, UInt8Array]:
    """The picture scaled by three independent libraries."""
    factors = (size[1] / luma.shape[0], size[0] / luma.shape[1])
    blurred = gaussian_filter(luma.astype(np.float32), [0.4 / f for f in factors])
    image = Image.fromarray(luma)
    smooth = resize(luma, size[::-1], order=1, anti_aliasing=True, preserve_range=True)
    return {
        "Pillow bilinear": np.asarray(image.resize(size, Image.Resampling.BILINEAR)),
        "Pillow Lanczos": np.asarray(image.resize(size, Image.Resampling.LANCZOS)),
        "scikit-image": np.clip(np.rint(smooth), 0, 255).astype(np.uint8),
        "SciPy zoom": np.clip(np.rint(zoom(blurred, factors, order=3)), 0, 255).astype(np.uint8),
    }


@pytest.mark.parametrize(
    ("size", "small", "number"),
    [
        ((1920, 1080), (426, 240), 2757),
        ((1280, 720), (426, 240), 65534),
        ((2560, 1440), (640, 360), 2757),
        ((1080, 1920), (240, 426), 65534),
        ((640, 480), (320, 240), 2757),
    ],
)
def test_scaled_down_and_compressed_hard(
    size: tuple[int, int], small: tuple[int, int], number: int
) -> None:
    """Down to 426 x 240, as it is and through JPEG at quality 30."""
    clip = clip_of(*size)
    luma = strip_frame(clip, number, _picture(size, number)).y
    for how, picture in _scaled(luma, small).items():
        buffer = io.BytesIO()
        Image.fromarray(picture).save(buffer, "JPEG", quality=30)
        for version in (picture, np.asarray(Image.open(buffer))):
            reading = _read(version)
            assert (reading.number, reading.later) == (number, None), how
            assert reading.identity == Identity.of(clip.rate, clip.identity), how


def test_enlarged_and_squeezed() -> None:
    clip = clip_of(640, 360)
    image = Image.fromarray(strip_frame(clip, 999).y)
    for size in ((1920, 1080), (1366, 768), (720, 576), (500, 400)):
        assert _read(np.asarray(image.resize(size))).number == 999


def test_full_range_and_low_contrast() -> None:
    luma = strip_frame(clip_of(), 4321).y.astype(float)
    assert _read(np.clip((luma - 16) * 255 / 219, 0, 255)).number == 4321
    assert _read(90 + luma * 0.35).number == 4321


@pytest.mark.parametrize("crop", [4, 12, 20])
def test_cropped_at_the_sides(crop: int) -> None:
    luma = strip_frame(clip_of(1920, 1080), 4321).y
    assert _read(luma[:, crop:-crop]).number == 4321
    assert _read(luma[:, crop:]).number == 4321
    assert _read(luma[300:-8]).number == 4321


def test_letterboxed_and_pillarboxed() -> None:
    luma = strip_frame(clip_of(), 4321).y
    assert _read(np.pad(luma, ((120, 120), (0, 0)), constant_values=16)).number == 4321
    upright = strip_frame(clip_of(720, 1280), 4321).y
    assert _read(np.pad(upright, ((0, 0), (780, 780)), constant_values=16)).number == 4321


@pytest.mark.parametrize("size", [(1280, 720), (720, 1280)])
def test_turned_and_mirrored_pictures_are_recognised(size: tuple[int, int]) -> None:
    luma = strip_frame(clip_of(*size), 4321).y
    for across, down in ((True, True), (True, False), (False, True)):
        shown = luma[:: -1 if down else 1, :: -1 if across else 1]
        reading = _read(shown)
        assert reading.number == 4321
        assert _turned_over(reading) == (across, down)


def test_the_earlier_placement_is_used_when_it_still_holds() -> None:
    clip = clip_of()
    first = _read(strip_frame(clip, 1).y)
    second = read_strip(strip_frame(clip, 2).y, near=first.placement)
    assert isinstance(second, StripReading)
    assert second.placement is first.placement
    shifted = np.roll(strip_frame(clip, 3).y, 40, axis=1)[:, 40:]
    moved = read_strip(np.pad(shifted, ((0, 0), (40, 0))), near=first.placement)
    assert isinstance(moved, Unread) or moved.number == 3


def _blend(first: UInt8Array, second: UInt8Array, share: float) -> UInt8Array:
    mixed = (1 - share) * first.astype(float) + share * second
    return np.asarray(np.rint(mixed), np.uint8)


@pytest.mark.parametrize("share", [0.15, 0.25, 0.4, 0.5, 0.6, 0.75, 0.85])
def test_blends_of_neighbours_are_recognised_at_240_rows(share: float) -> None:
    clip = clip_of(1920, 1080)
    first, second = strip_frame(clip, 4321).y, strip_frame(clip, 4322).y
    small = Image.fromarray(_blend(first, second, share)).resize((426, 240))
    reading = _read(np.asarray(small))
    assert (reading.number, reading.later) == (4321, 4322)
    assert reading.share == pytest.approx(share, abs=0.08)


def test_torn_pictures_never_name_a_third_frame() -> None:
    """The columns left of a tear from one frame, those right of it from the next."""
    clip = clip_of(640, 360)
    for number, begin in ((4321, 0), (4095, 16)):
        first, second = strip_frame(clip, number).y, strip_frame(clip, number + 1).y
        for tear in range(begin, 640, 32):
            reading = read_strip(np.concatenate([first[:, :tear], second[:, tear:]], axis=1))
            if isinstance(reading, StripReading):
                assert {reading.number, reading.later} <= {number, number + 1, None}


def test_what_is_no_strip_says_why() -> None:
    assert read_strip(np.zeros((8, 8), np.uint8)) == Unread("the picture is smaller than any strip")
    assert read_strip(np.full((360, 640), 100, np.uint8)) == Unread("no strip found")
