"""What a page sends about one pass of a clip, checked field by field.

Nothing is taken over that is not named here, numbers must be finite and within bounds,
texts are cut of control characters. Times are the browser's milliseconds.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from patterns.errors import RequestError

__all__ = ["SCHEMA", "Callback", "Device", "Observation", "Refresh", "parse_observation"]

SCHEMA = "evenhold/observation 1"
MOST_CALLBACKS = 20_000
STATES = ("steady", "power-saving", "changing", "unknown")
_DAY_MS = 86_400_000.0


@dataclass(frozen=True)
class Callback:
    """One presented frame as the browser told it.

    Attributes
    ----------
    media_s
        Time in the clip of the frame, seconds.
    shown_ms
        When it was expected on the screen.
    presented
        The browser's count of frames presented so far.
    """

    media_s: float
    shown_ms: float
    presented: int


@dataclass(frozen=True)
class Refresh:
    """The display's refresh as a line fitted to animation-frame timestamps found it.

    Attributes
    ----------
    interval_ms, error_ms
        Slope of the line and its standard error.
    spread_ms
        RMS distance of the timestamps from the line.
    frames
        Timestamps used.
    state
        ``steady``; ``power-saving``: about 30 a second; ``changing``: no single line fits;
        ``unknown``: too few.
    """

    interval_ms: float
    error_ms: float
    spread_ms: float
    frames: int
    state: str


@dataclass(frozen=True)
class Device:
    """The device in its own words and measures."""

    label: str
    agent: str
    screen: tuple[int, int]
    viewport: tuple[int, int]
    pixel_ratio: float
    secure: bool


@dataclass(frozen=True)
class Observation:
    """One pass of one clip, or of the live page where `clip` is None."""

    clip: str | None
    refresh: Refresh
    callbacks: tuple[Callback, ...]
    skipped: int
    total_frames: int | None
    dropped_frames: int | None
    full_screen: bool
    pixels_per_pixel: float | None
    hidden: bool
    device: Device


class _Fields:
    """An object whose every access is checked and named in the refusal."""

    def __init__(self, data: Any, name: str, keys: tuple[str, ...]) -> None:
        if not isinstance(data, dict) or set(data) != set(keys):
            raise RequestError(f"{name} must be an object with the keys {', '.join(keys)}")
        self._data, self._name = data, name

    def _wrong(self, key: str, allowed: str) -> RequestError:
        return RequestError(f"{self._name}.{key} must be {allowed}")

    def number(self, key: str, low: float, high: float) -> float:
        value = self._data[key]
        if not _is_number(value) or not low <= value <= high:
            raise self._wrong(key, f"a number from {low:g} to {high:g}")
        return float(value)

    def whole(self, key: str, high: int, low: int = 0) -> int:
        value = self._data[key]
        if type(value) is not int or not low <= value <= high:
            raise self._wrong(key, f"a whole number from {low} to {high}")
        return value

    def optional_whole(self, key: str, high: int) -> int | None:
        return None if self._data[key] is None else self.whole(key, high)

    def optional_number(self, key: str, low: float, high: float) -> float | None:
        return None if self._data[key] is None else self.number(key, low, high)

    def text(self, key: str, most: int) -> str:
        value = self._data[key]
        if not isinstance(value, str) or len(value) > most:
            raise self._wrong(key, f"text of at most {most} characters")
        return "".join(c for c in value if c.isprintable()).strip()

    def flag(self, key: str) -> bool:
        value = self._data[key]
        if not isinstance(value, bool):
            raise self._wrong(key, "true or false")
        return value

    def size(self, key: str) -> tuple[int, int]:
        value = self._data[key]
        if not isinstance(value, list) or len(value) != 2:
            raise self._wrong(key, "a width and a height")
        if not all(type(side) is int and 0 <= side <= 100_000 for side in value):
            raise self._wrong(key, "two whole numbers")
        return value[0], value[1]


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def parse_observation(body: bytes) -> Observation:
    """Observation from the body of a post.

    Raises
    ------
    RequestError
        Not JSON, another schema, or a field that is not what it must be.
    """
    try:
        data = json.loads(body.decode("utf-8"), parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise RequestError("the post is not JSON in UTF-8") from None
    keys = ("schema", "clip", "refresh", "callbacks", "skipped", "counters", "shown", "device")
    fields = _Fields(data, "observation", keys)
    if data["schema"] != SCHEMA:
        raise RequestError(f"the schema must be {SCHEMA!r}: load the page again")
    counters = _Fields(data["counters"], "counters", ("total", "dropped"))
    shown = _Fields(data["shown"], "shown", ("full_screen", "pixels_per_pixel", "hidden"))
    return Observation(
        clip=None if data["clip"] is None else fields.text("clip", 255),
        refresh=_refresh(data["refresh"]),
        callbacks=_callbacks(data["callbacks"]),
        skipped=fields.whole("skipped", 1000),
        total_frames=counters.optional_whole("total", 1 << 40),
        dropped_frames=counters.optional_whole("dropped", 1 << 40),
        full_screen=shown.flag("full_screen"),
        pixels_per_pixel=shown.optional_number("pixels_per_pixel", 0, 1000),
        hidden=shown.flag("hidden"),
        device=_device(data["device"]),
    )


def _no_constant(name: str) -> None:
    raise ValueError(f"{name} is not JSON")


def _refresh(data: Any) -> Refresh:
    keys = ("interval_ms", "error_ms", "spread_ms", "frames", "state")
    fields = _Fields(data, "refresh", keys)
    state = fields.text("state", 20)
    if state not in STATES:
        raise RequestError(f"refresh.state must be one of {', '.join(STATES)}")
    return Refresh(
        fields.number("interval_ms", 1, 1000),
        fields.number("error_ms", 0, 1000),
        fields.number("spread_ms", 0, 1000),
        fields.whole("frames", 10_000_000, low=2),
        state,
    )


def _device(data: Any) -> Device:
    keys = ("label", "agent", "screen", "viewport", "pixel_ratio", "secure")
    fields = _Fields(data, "device", keys)
    return Device(
        fields.text("label", 60),
        fields.text("agent", 512),
        fields.size("screen"),
        fields.size("viewport"),
        fields.number("pixel_ratio", 0.01, 100),
        fields.flag("secure"),
    )


def _callbacks(data: Any) -> tuple[Callback, ...]:
    if not isinstance(data, list) or not 2 <= len(data) <= MOST_CALLBACKS:
        raise RequestError(f"callbacks must be a list of 2 to {MOST_CALLBACKS}: play for longer")
    found = tuple(map(_callback, data))
    for before, after in pairwise(found):
        # times are not asked to rise: where a clip starts again, browsers let them fall
        if after.presented <= before.presented:
            raise RequestError("callbacks must be in the order in which frames were presented")
    return found


def _callback(data: Any) -> Callback:
    if isinstance(data, list) and len(data) == 3 and all(map(_is_number, data)):
        media_s, shown_ms, presented = data
        whole = isinstance(presented, int) and 0 <= presented <= 1 << 40
        if whole and 0 <= media_s <= 86_400 and 0 <= shown_ms <= 1000 * _DAY_MS:
            return Callback(float(media_s), float(shown_ms), presented)
    raise RequestError("a callback is [seconds in the clip, milliseconds shown, frames presented]")
