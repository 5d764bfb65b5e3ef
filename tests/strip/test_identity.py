"""The identity cells: the catalogue's check value, round trips, and refusals."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patterns.strip.code import IDENTITY_CELLS, Identity, crc16, identity_bits, read_identity


def test_crc_has_the_published_check_value() -> None:
    """CRC-16/IBM-3740, '123456789' -> 29B1: catalogue of parametrised CRC algorithms."""
    assert crc16(b"123456789") == 0x29B1


@given(st.fractions(Fraction(1, 10), 480, max_denominator=1001), st.integers(0, 0xFFFF))
def test_every_rate_that_fits_comes_back_exactly(rate: Fraction, clip: int) -> None:
    identity = Identity.of(rate, clip)
    assert identity.rate_exact
    assert read_identity(identity_bits(identity)) == identity
    assert identity.rate == rate


@pytest.mark.parametrize("rate", [Fraction(480000, 1001), Fraction(480), Fraction(1, 10)])
def test_the_ends_of_the_range_fit(rate: Fraction) -> None:
    assert Identity.of(rate, 1).rate_exact


def test_a_rate_that_does_not_fit_says_so() -> None:
    rate = Fraction(999_999_937, 33_333_333)
    found = read_identity(identity_bits(Identity.of(rate, 77)))
    assert found is not None
    assert not found.rate_exact
    assert abs(found.rate - rate) <= Fraction(1, 2000)
    assert found.clip == 77


def test_any_one_two_or_three_wrong_cells_are_refused() -> None:
    """The CCITT polynomial has distance 4 at this length: up to three errors are seen."""
    rng = np.random.default_rng(1)
    good = identity_bits(Identity.of(Fraction(24000, 1001), 0xBEEF))
    for i in range(IDENTITY_CELLS):
        for j in range(i, IDENTITY_CELLS):
            bits = good.copy()
            bits[list({i, j, int(rng.integers(IDENTITY_CELLS))})] ^= True
            assert read_identity(bits) is None


@pytest.mark.parametrize("level", [False, True])
def test_cells_all_alike_are_no_identity(level: bool) -> None:
    assert read_identity(np.full(IDENTITY_CELLS, level)) is None
