"""What a browser presented, in plain words: the verdict, and doubts with what to do about them."""

from __future__ import annotations

from collections.abc import Iterator

from patterns.reading.reading import Reading
from patterns.reading.words import held_words, loss_words
from patterns.timing.notation import counted, plural
from patterns.web.callback_frames import Presented
from patterns.web.observation import Observation

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
