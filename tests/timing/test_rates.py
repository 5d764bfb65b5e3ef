"""Rates: what a person types, and the exact fraction that it means."""

from __future__ import annotations

from fractions import Fraction

import pytest

from patterns.errors import RequestError
from patterns.timing.rates import format_decimal, format_rate, parse_rate

# Frame frequencies of Recommendations ITU-R BT.709-6 Part 2 and BT.2100 Table 1 (the lists
# quoted second-hand): whole rates and the same divided by 1.001.
ITU_RATES = {
    "23.976": Fraction(24) / Fraction("1.001"),
    "24": Fraction(24),
    "25": Fraction(25),
    "29.97": Fraction(30) / Fraction("1.001"),
    "30": Fraction(30),
    "50": Fraction(50),
    "59.94": Fraction(60) / Fraction("1.001"),
    "60": Fraction(60),
    "100": Fraction(100),
    "119.88": Fraction(120) / Fraction("1.001"),
    "120": Fraction(120),
}


@pytest.mark.parametrize(("text", "exact"), ITU_RATES.items())
def test_decimal_names_mean_the_exact_rates_of_the_standards(text: str, exact: Fraction) -> None:
    assert parse_rate(text) == exact


@pytest.mark.parametrize("text", ["23.98", "23.97", "23.976", "23.9760", "23.97602"])
def test_all_spellings_of_one_rate_agree(text: str) -> None:
    assert parse_rate(text) == Fraction(24000, 1001)


@pytest.mark.parametrize(
    ("text", "exact"),
    [
        ("12.5", Fraction(25, 2)),
        (" 24 ", Fraction(24)),
        (".5", Fraction(1, 2)),
        ("24000/1001", Fraction(24000, 1001)),
        ("24.001", Fraction(24001, 1000)),
        ("59.95", Fraction(1199, 20)),
        ("480", Fraction(480)),
    ],
)
def test_other_numbers_are_taken_as_written(text: str, exact: Fraction) -> None:
    assert parse_rate(text) == exact


@pytest.mark.parametrize("text", ["", "fast", "nan", "inf", "-24", "1e3", "24/0", "24fps", "1/2/3"])
def test_what_is_no_number_is_refused_with_examples(text: str) -> None:
    with pytest.raises(RequestError, match="is not a rate: give frames a second, such as 24"):
        parse_rate(text)


@pytest.mark.parametrize("text", ["0", "0.05", "481", "999999999", "0/5"])
def test_what_is_out_of_range_is_refused_with_the_range(text: str) -> None:
    with pytest.raises(RequestError, match=r"outside 0\.1 to 480: give frames a second"):
        parse_rate(text)


def test_the_words_of_the_message_follow_the_value() -> None:
    with pytest.raises(RequestError, match=r"^display '2000' is outside 0\.1 to 1000"):
        parse_rate("2000", what="display", maximum=Fraction(1000))


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (Fraction(200), 0, "200"),
        (Fraction(24), 3, "24"),
        (Fraction(25, 2), 3, "12.5"),
        (Fraction(24000, 1001), 3, "23.976"),
        (Fraction(0), 1, "0"),
    ],
)
def test_decimals_are_cut_of_idle_zeros_only(value: Fraction, digits: int, text: str) -> None:
    assert format_decimal(value, digits) == text


def test_an_inexact_name_is_followed_by_the_exact_rate() -> None:
    assert format_rate(Fraction(30000, 1001)) == "29.97 (30000/1001)"
    assert format_rate(Fraction(25, 2)) == "12.5"
