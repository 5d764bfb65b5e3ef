"""Readings out of JSON objects and files, whoever wrote them: checked at this one door.

Within the limits nothing that is computed or drawn from a reading overflows or takes long.
"""

from __future__ import annotations

import json
import math
import os
import re
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any, cast

from patterns.errors import InputError, RequestError
from patterns.reading.hold_cadence import HeldFrame, TimingError
from patterns.reading.reading import KINDS, SCHEMA, Blend, Kind, Reading, to_json
from patterns.timing.rates import format_decimal
from patterns.video.probe import unreadable

MOST_ITEMS, MOST_NUMBER, MOST_COUNT = 1_000_000, 1 << 32, 1 << 41
MOST_SECONDS, LEAST_HZ, MOST_HZ, MOST_MS = 1e8, 1e-4, 1e6, 1e9
MOST_TEXT = 10_000
MOST_BYTES = 256 << 20
_BEFORE = b"\xef\xbb\xbf\xfe\xff\0 \t\r\n"  # white space and byte order marks of UTF-8, -16 and -32
_CONTROLS = bytes({*range(32)} - {*b"\t\n\f\r\x1b"})  # what no text holds, and every video does
_RATE = re.compile(r"[1-9]\d{0,9}(/[1-9]\d{0,9})?")
_HOLD_KEYS = ("number", "start_s", "hold_s", "refreshes")
_BLEND_KEYS = ("number", "share", "start_s", "picture")
_NOT_READ = ("schema", "rate", "inter_arrival_ms", "expected", "footage")
_COMMAND = "'evenhold read FILE --json'"
_KEYS = tuple(key for key in to_json(Reading("clip", "")) if key not in _NOT_READ)


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


def from_json(data: Any, *, source: str) -> Reading:
    """Reading from its JSON object; what the arithmetic expected is computed again by readers.

    Raises `InputError`: not a reading, or of another version.
    """
    if not isinstance(data, dict) or data.get("schema") != SCHEMA:
        raise InputError(f"{source} is not a reading (schema {SCHEMA!r}): make one with {_COMMAND}")
    try:
        return _from_fields(Fields(data, "reading", _KEYS, more=True))
    except RequestError as error:
        again = f"make it again with {_COMMAND}"
        raise InputError(f"{source} is a damaged reading: {error}; {again}") from error


def _hertz(value: float) -> Fraction:
    return Fraction(format_decimal(Fraction(value), 6))


def _exact_rate(fields: Fields) -> Fraction | None:
    if not fields.given("rate_exact"):
        return None
    text = fields.text("rate_exact", 24)
    rate = Fraction(text) if _RATE.fullmatch(text) else Fraction(0)
    if not LEAST_HZ <= rate <= MOST_HZ:
        raise fields.wrong("rate_exact", "frames a second, as 24 or 24000/1001")
    return rate


def _identity(fields: Fields) -> int | None:
    if not fields.given("clip"):
        return None
    text = fields.text("clip", 4)
    if re.fullmatch(r"[0-9a-f]{4}", text) is None:
        raise fields.wrong("clip", "four hexadecimal digits")
    return int(text, 16)


def _error(fields: Fields, frames: int) -> TimingError | None:
    rms_ms = fields.optional_number("timing_error_rms_ms", 0, MOST_MS)
    span_ms = fields.optional_number("timing_error_span_ms", 0, MOST_MS)
    return None if rms_ms is None or span_ms is None else TimingError(rms_ms, span_ms, frames)


def _hold(fields: Fields) -> HeldFrame:
    return HeldFrame(
        fields.whole("number", MOST_NUMBER),
        fields.optional_number("start_s", -MOST_SECONDS, MOST_SECONDS),
        fields.number("hold_s", 0, MOST_SECONDS),
        fields.optional_whole("refreshes", MOST_COUNT),
    )


def _blend(fields: Fields) -> Blend:
    return Blend(
        fields.optional_whole("number", MOST_NUMBER),
        fields.optional_number("share", 0, 1),
        fields.number("start_s", -MOST_SECONDS, MOST_SECONDS),
        fields.optional_whole("picture", MOST_NUMBER),
    )


def _from_fields(fields: Fields) -> Reading:
    holds = tuple(map(_hold, fields.objects("holds", MOST_ITEMS, _HOLD_KEYS)))
    refresh_hz = fields.optional_number("refresh_hz", LEAST_HZ, MOST_HZ)

    def numbers(key: str) -> tuple[int, ...]:
        return fields.wholes(key, MOST_ITEMS, MOST_NUMBER)

    return Reading(
        kind=cast("Kind", fields.one_of("kind", KINDS)),
        file=fields.text("file", MOST_TEXT),
        verdict=fields.text("verdict", MOST_TEXT, least=1),
        rate=_exact_rate(fields),
        clip=_identity(fields),
        refresh_hz=None if refresh_hz is None else _hertz(refresh_hz),
        refresh_from=fields.text("refresh_from", 100),
        refresh_candidates=tuple(
            map(_hertz, fields.numbers("refresh_candidates", 1000, LEAST_HZ, MOST_HZ))
        ),
        pictures=fields.whole("pictures", MOST_COUNT),
        read=fields.whole("read", MOST_COUNT),
        unread=fields.counts("unread", 1000, MOST_COUNT),
        seconds=round(fields.number("seconds", 0, MOST_SECONDS), 6),
        capture_hz=fields.optional_number("capture_hz", 0, MOST_HZ),
        frames_seen=fields.whole("frames_seen", MOST_COUNT),
        holds=holds,
        dropped=numbers("dropped"),
        repeated=numbers("repeated"),
        out_of_order=numbers("out_of_order"),
        unseen=numbers("unseen"),
        drops_beyond=fields.whole("drops_beyond_cadence", MOST_COUNT),
        blended=tuple(map(_blend, fields.objects("blended", MOST_ITEMS, _BLEND_KEYS))),
        pattern=(fields.wholes("pattern", 1000, MOST_COUNT) if fields.given("pattern") else ())
        or None,
        even=fields.flag("even") if fields.given("even") else None,
        error=_error(fields, len(holds)),
        speed=fields.optional_number("speed", -1e6, 1e6),
        explanation=fields.texts("explanation", 1000, MOST_TEXT),
        warnings=fields.texts("warnings", 1000, MOST_TEXT),
        details=fields.mapping("details"),
    )


def load_readings(path: Path) -> list[Reading] | None:
    """Readings in a JSON file (an object or a list of them); None if it is no JSON.

    UTF-8, UTF-16 and UTF-32 are read, byte order mark or not: shells write what they like.
    Raises `InputError`: missing, too large, damaged, JSON of something else, or other text.
    """
    if not os.path.isfile(path) or path.stat().st_size == 0:  # noqa: PTH113 - raises nothing
        raise unreadable(path, "")
    with path.open("rb") as file:
        head = file.read(1000)
    looks = head.lstrip(_BEFORE)[:1] in (b"{", b"[")
    if not looks and path.suffix.lower() != ".json":
        if head.translate(None, _CONTROLS) == head:
            give = f"give what {_COMMAND} printed, or a recording"
            raise InputError(f"{path} is text, and neither a reading nor a video: {give}")
        return None
    if path.stat().st_size > MOST_BYTES:
        raise InputError(f"{path} is too large for a reading: make it again")
    try:
        data = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError) as error:
        raise InputError(f"{path} is not JSON that can be read ({error}): make it again") from error
    several = data if isinstance(data, list) else [data]
    if not several:
        raise InputError(f"{path} holds no reading: make one with {_COMMAND}")
    return [from_json(entry, source=str(path)) for entry in several]
