"""Regular stripes just below and just above every limit, in any direction and motion."""

from __future__ import annotations

from collections.abc import Callable
from math import cos, radians, sin

import numpy as np
import pytest

from patterns.picture.arrays import UInt8Array
from patterns.safety.luminance import Reducer
from patterns.safety.report import StripeFinding
from patterns.safety.stripes import find_stripes
from patterns.safety.viewing import Viewing
from tests.safety.sequences import HEIGHT, WIDTH, reduced, run, stripe

SCREEN, CONSENSUS = "BT.1702", "Epilepsy"


def grating(
    pairs: float,
    *,
    phase: float = 0.0,
    angle_deg: float = 0.0,
    light: int = 255,
    dark: int = 0,
    duty: float = 0.5,
    share: float = 1.0,
    smooth: bool = False,
) -> UInt8Array:
    """Stripes with `pairs` of them across the part of the picture that they fill."""
    x, y = np.meshgrid(np.arange(WIDTH) + 0.5, np.arange(HEIGHT) + 0.5)
    nx, ny = cos(radians(angle_deg)), sin(radians(angle_deg))
    extent = abs(nx) * WIDTH * share + abs(ny) * HEIGHT
    turns = (x * nx + y * ny) / extent * pairs - phase
    sharp = (turns % 1 < duty).astype(float)
    wave = 0.5 + 0.5 * np.cos(2 * np.pi * turns) if smooth else sharp
    codes = np.where(x < WIDTH * share, dark + (light - dark) * wave, (light + dark) / 3)
    return np.repeat(np.rint(codes).astype(np.uint8)[..., np.newaxis], 3, axis=2)


def shown(
    make: Callable[[float], UInt8Array] | UInt8Array, seconds: float = 1.0, rate: int = 24
) -> dict[str, StripeFinding]:
    """Findings for one picture, or for pictures made from their time."""
    times = (n / rate for n in range(round(seconds * rate)))
    report = run((make(t) if callable(make) else make for t in times), rate)
    return {word: stripe(report, word) for word in (SCREEN, CONSENSUS)}


@pytest.mark.parametrize("angle", [0, 90, 30, -45, 63])
@pytest.mark.parametrize("pairs", [6, 9, 15, 40])
def test_pairs_are_counted_in_any_direction(pairs: int, angle: float) -> None:
    picture = grating(pairs, angle_deg=angle)
    found = find_stripes(reduced(Reducer(WIDTH, HEIGHT, Viewing()), picture).screen_fine)
    assert found is not None
    assert found.pairs == pytest.approx(pairs, abs=0.25)
    assert found.share > 0.9
    apart = abs((found.normal_deg - angle + 90) % 180 - 90)
    assert apart < 25 / pairs  # half a wave over the picture is resolved


@pytest.mark.parametrize("smooth", [False, True])
@pytest.mark.parametrize(("pairs", "fails"), [(5, False), (6, True)])
def test_five_standing_pairs_pass_and_six_fail(pairs: int, fails: bool, smooth: bool) -> None:
    """ITU-R BT.1702-3 (second-hand): more than five light-dark pairs."""
    found = shown(grating(pairs, smooth=smooth))[SCREEN]
    assert found.motion == "stationary"
    assert found.exceeds == fails


@pytest.mark.parametrize(("share", "fails"), [(0.36, False), (0.44, True)])
def test_two_fifths_of_the_screen_if_they_stand(share: float, fails: bool) -> None:
    found = shown(grating(9, share=share))[SCREEN]
    assert found.share == pytest.approx(share, abs=0.03)
    assert found.exceeds == fails


@pytest.mark.parametrize(("share", "fails"), [(0.21, False), (0.30, True)])
def test_a_quarter_of_the_screen_if_they_oscillate(share: float, fails: bool) -> None:
    found = shown(lambda t: grating(9, share=share, phase=0.3 * sin(2 * np.pi * 2 * t)), 2)[SCREEN]
    assert found.motion == "oscillating"
    assert found.exceeds == fails


MOTIONS: dict[str, Callable[[float], UInt8Array]] = {
    "stationary": lambda t: grating(7, phase=0.1 * t),
    "drifting": lambda t: grating(7, phase=1.5 * t),
    "oscillating": lambda t: grating(7, phase=1.5 * min(t % 1, 1 - t % 1)),
    "reversing": lambda t: grating(7, phase=0.5 * (int(t * 8) % 2)),
    "flashing": lambda t: grating(7, light=255 if int(t * 4) % 2 == 0 else 90),
}


@pytest.mark.parametrize("word", MOTIONS)
def test_motion_is_recognised(word: str) -> None:
    found = shown(MOTIONS[word], 2)
    assert found[SCREEN].motion == word
    # one-way drift is exempt: Ofcom, guidance notes on rule 2.12, annex 1 (from memory)
    assert found[SCREEN].exceeds == (word != "drifting")
    # Epilepsy Foundation consensus: seven pairs are too many only if they change
    assert found[CONSENSUS].exceeds == (word not in ("stationary", "drifting"))


@pytest.mark.parametrize("direction", [-1, 1])
@pytest.mark.parametrize(("pairs", "fails"), [(8, False), (9, True)])
def test_consensus_allows_eight_pairs_that_drift(pairs: int, fails: bool, direction: int) -> None:
    """Harding et al., Epilepsia 46(9):1423-1425 (2005), abstract."""
    found = shown(lambda t: grating(pairs, phase=direction * t))
    assert found[CONSENSUS].exceeds == fails
    assert not found[SCREEN].exceeds


@pytest.mark.parametrize(("light", "fails"), [(142, False), (145, True)])
def test_consensus_minds_stripes_above_50_cd_m2(light: int, fails: bool) -> None:
    """50 of 200 cd/m2 is signal 0.561 by BT.1886 (computed), code 143.1."""
    found = shown(grating(12, light=light))
    assert found[CONSENSUS].exceeds == fails
    assert found[SCREEN].exceeds


@pytest.mark.parametrize(("seconds", "fails"), [(0.4, False), (0.6, True)])
def test_consensus_minds_stripes_shown_for_half_a_second(seconds: float, fails: bool) -> None:
    blank = np.full((HEIGHT, WIDTH, 3), 60, np.uint8)
    found = shown(lambda t: grating(12) if 0.5 <= t < 0.5 + seconds else blank, 2, rate=30)
    assert found[CONSENSUS].exceeds == fails


@pytest.mark.parametrize(
    ("dark", "found"), [(220, True), (245, False)], ids=["contrast 0.17", "contrast 0.05"]
)
def test_faint_stripes_are_not_discernible(dark: int, found: bool) -> None:
    """Contrast of 0.1 is our own limit, no source."""
    made = shown(grating(10, dark=dark))[SCREEN]
    assert (made.motion != "none") == found


@pytest.mark.parametrize("pairs", [1, 2, 3, 4])
@pytest.mark.parametrize("duty", [0.5, 0.2, 0.1])
def test_overtones_of_few_bars_are_not_stripes(pairs: int, duty: float) -> None:
    found = shown(grating(pairs, duty=duty))[SCREEN]
    assert not found.exceeds


def test_thin_lines_are_stripes_too() -> None:
    assert shown(grating(9, duty=0.15))[SCREEN].exceeds


def test_texture_is_not_regular() -> None:
    """Noise with the spectrum of natural pictures: amplitude falls as 1/frequency."""
    rng = np.random.default_rng(7)
    for _ in range(10):
        fy, fx = np.fft.fftfreq(HEIGHT)[:, None], np.fft.rfftfreq(WIDTH)[None]
        amplitude = 1 / np.maximum(np.hypot(fx, fy), 1 / WIDTH)
        spectrum = amplitude * np.exp(2j * np.pi * rng.random((HEIGHT, WIDTH // 2 + 1)))
        field = np.fft.irfft2(spectrum, (HEIGHT, WIDTH))
        codes = np.clip(110 + 45 * field / field.std(), 0, 255).astype(np.uint8)
        picture = np.repeat(codes[..., np.newaxis], 3, axis=2)
        found = shown(picture, 0.5)[SCREEN]
        assert not found.exceeds


def test_a_cut_does_not_make_a_drift_reverse() -> None:
    def make(t: float) -> UInt8Array:
        return grating(7, phase=1.5 * t) if t < 1.5 else grating(3, angle_deg=90)

    assert shown(make, 3)[SCREEN].motion == "drifting"
