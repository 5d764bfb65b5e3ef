"""What a recording showed, in plain words: the verdict, and doubts with what to do about them."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from patterns.reading.hold_cadence import SLOWEST_DISPLAY_HZ, number_steps
from patterns.reading.reading import Reading
from patterns.reading.refresh_search import FoundRefresh
from patterns.reading.sightings import Watched
from patterns.reading.words import held_words, hertz_list, loss_words
from patterns.timing.cadence import Display
from patterns.timing.notation import counted, interval_text
from patterns.timing.rates import format_decimal

FEW_FRAMES = 6
LOW_YIELD = 0.5
FEW_COUNTED = 0.6  # of the holds
OTHER_CLIPS = 0.02  # of the pictures
ENOUGH = 4  # captures a refresh, at which drops are seen on slow panels as well
CAPTURE_RATES = (120, 240, 480, 960)
OFTEN_ENOUGH = 1.98  # captures a refresh; a camera said to run at twice may run a little less
BETWEEN = {
    "seen": (
        "pictures between frames were seen, each for a refresh: this screen, or what feeds it, "
        "makes pictures of its own; switch its motion smoothing off and film again (no cadence "
        "is given)"
    ),
    "clipped": (
        "pictures seem to mix frames, but white is clipped, so that this may be the camera's doing "
        "and no cadence can be known: film again with less exposure, and switch any motion "
        "smoothing of the screen off"
    ),
    "likely": (
        "most pictures show no single frame, so that no cadence can be known: the screen makes "
        "pictures of its own between frames (switch its motion smoothing off), or it changes very "
        "slowly (film with a shorter exposure, or at more pictures a second)"
    ),
}


def _camera_for(refresh_hz: float, capture_hz: float) -> int:
    """Capture rate to use for a refresh: more than was tried."""
    enough = (hz for hz in CAPTURE_RATES if hz >= 2 * refresh_hz and hz > 1.05 * capture_hz)
    return next(enough, CAPTURE_RATES[-1])


def too_slow(reading: Reading, found: FoundRefresh) -> str | None:
    """Say that the camera was too slow, if it was."""
    capture = reading.capture_hz or 0.0
    text = f"filmed at {capture:.4g} pictures a second, slower than twice"
    unseen = "single holds cannot be seen; film in slow motion at"
    if found.too_fast_hz is not None:
        need = _camera_for(float(found.too_fast_hz), capture)
        named = hertz_list([found.too_fast_hz])
        return f"{text} the refresh of {named}: {unseen} {need} or more"
    if capture < OFTEN_ENOUGH * SLOWEST_DISPLAY_HZ:
        return (
            f"{text} the refresh of any display: {unseen} 240 (or 120 for a display of 60 Hz); if "
            "the file stores slow motion, give --capture-rate 240"
        )
    if found.refresh_hz is None and reading.rate and capture < OFTEN_ENOUGH * float(reading.rate):
        need = _camera_for(float(reading.rate), capture)
        return f"{text} the clip's {format_decimal(reading.rate)}: {unseen} {need} or more"
    return None


def _held(reading: Reading, found: FoundRefresh, display: Display | None) -> str:
    if found.refresh_hz is not None:
        must = None if reading.expected is None else reading.expected.cadence
        return held_words(reading, reading.refresh_candidates or [found.refresh_hz], must)
    if found.even is not None:
        return _held_evenly(reading, found, display)
    holds_ms = sorted(1000 * hold.hold_s for hold in reading.holds)
    middle_ms = holds_ms[len(holds_ms) // 2]
    text = f"held {holds_ms[0]:.1f} to {holds_ms[-1]:.1f} ms, mostly {middle_ms:.1f} ms"
    if len(found.candidates) == 1:
        return f"{text}; the display may run at {hertz_list(found.candidates)}, not certain"
    if found.candidates:
        return f"{text}; whether at {hertz_list(found.candidates)} cannot be known"
    limit = f"{(reading.capture_hz or 0) / 2:.4g}"
    return f"{text}; the changes fit no fixed refresh up to {limit} Hz"


def _held_evenly(reading: Reading, found: FoundRefresh, display: Display | None) -> str:
    """'held evenly to within 4.2 ms, 33.3 ms each, as displays of 60 or 90 Hz show 30 ...'."""
    assert found.even is not None
    shown_hz = found.even.rate_hz / number_steps(reading.holds).most_common(1)[0][0]
    within, each = f"{1000 * found.even.within_s:.1f} ms", f"{1000 / shown_hz:.1f} ms each"
    if not found.surely_even:
        rivals = f", as that of {hertz_list(found.rivals)}," if found.rivals else ""
        return (
            f"held {each} as far as {reading.capture_hz or 0:.4g} pictures a second "
            f"show: unevenness of up to {within}{rivals} would not show"
        )
    even = "in what was seen, held evenly" if reading.unseen else "held evenly"
    text = f"{even} to within {within}, {each}"
    if display is not None and display.is_variable:
        return f"{text}, as a display that adapts its refresh ({display.name} Hz) does"
    if found.candidates:
        shown = format_decimal(Fraction(shown_hz), 2)
        return f"{text}, as displays of {hertz_list(found.candidates)} show {shown} frames a second"
    return text


def recording_verdict(reading: Reading, found: FoundRefresh, display: Display | None) -> str:
    """One sentence about a recording whose camera was fast enough."""
    if not reading.read:
        return "nothing was read: no picture shows a strip that could be read"
    if (between := reading.details.get("pictures_between_frames")) is not None:
        return BETWEEN[between]
    if len(reading.holds) < FEW_FRAMES:
        return (
            f"too short: the holds of only {counted(len(reading.holds), 'frame')} were seen whole; "
            "film two seconds or more with the strip in view"
        )
    parts = [_held(reading, found, display), loss_words(reading)]
    if reading.error is not None:
        within_ms = reading.details["error_within_ms"]
        right = f", right to {within_ms:.1f} ms" if within_ms else ""
        parts.append(f"timing error {reading.error.rms_ms:.1f} ms RMS{right}")
    return "; ".join(parts)


def recording_warnings(reading: Reading, found: FoundRefresh, watched: Watched) -> Iterator[str]:
    """Doubts, each with what to do."""
    yield from _seeing(watched)
    if reading.unseen:
        yield (
            f"Of {counted(len(reading.unseen), 'frame')} nothing can be known, for pictures were "
            "unread for as long as a frame takes: they count neither as shown nor as dropped. "
            f"{_sharper(reading, found)}"
        )
    yield from _refresh_doubts(reading, found)
    if reading.details.get("passages", 1) > 1:
        yield "The clip was restarted or moved within the recording: stretches are judged apart."
    yield from _period(reading)
    if reading.capture_hz and reading.holds:
        yield f"Holds in seconds are right to {reading.details['holds_within_ms']:.1f} ms."


def _seeing(watched: Watched) -> Iterator[str]:
    """Say what was not seen of the strip."""
    if watched.pictures and watched.read < LOW_YIELD * watched.pictures:
        yield (
            f"Only {watched.read} of {watched.pictures} pictures were read: fill the picture with "
            "the screen (each cell of the strip should be 4 pixels wide or more), lower the "
            "exposure until white is not clipped, and hold still."
        )
    if watched.read and watched.identity is None:
        yield "The strip's rate was not read in any picture: expected holds cannot be given."
    if watched.other_clips > OTHER_CLIPS * max(1, watched.read):
        yield "More than one clip is in the recording: cut it, and read them one by one."
    if watched.clipped:
        yield (
            f"White is clipped in {counted(watched.clipped, 'picture')} that mix two frames: in "
            "what shares is not known there. Lower the exposure."
        )


def _refresh_doubts(reading: Reading, found: FoundRefresh) -> Iterator[str]:
    """Say what is open of the refresh and of evenness, and what settles it."""
    uncounted = sum(hold.refreshes is None for hold in reading.holds)
    faster = f"at {_camera_for(0, reading.capture_hz or 0.0)} pictures a second"
    if found.grid is not None and uncounted > (1 - FEW_COUNTED) * len(reading.holds):
        yield (
            "The camera runs in step with the display, and frames come on just between two "
            f"pictures: {uncounted} of {len(reading.holds)} holds cannot be counted in refreshes. "
            f"Film {faster}, or start the recording anew."
        )
    if found.refresh_hz is not None:
        return
    if found.even is not None and not found.surely_even:
        yield f"Evenness cannot be known: film {faster}, or give --display."
    elif found.uneven and found.candidates:
        yield f"The refresh cannot be known: film {faster}, or give --display."
    elif found.candidates and len(reading.holds) >= FEW_FRAMES:
        yield (
            "Even holds do not show the refresh: give --display "
            f"{format_decimal(found.candidates[0], 2)} (or what it is) to count refreshes."
        )


def _sharper(reading: Reading, found: FoundRefresh) -> str:
    """What leaves fewer frames unseen."""
    capture = reading.capture_hz or 0.0
    refresh = found.refresh_hz or max(found.candidates, default=Fraction(0))
    faster = [hz for hz in CAPTURE_RATES if hz > 1.05 * capture]
    if faster and capture < ENOUGH * float(refresh):
        return f"Film at {faster[0]} pictures a second, and with a shorter exposure."
    if found.refresh_hz is None and found.candidates:
        return "Give --display, so that it is known how short a frame may be."
    return "Come nearer, lower the exposure, and turn the screen brighter, so that it pulses less."


def _period(reading: Reading) -> Iterator[str]:
    """Say that less than one period of the cadence was seen."""
    if reading.expected is None or not reading.holds:
        return
    period_s = reading.expected.cadence.period_s
    seen_s = (reading.holds[-1].start_s or 0.0) - (reading.holds[0].start_s or 0.0)
    if float(period_s) > seen_s and not reading.expected.cadence.even:
        yield (
            f"Less than one period was seen: these holds repeat only after "
            f"{interval_text(period_s)}. Film at least that long to see every slip."
        )
