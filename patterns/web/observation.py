"""What a page sends about one pass of a clip, checked field by field, and the holds in it.

Nothing is taken over that is not named here, numbers must be finite and within bounds,
texts are cut of control characters. Times are the browser's milliseconds.

A frame's hold is the difference of two expected display times, divided by the refresh.
That holds only where the second callback belongs to the very next frame presented: a
missed callback is not a missed frame, so that a gap in the count of presented frames
leaves the hold unobserved. Where the clip starts again, a new passage begins, whose first
callbacks are left out: they belong to the player's own starting.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from typing import Any

from patterns.errors import RequestError
from patterns.reading.hold_cadence import HeldFrame
from patterns.reading.stored_reading import Fields, is_number

SCHEMA = "evenhold/observation 1"
MOST_CALLBACKS = 20_000
# Power is saved at about 30 frames a second; no single line fits; there were too few of them.
STATES = ("steady", "power-saving", "changing", "unknown")
_DAY_MS = 86_400_000.0


@dataclass(frozen=True)
class Callback:
    """One presented frame as the browser told it."""

    media_s: float  # time in the clip of the frame, seconds
    shown_ms: float  # when it was expected on the screen
    presented: int  # the browser's count of frames presented so far


@dataclass(frozen=True)
class Refresh:
    """The display's refresh as a line fitted to animation-frame timestamps found it."""

    interval_ms: float  # slope of the line
    error_ms: float  # its standard error
    spread_ms: float  # RMS distance of the timestamps from the line
    frames: int  # timestamps used
    state: str  # of `STATES`


@dataclass(frozen=True)
class Device:
    """The device in its own words and measures."""

    label: str
    agent: str
    screen: tuple[int, int]
    viewport: tuple[int, int]
    pixel_ratio: float
    secure_context: bool


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

    @property
    def presented(self) -> int:
        """Frames that the browser presented, told of or not, the first and the last included."""
        return self.callbacks[-1].presented - self.callbacks[0].presented + 1


def parse_observation(body: bytes) -> Observation:
    """Observation from the body of a post.

    Raises `RequestError`: not JSON, another schema, or a field that is not what it must be.
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
    fields = Fields(data, "refresh", ("interval_ms", "error_ms", "spread_ms", "frames", "state"))
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


NEAR_FRAME = 0.3  # of a frame: a media time further from n/rate is no frame of this clip
ON_GRID = 0.25  # of a refresh: times further from a whole number of refreshes are off the grid
SKIPPED = 4  # callbacks after each start that belong to the player's own starting
MOST_MISSING = 50_000  # numbers listed as dropped or unseen
START_SHARE = 0.5  # a jump back over more than this share of the clip is the loop, not disorder


@dataclass
class Presented:
    """What the callbacks tell."""

    frames: list[HeldFrame] = field(default_factory=list)  # whose hold was observed, in order
    # numbers that were passed over between two frames presented one after the other
    dropped: list[int] = field(default_factory=list)
    dropped_unnamed: int = 0  # further ones, where callbacks were missed and it is open which
    unseen: list[int] = field(default_factory=list)  # without a callback; presented, or not
    out_of_order: list[int] = field(default_factory=list)  # after a later one within a passage
    off_grid: int = 0  # holds that were not near a whole number of refreshes
    off_clip: int = 0  # callbacks whose media time is no frame's
    passages: int = 1  # times that the clip was played from its start, the first included


def _numbered(
    callbacks: Sequence[Callback], rate: Fraction, length: int
) -> list[tuple[int, Callback]]:
    numbered = []
    for callback in callbacks:
        place = callback.media_s * float(rate)
        if abs(place - round(place)) <= NEAR_FRAME and round(place) < length:
            numbered.append((round(place), callback))
    return numbered


def presented_frames(
    callbacks: Sequence[Callback], rate: Fraction, length: int, interval_ms: float
) -> Presented:
    """Frames and holds of callbacks in the order in which they came.

    `rate`, `length`: of the clip: frames a second, and frames in all.
    `interval_ms`: of the display's refresh.
    Raises `RequestError`: more frames are left open than any device could have skipped.
    """
    numbered = _numbered(callbacks, rate, length)
    found = Presented(off_clip=len(callbacks) - len(numbered))
    step = since_start = 0
    for (number, before), (following, after) in pairwise(numbered):
        refreshes = (after.shown_ms - before.shown_ms) / interval_ms
        gap = after.presented - before.presented
        if number - following > START_SHARE * length:
            found.passages += 1
            step, since_start = 0, SKIPPED
            continue
        if since_start:
            since_start -= 1
            continue
        if len(found.dropped) + len(found.unseen) + following - number > MOST_MISSING:
            raise RequestError("the callbacks leave too many frames open to be those of a device")
        if following < number:
            found.out_of_order.append(following)
        elif gap == 1 and refreshes >= 0:
            _observe(found, number, step, before.shown_ms, refreshes, interval_ms)
            found.dropped += range(number + 1, following)
        else:
            found.dropped_unnamed += max(0, following - number - gap)
            found.unseen += range(number + 1, following)
        step += round(refreshes)
    found.frames = _joined(found.frames)
    return found


def _observe(
    found: Presented, number: int, step: int, shown_ms: float, refreshes: float, interval_ms: float
) -> None:
    if abs(refreshes - round(refreshes)) > ON_GRID:
        found.off_grid += 1
    hold_s, passage = refreshes * interval_ms / 1000, found.passages - 1
    held = HeldFrame(number, shown_ms / 1000, hold_s, round(refreshes), step, None, passage)
    found.frames.append(held)


def _joined(frames: Sequence[HeldFrame]) -> list[HeldFrame]:
    """Frames in which one that was presented twice in a row is held for both times."""
    joined: list[HeldFrame] = []
    for frame in frames:
        last = joined[-1] if joined else None
        if last and (last.number, last.passage) == (frame.number, frame.passage):
            refreshes = (last.refreshes or 0) + (frame.refreshes or 0)
            joined[-1] = last._replace(hold_s=last.hold_s + frame.hold_s, refreshes=refreshes)
        else:
            joined.append(frame)
    return joined
