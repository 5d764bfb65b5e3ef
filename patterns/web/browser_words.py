"""What a browser presented, in plain words: the verdict, and doubts with what to do about them."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from patterns.reading.explain import arithmetic_pattern
from patterns.reading.hold_pattern import pattern_text
from patterns.reading.reading import Reading
from patterns.reading.words import counted, loss_words, plural
from patterns.timing.cadence import Display, cadence
from patterns.timing.rates import format_decimal
from patterns.web.callback_frames import Presented
from patterns.web.observation import Observation

__all__ = [
    "LEAST_HOLDS",
    "LIMITS",
    "browser_verdict",
    "browser_warnings",
    "page_verdict",
    "tells_display",
]

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


def page_verdict(updates_hz: float) -> str:
    """Say what such a page knows, and what to do."""
    return (
        f"this browser updates the page {updates_hz:.0f} times a second; the screen itself may run "
        "faster, so nothing is claimed of it: film the screen in slow motion and read the recording"
    )


def browser_verdict(reading: Reading, found: Presented) -> str:
    """One sentence."""
    assert reading.rate is not None
    assert reading.refresh_hz is not None
    if len(reading.holds) < LEAST_HOLDS:
        return (
            f"too short: the holds of only {plural(len(reading.holds), 'frame', 'frames')} were "
            "observed; let the clip play for some seconds"
        )
    parts = [_held(reading, reading.rate, reading.refresh_hz), _lost(reading, found)]
    if reading.error is not None:
        parts.append(f"timing error {reading.error.rms_ms:.1f} ms RMS")
    return "; ".join(parts)


def _held(reading: Reading, rate: Fraction, refresh_hz: Fraction) -> str:
    """Say what was held: 'the browser held 3:2 at 60 Hz, as 24 on 60 must be'."""
    must = arithmetic_pattern(cadence(rate, Display.fixed(refresh_hz)))
    at = f"at {format_decimal(refresh_hz, 2)} Hz"
    names = f"{format_decimal(rate)} on {format_decimal(refresh_hz, 2)}"
    if reading.pattern is None:
        holds = sorted({h.refreshes for h in reading.holds if h.refreshes is not None})
        spread = f"{holds[0]} to {holds[-1]}" if holds[0] != holds[-1] else str(holds[0])
        text = f"the browser held frames for {spread} refreshes {at}, in no repeating pattern"
    elif len(reading.pattern) == 1:
        text = f"the browser held {plural(reading.pattern[0], 'refresh', 'refreshes')} {at}"
    else:
        text = f"the browser held {pattern_text(reading.pattern)} {at}"
    if must == reading.pattern:
        return f"{text}, as {names} must be"
    return text if must is None else f"{text}, where {names} must be {pattern_text(must)}"


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
    presented = seen.callbacks[-1].presented - seen.callbacks[0].presented
    if len(found.frames) >= LEAST_HOLDS and presented > FEW_OBSERVED * len(found.frames):
        yield (
            f"Only {len(found.frames)} of {presented} holds were observed: the browser was too "
            "busy to tell of every frame. None is taken for held long because of that."
        )
    if found.passages > 1:
        yield "The clip was played more than once: each time is judged apart."
    if seen.hidden:
        yield "The page was hidden for a time: what was measured then is left in."
