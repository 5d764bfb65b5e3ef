"""The number code: Gray values, distance, and what mixtures of frames can be read as."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patterns.picture.arrays import FloatArray, UInt32Array
from patterns.strip.code import (
    CHECK_BITS,
    CHECK_COLUMNS,
    NUMBER_CELLS,
    Word,
    number_word,
    number_words,
    read_words,
    ungray,
    word_bits,
)
from tests.strip.code_search import search

ALL = np.arange(1 << 16, dtype=np.uint32)
CHECK_MASK = np.uint32((1 << CHECK_BITS) - 1)


def _levels(word: int) -> FloatArray:
    return word_bits(word).astype(np.float64)


def _read(levels: FloatArray) -> Word | str:
    return read_words(levels[np.newaxis])[0]


def test_gray_code_of_0_to_7() -> None:
    """The published sequence of three-bit reflected Gray code (F. Gray, US 2 632 058)."""
    assert [f"{number_word(n) >> CHECK_BITS:03b}" for n in range(8)] == [
        "000", "001", "011", "010", "110", "111", "101", "100",
    ]  # fmt: skip


def test_ungray_undoes_gray_for_every_number() -> None:
    assert all(ungray(number_word(n) >> CHECK_BITS) == n for n in range(1 << 16))


def test_one_word_and_many_are_the_same() -> None:
    assert number_words(ALL).tolist() == [number_word(n) for n in range(1 << 16)]


def test_neighbours_differ_in_one_gray_cell_also_across_the_wrap() -> None:
    codes = number_words(ALL) >> CHECK_BITS
    steps = codes ^ np.roll(codes, -1)
    assert ((steps & (steps - 1)) == 0).all()
    assert (steps != 0).all()


def test_the_search_finds_the_columns_that_are_used() -> None:
    assert tuple(search()) == CHECK_COLUMNS


def test_words_differ_in_at_least_six_cells() -> None:
    """By the definition: the lightest word of the linear code over all 65535 differences."""
    linear = (number_words(ALL) ^ np.uint32(number_word(0)))[1:]
    weights = np.array([bin(int(word)).count("1") for word in linear])
    assert weights.min() == 6


def _subsets(cells: int) -> list[int]:
    bits = [1 << k for k in range(NUMBER_CELLS) if cells >> k & 1]
    return [sum(chosen) for r in range(len(bits) + 1) for chosen in combinations(bits, r)]


def _third_frames(gap: int) -> tuple[int, int]:
    """Mixtures of n and n + gap, over all n and all subsets of cells; those read as a third.

    Every subset of the cells in which two frames differ is taken from the later frame,
    and the result is accepted if it is any number's whole word.
    """
    first, second = number_words(ALL[:-gap]), number_words(ALL[gap:])
    differ = first ^ second
    valid = np.sort(number_words(ALL))
    wrong = total = 0
    for cells in np.unique(differ):
        pairs = first[differ == cells]
        later = pairs ^ cells
        for subset in _subsets(int(cells)):
            mixed = pairs ^ np.uint32(subset)
            place = np.minimum(np.searchsorted(valid, mixed), len(valid) - 1)
            accepted = (valid[place] == mixed) & (mixed != pairs) & (mixed != later)
            wrong += int(accepted.sum())
            total += len(pairs)
    return wrong, total


@pytest.mark.parametrize("gap", [1, 2, 3, 4])
def test_no_mixture_of_two_frames_is_a_third_frame(gap: int) -> None:
    """Exhaustive over all numbers and all subsets: not one mixture passes as a third."""
    wrong, total = _third_frames(gap)
    assert total >= 65535 * 2**6
    assert wrong == 0


@pytest.mark.parametrize("gap", range(2, 9))
def test_no_mixture_reads_as_third_even_if_only_the_steady_check_cells_are_trusted(
    gap: int,
) -> None:
    """Closed form over all numbers: the steady check cells alone refuse every third."""
    first, second = number_words(ALL[:-gap]), number_words(ALL[gap:])
    differ = first ^ second
    steady = ~(differ & CHECK_MASK) & CHECK_MASK
    for chosen in _gray_parts(differ):
        code = (first >> CHECK_BITS) ^ chosen
        third = number_words(_ungray_all(np.asarray(code, np.uint32)))
        is_third = (third != first) & (third != second)
        agrees = ((third ^ first) & steady) == 0
        assert not (is_third & agrees).any()


def _gray_parts(differ: UInt32Array) -> list[UInt32Array]:
    """For each pair, every subset of the Gray cells in which it differs (as columns)."""
    left = differ >> np.uint32(CHECK_BITS)
    parts = [np.zeros_like(left)]
    while left.any():
        lowest = left & (~left + np.uint32(1))
        parts += [part | lowest for part in parts]
        left = left & ~lowest
    return parts


def _ungray_all(codes: UInt32Array) -> UInt32Array:
    numbers = codes.copy()
    for shift in (8, 4, 2, 1):
        numbers ^= numbers >> np.uint32(shift)
    return numbers


def test_clean_cells_read_as_their_number() -> None:
    for number in (0, 1, 2, 2757, 32767, 32768, 65534, 65535):
        word = _read(_levels(number_word(number)))
        assert isinstance(word, Word)
        assert (word.number, word.later, word.margin) == (number, None, 1.0)


def test_up_to_five_wrong_cells_are_refused() -> None:
    """A code of distance six: fewer wrong cells than that never make another number."""
    rng = np.random.default_rng(5)
    for _ in range(3000):
        levels = _levels(number_word(int(rng.integers(1 << 16))))
        wrong = rng.choice(NUMBER_CELLS, int(rng.integers(1, 6)), replace=False)
        levels[wrong] = 1 - levels[wrong]
        assert isinstance(_read(levels), str)


@pytest.mark.parametrize("level", [0.0, 1.0])
def test_a_row_of_one_level_is_no_number(level: float) -> None:
    assert isinstance(_read(np.full(NUMBER_CELLS, level)), str)


@given(
    st.integers(0, 65534),
    st.floats(0.0, 1.0),
    st.lists(st.floats(-0.06, 0.06), min_size=NUMBER_CELLS, max_size=NUMBER_CELLS),
)
def test_a_blend_of_neighbours_names_one_or_both(
    number: int, share: float, noise: list[float]
) -> None:
    levels = (1 - share) * _levels(number_word(number)) + share * _levels(number_word(number + 1))
    word = _read(levels + np.array(noise))
    if isinstance(word, Word):
        named = {word.number, word.later} - {None}
        assert named & {number, number + 1}
        assert named <= {number, number + 1}
    else:
        assert 0.2 < share < 0.8


@pytest.mark.parametrize("share", [0.1, 0.2, 0.3, 0.5, 0.7, 0.8, 0.9])
def test_a_clean_blend_is_recognised_with_its_share(share: float) -> None:
    for number in (0, 7, 1023, 2757, 65534):
        both = _levels(number_word(number)), _levels(number_word(number + 1))
        word = _read((1 - share) * both[0] + share * both[1])
        assert isinstance(word, Word)
        assert (word.number, word.later) == (number, number + 1)
        assert word.share == pytest.approx(share, abs=1e-6)


@given(st.integers(0, 65527), st.integers(2, 8), st.data())
def test_cells_of_distant_frames_in_any_mixture_never_name_another(
    number: int, gap: int, data: st.DataObject
) -> None:
    """Each cell anywhere between its two states, by itself: one of the two, or refused."""
    both = _levels(number_word(number)), _levels(number_word(number + gap))
    shares = np.array(
        data.draw(st.lists(st.floats(0, 1), min_size=NUMBER_CELLS, max_size=NUMBER_CELLS))
    )
    word = _read((1 - shares) * both[0] + shares * both[1])
    if isinstance(word, Word):
        assert word.later is None
        assert word.number in (number, number + gap)
