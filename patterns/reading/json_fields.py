"""Fields of JSON objects that came from outside: each is checked, and named if it is refused."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from patterns.errors import RequestError


class Fields:
    """A JSON object whose every access is checked; a refusal calls it by its `name`.

    `keys`: keys that it must have; `more`: whether it may have others, which are left alone.
    Raises `RequestError`: from here and from every method: a value is not as it must be.
    """

    def __init__(self, data: Any, name: str, keys: tuple[str, ...], *, more: bool = False) -> None:
        if not isinstance(data, dict) or not set(keys) <= set(data):
            raise RequestError(f"{name} must be an object with the keys {', '.join(keys)}")
        if not more and set(data) != set(keys):
            raise RequestError(f"{name} must have no other keys than {', '.join(keys)}")
        self._data, self._name = data, name

    def wrong(self, key: str, allowed: str) -> RequestError:
        """Refusal of the value of `key`."""
        return RequestError(f"{self._name}.{key} must be {allowed}")

    def given(self, key: str) -> bool:
        """Whether the value is there and not null."""
        return self._data.get(key) is not None

    def _fitting(self, key: str, fits: Callable[[Any], bool], allowed: str) -> Any:
        value = self._data[key]
        if not fits(value):
            raise self.wrong(key, allowed)
        return value

    def number(self, key: str, low: float, high: float) -> float:
        """Finite number from `low` to `high`."""
        allowed = f"a number from {low:g} to {high:g}"
        return float(self._fitting(key, lambda v: is_number(v) and low <= v <= high, allowed))

    def optional_number(self, key: str, low: float, high: float) -> float | None:
        """As `number`, or None."""
        return self.number(key, low, high) if self.given(key) else None

    def whole(self, key: str, high: int, low: int = 0) -> int:
        """Whole number from `low` to `high`."""
        allowed = f"a whole number from {low} to {high}"
        return int(self._fitting(key, lambda v: type(v) is int and low <= v <= high, allowed))

    def optional_whole(self, key: str, high: int) -> int | None:
        """As `whole`, or None."""
        return self.whole(key, high) if self.given(key) else None

    def text(self, key: str, most: int, least: int = 0) -> str:
        """Text of at most `most` characters; those that are not printable are left out."""
        allowed = f"text of at most {most} characters"
        plain = _printable(
            self._fitting(key, lambda v: isinstance(v, str) and len(v) <= most, allowed)
        )
        if len(plain) < least:
            raise self.wrong(key, "text that is not empty")
        return plain

    def flag(self, key: str) -> bool:
        """True or false."""
        return bool(self._fitting(key, lambda v: isinstance(v, bool), "true or false"))

    def one_of(self, key: str, allowed: tuple[str, ...]) -> str:
        """One of these words."""
        words = f"one of {', '.join(filter(None, allowed))}"
        return str(self._fitting(key, lambda v: isinstance(v, str) and v in allowed, words))

    def size(self, key: str) -> tuple[int, int]:
        """Width and height in pixels."""
        pair = "a width and a height"
        sides = self._fitting(key, lambda v: isinstance(v, list) and len(v) == 2, pair)
        if not all(type(side) is int and 0 <= side <= 100_000 for side in sides):
            raise self.wrong(key, "two whole numbers")
        return sides[0], sides[1]

    def items(self, key: str, most: int) -> list[Any]:
        """List of at most `most` values of any kind."""
        allowed = f"a list of at most {most}"
        return list(self._fitting(key, lambda v: isinstance(v, list) and len(v) <= most, allowed))

    def wholes(self, key: str, most: int, high: int) -> tuple[int, ...]:
        """List of at most `most` whole numbers from 0 to `high`."""
        values = self.items(key, most)
        if not all(type(value) is int and 0 <= value <= high for value in values):
            raise self.wrong(key, f"whole numbers from 0 to {high}")
        return tuple(values)

    def numbers(self, key: str, most: int, low: float, high: float) -> tuple[float, ...]:
        """List of at most `most` finite numbers from `low` to `high`."""
        values = self.items(key, most)
        if not all(is_number(value) and low <= value <= high for value in values):
            raise self.wrong(key, f"numbers from {low:g} to {high:g}")
        return tuple(map(float, values))

    def texts(self, key: str, most: int, longest: int) -> tuple[str, ...]:
        """List of at most `most` texts."""
        values = self.items(key, most)
        if not all(isinstance(value, str) and len(value) <= longest for value in values):
            raise self.wrong(key, f"texts of at most {longest} characters")
        return tuple(map(_printable, values))

    def mapping(self, key: str) -> dict[str, Any]:
        """Object whose values are not looked at."""
        return dict(self._fitting(key, lambda v: isinstance(v, dict), "an object"))

    def counts(self, key: str, most: int, high: int) -> tuple[tuple[str, int], ...]:
        """Object of at most `most` names with a whole number up to `high` each."""
        values = self.mapping(key)
        fit = all(type(value) is int and 0 <= value <= high for value in values.values())
        if len(values) > most or not fit:
            raise self.wrong(key, f"names with whole numbers up to {high}")
        return tuple((_printable(name), value) for name, value in values.items())

    def objects(self, key: str, most: int, keys: tuple[str, ...]) -> list[Fields]:
        """List of at most `most` objects that have these keys."""
        values = self.items(key, most)
        return [Fields(value, f"{self._name}.{key}", keys, more=True) for value in values]


def is_number(value: Any) -> bool:
    """Whether JSON gave a finite number."""
    return type(value) is int or (type(value) is float and math.isfinite(value))


def _printable(text: str) -> str:
    """Text without what could steer a terminal or cannot be encoded."""
    return "".join(c for c in text if c.isprintable()).strip()
