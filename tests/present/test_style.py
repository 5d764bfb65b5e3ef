"""The palette: legible, and told apart by every kind of colour vision."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from patterns.drawing.style import DARK, LIGHT, Scheme, css_properties, hold_colours
from patterns.picture.arrays import FloatArray

# Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation of Color
# Vision Deficiency" (2009), severity 1.0, for linear R, G, B; values from memory.
DICHROMACY = {
    "protan": [[0.1523, 1.0526, -0.2049], [0.1145, 0.7863, 0.0992], [-0.0039, -0.0481, 1.0520]],
    "deutan": [[0.3673, 0.8606, -0.2280], [0.2801, 0.6725, 0.0474], [-0.0118, 0.0429, 0.9689]],
    "tritan": [[1.2555, -0.0767, -0.1788], [-0.0784, 0.9308, 0.1476], [0.0047, 0.6914, 0.3039]],
    "grey": [[0.2126, 0.7152, 0.0722]] * 3,
}


def _linear(colour: str) -> FloatArray:
    """Linear light of an sRGB colour, IEC 61966-2-1."""
    code = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def _lab(linear: FloatArray) -> FloatArray:
    light = np.clip(linear, 0, 1)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.asarray(rgb2lab(code), np.float64)


def _distance(a: FloatArray, b: FloatArray) -> float:
    """CIEDE2000 colour difference."""
    return float(deltaE_ciede2000(a, b))


def _contrast(a: str, b: str) -> float:
    """WCAG 2.x contrast ratio."""
    low, high = sorted(float(_linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (a, b))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("colours", [LIGHT, DARK])
@pytest.mark.parametrize("kind", DICHROMACY)
def test_calm_short_and_wrong_stay_apart_in_every_colour_vision(colours: Scheme, kind: str) -> None:
    matrix = np.array(DICHROMACY[kind])
    seen = [
        _lab(matrix @ _linear(c))
        for c in (colours.calm, colours.short, colours.wrong, colours.paper)
    ]
    for one, other in combinations(seen, 2):
        assert _distance(one, other) > 11


@pytest.mark.parametrize("colours", [LIGHT, DARK])
def test_text_has_the_contrast_that_wcag_asks_for(colours: Scheme) -> None:
    """WCAG 2.x, 1.4.3: 4.5 to 1 for text."""
    assert _contrast(colours.ink, colours.paper) >= 7
    assert _contrast(colours.muted, colours.paper) >= 4.5
    assert _contrast(colours.muted, colours.panel) >= 4.5
    assert _contrast(colours.calm_ink, colours.calm) >= 4.5
    assert _contrast(colours.short_ink, colours.short) >= 4.5
    assert _contrast(colours.wrong_ink, colours.wrong) >= 4.5
    assert _contrast(colours.calm, colours.paper) >= 3  # 1.4.11, of graphical objects


def test_pages_get_the_same_colours_in_both_schemes() -> None:
    css = css_properties()
    assert all(value in css for c in (LIGHT, DARK) for value in (c.paper, c.calm, c.short, c.wrong))
    assert css.count("{") == css.count("}")


@pytest.mark.parametrize("colours", [LIGHT, DARK])
def test_one_rule_colours_every_hold(colours: Scheme) -> None:
    calm, short, wrong = colours.calm, colours.short, colours.wrong
    assert [hold_colours(n, (3, 2), colours)[0] for n in (2, 3, 4)] == [short, calm, wrong]
    assert [hold_colours(n, (2,), colours)[0] for n in (1, 2, 3)] == [wrong, calm, wrong]
    assert hold_colours(1, (1, 0), colours)[0] == calm  # a lost frame is no shorter hold
