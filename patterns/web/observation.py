"""What a page sends about one pass of a clip, checked field by field.

Nothing is taken over that is not named here, numbers must be finite and within bounds,
texts are cut of control characters. Times are the browser's milliseconds.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from patterns.errors import RequestError
from patterns.reading.json_fields import Fields, is_number

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
    fields = Fields(data, "observation", keys)
    if data["schema"] != SCHEMA:
        raise RequestError(f"the schema must be {SCHEMA!r}: load the page again")
    counters = Fields(data["counters"], "counters", ("total", "dropped"))
    shown = Fields(data["shown"], "shown", ("full_screen", "pixels_per_pixel", "hidden"))
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
    fields = Fields(data, "refresh", keys)
    return Refresh(
        fields.number("interval_ms", 1, 1000),
        fields.number("error_ms", 0, 1000),
        fields.number("spread_ms", 0, 1000),
        fields.whole("frames", 10_000_000, low=2),
        fields.one_of("state", STATES),
    )


def _device(data: Any) -> Device:
    keys = ("label", "agent", "screen", "viewport", "pixel_ratio", "secure")
    fields = Fields(data, "device", keys)
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
    shown_ms = [callback.shown_ms for callback in found]
    if max(shown_ms) - min(shown_ms) > _DAY_MS:
        raise RequestError("callbacks must lie within a day: measure again")
    return found


def _callback(data: Any) -> Callback:
    if isinstance(data, list) and len(data) == 3 and all(map(is_number, data)):
        media_s, shown_ms, presented = data
        whole = isinstance(presented, int) and 0 <= presented <= 1 << 40
        if whole and 0 <= media_s <= 86_400 and 0 <= shown_ms <= 1000 * _DAY_MS:
            return Callback(float(media_s), float(shown_ms), presented)
    raise RequestError("a callback is [seconds in the clip, milliseconds shown, frames presented]")
