"""A reading of kind 'browser': what a page saw its browser present, in the form of all readings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from fractions import Fraction
from typing import Any

from patterns.reading import hold_cadence
from patterns.reading.clocks import usual_refresh
from patterns.reading.reading import Reading, to_json
from patterns.reading.words import explanations, held_words, loss_words
from patterns.timing.cadence import Display, cadence
from patterns.timing.notation import counted, plural
from patterns.web.observation import Observation, Presented, presented_frames

LIMITS = (
    "This is what the browser presented. What the panel showed may differ (motion "
    "interpolation, variable refresh, scan-out): film the screen and read the recording."
)
LEAST_HOLDS = 12  # fewer are no base for a judgement
OFF_GRID_SHARE = 0.02
FEW_OBSERVED = 2  # frames presented for each hold observed, above which it is said


def tells_display(agent: str) -> bool:
    """Whether a browser's animation frames come at the display's own refresh.

    WebKit's come near 60 a second on faster panels (its `AnimationFrameRate.cpp`), so that 24
    can look like 3:2 to the page while the glass is even. Every browser of a phone that names
    AppleWebKit without Chrome or Chromium is taken for one.
    """
    return "AppleWebKit" not in agent or "Chrome/" in agent or "Chromium/" in agent


def browser_verdict(reading: Reading, found: Presented) -> str:
    """One sentence."""
    assert reading.refresh_hz is not None
    if len(reading.holds) < LEAST_HOLDS:
        return (
            f"too short: the holds of only {plural(len(reading.holds), 'frame')} were "
            "observed; let the clip play for some seconds"
        )
    assert reading.expected is not None
    held = held_words(reading, [reading.refresh_hz], reading.expected.cadence)
    parts = [f"the browser {held}", _lost(reading, found)]
    if reading.error is not None:
        parts.append(f"timing error {reading.error.rms_ms:.1f} ms RMS")
    return "; ".join(parts)


def _lost(reading: Reading, found: Presented) -> str:
    if not found.dropped_unnamed:
        return loss_words(reading)
    lost = found.dropped_unnamed + len(found.dropped)
    return f"{counted(lost, 'frame')} dropped in {reading.seconds:.1f} s (not all seen which)"


def browser_warnings(seen: Observation, found: Presented) -> Iterator[str]:
    """Doubts; the first says what a page can see at all."""
    yield LIMITS
    if seen.refresh.state == "power-saving":
        yield (
            "The browser draws about 30 times a second: the device saves power. Charge it, "
            "switch power saving off, and measure again."
        )
    if seen.refresh.state == "changing":
        yield (
            "The refresh changed while it was measured (variable refresh, or a busy device): "
            "holds in refreshes are uncertain."
        )
    if found.off_grid > OFF_GRID_SHARE * max(1, len(found.frames)):
        yield (
            f"{found.off_grid} of {len(found.frames)} holds are no whole number of refreshes: "
            "the screen's refresh is not the steady one that was measured."
        )
    presented = seen.presented - 1
    if len(found.frames) >= LEAST_HOLDS and presented > FEW_OBSERVED * len(found.frames):
        yield (
            f"Only {len(found.frames)} of {presented} holds were observed: the browser was too "
            "busy to tell of every frame. None is taken for held long because of that."
        )
    if found.passages > 1:
        yield "The clip was played more than once: each time is judged apart."
    if seen.hidden:
        yield "The page was hidden for a time: what was measured then is left in."


LIVE_FRAMES = 1 << 16


def browser_reading(seen: Observation, record: dict[str, Any] | None) -> dict[str, Any]:
    """Reading as its JSON object.

    `record`: record of the clip that it played; None for the live bars, whose rate is the refresh.
    """
    measured = 1000 / seen.refresh.interval_ms
    refresh_hz = usual_refresh(measured) or Fraction(round(measured * 1000), 1000)
    rate = Fraction(record["rate_exact"]) if record else refresh_hz
    length = int(record["frames"]) if record else LIVE_FRAMES
    found = presented_frames(seen.callbacks, rate, length, seen.refresh.interval_ms)
    reading = Reading(
        kind="browser",
        file=seen.clip or "live bars",
        rate=rate,
        clip=record.get("identity") if record else None,
        pictures=seen.presented,
        read=len(seen.callbacks) - found.off_clip,
        unread=_unread(seen, found),
        # from the first callback to the last; 0 where a browser's times fall
        seconds=max(0.0, seen.callbacks[-1].shown_ms - seen.callbacks[0].shown_ms) / 1000,
        frames_seen=len({(frame.passage, frame.number) for frame in found.frames}),
        dropped=tuple(found.dropped),
        out_of_order=tuple(found.out_of_order),
        unseen=tuple(found.unseen),
        drops_beyond=hold_cadence.drops_beyond(found.frames, _dropped(found), rate, refresh_hz),
        details=_details(seen, found),
    )
    if not tells_display(seen.device.agent):  # its updates are no refreshes: no holds at all
        verdict = (
            f"this browser updates the page {float(refresh_hz):.0f} times a second; the screen "
            "itself may run faster, so nothing is claimed of it: film the screen in slow motion "
            "and read the recording"
        )
        return to_json(reading.worded(verdict, warnings=[LIMITS]))
    reading = reading._replace(
        refresh_hz=refresh_hz,
        refresh_from="animation frames",
        holds=tuple(found.frames),
        repeated=hold_cadence.too_long(found.frames, rate, refresh_hz),
        pattern=_pattern(found, refresh_hz / rate),
        even=_even(found),
        error=hold_cadence.timing_error(found.frames, rate, refresh_hz),
        expected=hold_cadence.expected(cadence(rate, Display.fixed(refresh_hz)), found.frames),
    )
    verdict, doubts = browser_verdict(reading, found), browser_warnings(seen, found)
    return to_json(reading.worded(verdict, explanations(reading), doubts))


def _unread(seen: Observation, found: Presented) -> tuple[tuple[str, int], ...]:
    untold = seen.presented - len(seen.callbacks)
    reasons = {
        "not observed: the browser presented a frame without telling the page": untold,
        "the time in the clip is no frame's": found.off_clip,
    }
    return tuple((reason, count) for reason, count in reasons.items() if count > 0)


def _pattern(found: Presented, mean: Fraction) -> tuple[int, ...] | None:
    if len(found.frames) < LEAST_HOLDS:
        return None
    observed = {frame.refreshes for frame in found.frames}
    if len(observed) == 1 and not _dropped(found):
        return (observed.pop() or 0,)  # also where no two holds in a row were observed
    return hold_cadence.hold_pattern(
        hold_cadence.holds_in_order(found.frames, frozenset(found.dropped)), mean
    )


def _even(found: Presented) -> bool | None:
    if len(found.frames) < LEAST_HOLDS:
        return None
    alike = len({frame.refreshes for frame in found.frames}) == 1
    return alike and not found.dropped and not found.out_of_order


def _dropped(found: Presented) -> int:
    return len(found.dropped) + found.dropped_unnamed


def _details(seen: Observation, found: Presented) -> dict[str, Any]:
    refresh = seen.refresh
    return {
        "device": asdict(seen.device),
        "measured_refresh": {"hz": round(1000 / refresh.interval_ms, 4), **asdict(refresh)},
        "drop_counters": {
            "by_media_time": _dropped(found),
            "by_browser": seen.dropped_frames,
            "browser_total": seen.total_frames,
        },
        "dropped_unnamed": found.dropped_unnamed,
        "passes": found.passages,
        "skipped_at_start": seen.skipped,
        "full_screen": seen.full_screen,
        "screen_pixels_per_clip_pixel": seen.pixels_per_pixel,
    }
